#!/usr/bin/env python3
"""Runs both sides by turns on one core and prints the ratios as Markdown; `run` prepares what it needs.

usage: table.py RACE [--quick] [--sizes S M ...] [--rounds N] [--seconds S] [--core N]

In the first round every variant of the peer takes its turn, in the others the best of them; our side goes before each
turn of the peer. Times are those that the process had the processor, the mean of a round and the median over rounds, so
that other work on the machine counts little; the ratio by the wall stands in brackets. A second table has the multiply-adds of our passes, how many a second, and
the share of what a plain loop of multiply-adds over as many bytes does.
"""
import argparse
import array
import datetime
import json
import os
import platform
import statistics
import subprocess
import sys
from pathlib import Path

from networks import OUT, ROOT

HERE = Path(__file__).resolve().parent
TASKS = {
    "cold": "new evidence",
    "warm": "one outcome changed",
    "added": "one answer more",
    "next": "every outcome of every check",
}


def variants(task: str, quick: bool) -> list:
    tasks = {"next": ["next-a", "next-b", "next-c"], "added": ["added", "added-o"]}.get(task, [task])
    gates = ["table"] if quick else ["table", "chain"]
    return [(t, engine, form) for t in tasks for engine in ("lp", "ss") for form in gates]


def named(variant: tuple) -> str:
    task, engine, form = variant
    route = [{"next-a": "A", "next-b": "B", "next-c": "C", "added-o": "left open"}[task]] if "-" in task else []
    return ", ".join(route + [engine] + (["chains"] if form == "chain" else []))


class Race:
    def __init__(self, asked: argparse.Namespace):
        self.asked = asked
        self.folder = OUT.parent

    def line(self, *command) -> dict:
        pinned = ["taskset", "-c", str(self.asked.core), *map(str, command)]
        return json.loads(subprocess.run(pinned, check=True, stdout=subprocess.PIPE, text=True).stdout)

    def ours(self, size: str, task: str) -> dict:
        return self.line(self.asked.race, OUT / f"evidence_{size}.json", task, "--answers", self.folder / "ours")

    def peer(self, size: str, variant: tuple) -> dict:
        task, engine, form = variant
        return self.line(sys.executable, HERE / "peer.py", OUT / f"evidence_{size}.json", task, "--engine", engine,
                         "--gates", form, "--seconds", self.asked.seconds, "--answers", self.folder / "peer")

    def compare(self) -> tuple:
        """The largest difference of two answers, how many were compared, of how many."""
        ours, peer = (array.array("d", (self.folder / side).read_bytes()) for side in ("ours", "peer"))
        if not peer:
            return 0.0, 0, len(ours)
        assert len(ours) == len(peer), f"{len(ours)} and {len(peer)} answers"
        differences = [abs(a - b) for a, b in zip(ours, peer) if b == b]
        return max(differences), len(differences), len(ours)

    def row(self, size: str, task: str) -> str:
        turns, compared, exact = [], [], True
        best = None
        for number in range(self.asked.rounds):
            for variant in [best] if best else variants(task, self.asked.quick):
                ours, peer = self.ours(size, task), self.peer(size, variant)
                print(size, named(variant), peer, "ours", ours, file=sys.stderr, flush=True)
                compared.append(self.compare())
                exact &= ours["exact"]
                turns.append((variant, peer, ours))
            if not best:
                best = min(turns, key=lambda turn: turn[1]["cpu"])[0]
        raced = [(peer, own) for variant, peer, own in turns if variant == best]
        (peer, ours), (peer_wall, ours_wall) = (
            [statistics.median(side[key] for side in sides) for sides in zip(*raced)] for key in ("cpu", "median"))
        fraction = min(peer.get("fraction", 1.0) for peer, _ in raced)
        part = "" if fraction == 1 else f", from {100 * fraction:.2g} % of it"
        memory = [f"{side['peak_mib'] - side['peak_mib_before']:.1f}" for side in raced[0]]
        difference, n, of = max(c[0] for c in compared), max(c[1] for c in compared), compared[0][2]
        return (f"| {size} | {TASKS[task]} | {time(peer)} ({named(best)}{part}) | {time(ours)} "
                f"| **{figure(peer / ours)}** ({figure(peer_wall / ours_wall)}) "
                f"| {memory[0]}, {memory[1]} MiB | {difference:.0e}, {n} of {of}{'' if exact else ', links cut'} |")

    def table(self):
        print(self.heading())
        print("| network | task | pyagrum | doldrum | ratio | memory | largest difference |")
        print("| --- | --- | --- | --- | --- | --- | --- |", flush=True)
        for size in self.asked.sizes:
            for task in TASKS:
                if (size, task) != ("ALARM", "next"):
                    print(self.row(size, task), flush=True)
        self.roofline()
        print(f"\nLoad at the end: {os.getloadavg()[0]:.2f}.")

    def roofline(self):
        print("\n| network | one outcome changed | every outcome of every check | a plain loop |")
        print("| --- | --- | --- | --- |")
        for size in self.asked.sizes:
            if size != "ALARM":
                found = self.line(self.asked.race, OUT / f"evidence_{size}.json", "roofline")
                loop = found["loop_rate"]
                cells = [f"{count(p['work'])}, {count(p['rate'])}/s, {100 * p['rate'] / loop:.2g} %"
                         for p in (found["warm"], found["next"])]
                print(f"| {size} | {cells[0]} | {cells[1]} | {count(loop)}/s |", flush=True)

    def heading(self) -> str:
        import pyagrum

        commit = subprocess.run(["git", "describe", "--always", "--dirty"], cwd=ROOT, stdout=subprocess.PIPE, text=True)
        rust = subprocess.run(["rustc", "--version"], stdout=subprocess.PIPE, text=True).stdout.split()[1]
        return (f"{datetime.date.today()}, doldrum {commit.stdout.strip()} (Rust {rust}), pyagrum "
                f"{pyagrum.__version__} (Python {platform.python_version()}), {cpu()}, one core, load "
                f"{os.getloadavg()[0]:.2f} at the start, {self.asked.rounds} rounds.\n")


def cpu() -> str:
    lines = Path("/proc/cpuinfo").read_text().splitlines() if Path("/proc/cpuinfo").exists() else []
    facts = dict(map(str.strip, line.split(":", 1)) for line in lines if ":" in line)
    if "model name" not in facts:
        return platform.processor() or platform.machine()
    return f"{facts['model name']} (family {facts.get('cpu family')}, model {facts.get('model')})"


def figure(x: float) -> str:
    """Three figures."""
    return f"{x:.0f}" if x >= 100 else f"{x:.3g}"


def count(n: float) -> str:
    for unit, least in ((" G", 1e9), (" M", 1e6), (" k", 1e3)):
        if n >= least:
            return f"{figure(n / least)}{unit}"
    return figure(n)


def time(seconds: float) -> str:
    for unit, least in (("s", 1.0), ("ms", 1e-3)):
        if seconds >= least:
            return f"{figure(seconds / least)} {unit}"
    return f"{figure(seconds * 1e6)} µs"


def main():
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("race", type=Path, help="the built bench")
    arguments.add_argument("--quick", action="store_true", help="S, M and ALARM, one round, three seconds, no chains")
    arguments.add_argument("--sizes", nargs="+")
    arguments.add_argument("--rounds", type=int)
    arguments.add_argument("--seconds", type=float, help="for one turn of the peer")
    arguments.add_argument("--core", type=int, default=max(os.sched_getaffinity(0)))
    asked = arguments.parse_args()
    asked.sizes = asked.sizes or (["S", "M", "ALARM"] if asked.quick else ["S", "M", "L", "XL", "ALARM"])
    asked.rounds = asked.rounds or (1 if asked.quick else 3)
    asked.seconds = asked.seconds or (3.0 if asked.quick else 15.0)
    Race(asked).table()


if __name__ == "__main__":
    main()

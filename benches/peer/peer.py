#!/usr/bin/env python3
"""Times pyagrum, a general library for Bayesian networks, on the reference networks; prints one line of JSON.

usage: peer.py EVIDENCE TASK [--engine lp|ss] [--gates table|chain] [--seconds S] [--answers FILE]

EVIDENCE is a file from networks.py. Tasks, each ending with all the posteriors wanted as tensors; taking the numbers out
of the tensors is slow in Python and not timed:
    cold     a new engine, evidence, propagation
    warm     the same engine, the outcome of one answer changed
    added    the same engine, one answer more
    added-o  the same with every unanswered check open from the start, by evidence that says nothing: an answer then
             changes no structure
    next-a   all outcomes of all unanswered checks: a propagation for each outcome
    next-b   the same by Bayes' rule: a propagation for each cause, the posteriors of the checks read
    next-c   the same by total probability: a propagation for each state of the parents of a check; mixing not counted
--gates chain writes every noisy OR as a chain of gates with two inputs, which this library does not do by itself.
A next-* task that is not through after S seconds is extrapolated: set-up + the rest / fraction done.
FILE gets the answers as little-endian f64s, NaN where not reached: for every set of evidence (cold), outcome (warm,
added), check and outcome (next) the chance of every state but the first of every variable wanted.
"""
import argparse
import array
import itertools
import json
import math
import os
import resource
import statistics
import sys
import time
from pathlib import Path

import pyagrum as gum

from networks import noisy_or_rows

ENGINES = dict(lp=gum.LazyPropagation, ss=gum.ShaferShenoyInference)
TASKS = ["cold", "warm", "added", "added-o", "next-a", "next-b", "next-c"]
CLOCK = time.perf_counter


def chained(nodes: list) -> list:
    """Every noisy OR as a chain of gates with two inputs; the leak on the last."""
    out = []
    for node in nodes:
        gate, parents = node.get("noisy_or"), node["parents"]
        if not gate or len(parents) < 3:
            out.append(node)
            continue
        before, links = parents[:1], gate["links"][:1]
        for i in range(1, len(parents)):
            last = i + 1 == len(parents)
            name = node["name"] if last else f"{node['name']}_{i}"
            out.append(dict(name=name, states=node["states"], parents=before + parents[i : i + 1],
                            cpt=noisy_or_rows(gate["leak"] if last else 0.0, links + gate["links"][i : i + 1])))
            before, links = [name], [1.0]
    return out


def network(nodes: list) -> gum.BayesNet:
    net = gum.BayesNet()
    for node in nodes:
        net.add(gum.LabelizedVariable(node["name"], node["name"], node["states"]))
    for node in nodes:
        for parent in reversed(node["parents"]):  # so that the table fills in the order of the file
            net.addArc(parent, node["name"])
        net.cpt(node["name"]).fillWith([p for row in node["cpt"] for p in row])
    return net


class Stopwatch:
    """Runs inside `with`: by the wall, and the time this process had the processor."""

    def __init__(self):
        self.wall = self.cpu = 0.0

    def __enter__(self):
        self.start = CLOCK(), time.process_time()

    def __exit__(self, *_):
        self.wall += CLOCK() - self.start[0]
        self.cpu += time.process_time() - self.start[1]

    def extrapolate(self, set_up: tuple, factor: float):
        self.wall = set_up[0] + (self.wall - set_up[0]) * factor
        self.cpu = set_up[1] + (self.cpu - set_up[1]) * factor


class Peer:
    def __init__(self, about: dict, engine: str, gates: str, seconds: float):
        nodes = json.loads(Path(about["net"]).read_text())["nodes"]
        self.nodes = {node["name"]: node for node in nodes}
        self.net = network(chained(nodes) if gates == "chain" else nodes)
        self.kind, self.about, self.seconds = ENGINES[engine], about, seconds
        self.sets, self.read, self.checks = about["sets"], about["read"], about["checks"]
        self.ids = [self.net.idFromName(name) for name in self.read]
        self.check_ids = [self.net.idFromName(name) for name in self.checks]
        self.began = CLOCK()
        self.watch = Stopwatch()

    def engine(self, evidence: dict, targets: list):
        engine = self.kind(self.net)
        engine.setEvidence(evidence)
        engine.setTargets(set(targets))
        return engine

    def states(self, name: str) -> list:
        return self.nodes[name]["states"]

    def out_of_time(self) -> bool:
        return CLOCK() - self.began > self.seconds

    def repeat(self, n_blocks: int, prepare, ask) -> tuple:
        """At least one round over all blocks, 25 runs at most; `prepare` is not timed."""
        times, blocks = [], {}
        for run in range(max(25, n_blocks)):
            if run >= n_blocks and self.out_of_time():
                break
            prepare(run % n_blocks)
            watch = Stopwatch()
            with watch:
                tensors = ask(run % n_blocks)
            times.append(watch)
            blocks[run % n_blocks] = but_first(tensors)
        return times, [p for i in range(n_blocks) for p in blocks[i]], {}

    def cold(self) -> tuple:
        return self.repeat(len(self.sets), lambda i: None,
                           lambda i: posteriors(self.engine(self.sets[i], self.read), self.ids))

    def warm(self) -> tuple:
        changed = self.about["changed"]
        engine = self.engine(self.sets[0], self.read)
        posteriors(engine, self.ids)
        return self.repeat(len(self.states(changed)), lambda i: engine.chgEvidence(changed, i),
                           lambda i: posteriors(engine, self.ids))

    def added(self) -> tuple:
        added = self.about["added"]
        engine = self.engine(self.sets[0], self.read)

        def prepare(_):
            if engine.hasEvidence(added):
                engine.eraseEvidence(added)
            posteriors(engine, self.ids)

        def ask(i):
            engine.addEvidence(added, i)
            return posteriors(engine, self.ids)

        return self.repeat(len(self.states(added)), prepare, ask)

    def with_open(self):
        engine = self.engine(self.sets[0], self.read)
        for check in self.checks or [self.about["added"]]:
            engine.addEvidence(check, [1.0] * len(self.states(check)))
        return engine

    def open_evidence(self, check: str, outcome: int) -> list:
        """As good as hard; a zero would change the structure."""
        return [1.0 if o == outcome else 1e-30 for o in range(len(self.states(check)))]

    def added_o(self) -> tuple:
        added, engine = self.about["added"], self.with_open()

        def prepare(_):
            engine.chgEvidence(added, [1.0] * len(self.states(added)))
            posteriors(engine, self.ids)

        def ask(i):
            engine.chgEvidence(added, self.open_evidence(added, i))
            return posteriors(engine, self.ids)

        return self.repeat(len(self.states(added)), prepare, ask)

    def next_a(self) -> tuple:
        with self.watch:
            engine = self.engine(self.sets[0], self.read)
            posteriors(engine, self.ids)
        return self.each_outcome(lambda check, o: (engine.chgEvidence if o else engine.addEvidence)(check, o),
                                 engine.eraseEvidence, engine)

    def each_outcome(self, find, forget, engine) -> tuple:
        """A propagation for each outcome."""
        found = {}

        def ask(check):
            for outcome in range(len(self.states(check))):
                with self.watch:
                    find(check, outcome)
                    tensors = posteriors(engine, self.ids)
                found[check, outcome] = but_first(tensors)
            forget(check)

        more = self.fraction(self.checks, ask)
        unknown = [math.nan] * len(self.read)
        blocks = [found.get((c, o), unknown) for c in self.checks for o in range(len(self.states(c)))]
        return [self.watch], [p for block in blocks for p in block], more

    def next_b(self) -> tuple:
        with self.watch:
            engine = self.engine(self.sets[0], self.checks)
            of_checks = posteriors(engine, self.check_ids)
            priors = posteriors(self.engine(self.sets[0], self.read), self.ids)
        of_checks, priors, found = [t.tolist() for t in of_checks], but_first(priors), {}

        def ask(cause):
            with self.watch:
                engine.addEvidence(cause, 1)
                tensors = posteriors(engine, self.check_ids)
            found[cause] = [tensor.tolist() for tensor in tensors]
            engine.eraseEvidence(cause)

        more, answers = self.fraction(self.read, ask), []
        for at, chances in enumerate(of_checks):
            for outcome, chance in enumerate(chances):
                answers += [found[c][at][outcome] * prior / chance if c in found else math.nan
                            for c, prior in zip(self.read, priors)]
        return [self.watch], answers, more

    def next_c(self) -> tuple:
        """The last configuration of the parents follows from the others by total probability."""
        with self.watch:
            engine = self.engine(self.sets[0], self.read)
            posteriors(engine, self.ids)

        def ask(parents):
            for i, states in enumerate(itertools.product((0, 1), repeat=len(parents))):
                with self.watch:
                    for parent, state in zip(parents, states):
                        (engine.chgEvidence if i else engine.addEvidence)(parent, state)
                    if i:
                        posteriors(engine, self.ids)
            for parent in parents:
                engine.eraseEvidence(parent)

        more = self.fraction(sorted({tuple(self.nodes[check]["parents"]) for check in self.checks}), ask)
        return [self.watch], [], more

    def fraction(self, parts: list, ask) -> dict:
        """Asks as many parts as there is time for and extrapolates the watch to all."""
        set_up, done = (self.watch.wall, self.watch.cpu), 0
        while done < len(parts) and (done == 0 or not self.out_of_time()):
            ask(parts[done])
            done += 1
        self.watch.extrapolate(set_up, len(parts) / done)
        return dict(fraction=round(done / len(parts), 4))


def posteriors(engine, ids: list) -> list:
    engine.makeInference()
    return [engine.posterior(i) for i in ids]


def but_first(tensors: list) -> list:
    return [p for tensor in tensors for p in tensor.tolist()[1:]]


def peak_mib() -> float:
    return round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, 1)


def main():
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("evidence", type=Path)
    arguments.add_argument("task", choices=TASKS)
    arguments.add_argument("--engine", choices=list(ENGINES), default="lp")
    arguments.add_argument("--gates", choices=["table", "chain"], default="table")
    arguments.add_argument("--seconds", type=float, default=10.0)
    arguments.add_argument("--answers", type=Path)
    asked = arguments.parse_args()
    gum.setNumberOfThreads(1)
    peer = Peer(json.loads(asked.evidence.read_text()), asked.engine, asked.gates, asked.seconds)
    before = peak_mib()
    times, answers, more = getattr(peer, asked.task.replace("-", "_"))()
    if asked.answers:
        block = array.array("d", answers)
        if sys.byteorder == "big":
            block.byteswap()
        asked.answers.write_bytes(block.tobytes())
    wall = [watch.wall for watch in times]
    print(json.dumps(dict(
        task=asked.task, engine=asked.engine, gates=asked.gates, count=len(times), median=statistics.median(wall),
        min=min(wall), cpu=statistics.fmean(watch.cpu for watch in times), peak_mib=peak_mib(), peak_mib_before=before,
        load=os.getloadavg()[0], **more)))


if __name__ == "__main__":
    main()

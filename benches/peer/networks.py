#!/usr/bin/env python3
"""Makes the reference networks and the evidence both sides are asked about. Needs Python 3 alone.

usage: networks.py [--out FOLDER] [T S M L XL ALARM]      writes net_<size>.json and evidence_<size>.json

A network is diagnosis-shaped: root causes, two levels of noisy-OR effects with a leak, one top effect, checks of two to
four outcomes that hang on one or two causes or effects.

    {"format": "bnjson-1", "name", "seed", "params", "top",
     "nodes": [{"name", "kind": "cause|effect|aux|check", "states", "parents", "cost",
                "cpt": [row, ...],                        # a row for each configuration, the last parent fastest
                "noisy_or": {"leak", "links"}}]}          # effects and aux: the table again, as a gate

Parents stand before their children. Binary states are ["no", "yes"]. The top effect is a noisy OR of all effects of the
second level; as one table it would have 2^n rows, so it is a chain of nodes (kind "aux", a link of 1 from the one
before). Seeds are fixed: the same bytes everywhere. ALARM (Beinlich et al. 1989) is taken from tests/oracle.

    {"net": file, "sets": [{variable: state}, ...],       # evidence; the first set is the one that is changed
     "read": [variable, ...],                             # the posteriors wanted
     "changed": variable,                                 # the answer whose outcome changes
     "added": variable,                                   # the answer that is added
     "checks": [check, ...]}                              # unanswered in the first set
"""
import argparse
import itertools
import json
import math
import random
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
OUT = ROOT / "target/peer/nets"
# Causes, effects (both levels and the top), checks, seed.
SIZES = {
    "T": (12, 5, 15, 1201),
    "S": (40, 15, 60, 4001),
    "M": (100, 40, 150, 10001),
    "L": (300, 120, 450, 30001),
    "XL": (1000, 400, 1500, 100001),
}
STATES = {2: ["ok", "bad"], 3: ["ok", "marginal", "bad"], 4: ["low", "ok", "marginal", "bad"]}
CAUSE_WINDOW = 10


def noisy_or_rows(leak: float, links: list) -> list:
    rows = []
    for configuration in itertools.product((0, 1), repeat=len(links)):
        off = 1.0 - leak
        for on, link in zip(configuration, links):
            if on:
                off *= 1.0 - link
        rows.append([off, 1.0 - off])
    return rows


def window(names: list, at: float, width: int) -> list:
    n = len(names)
    start = max(0, min(n - width, int(round(at * n - width / 2)))) if n > width else 0
    return names[start : start + width]


class Generator:
    """Draws in a fixed order: moving a draw changes every network."""

    def __init__(self, name: str, n_causes: int, n_effects: int, n_checks: int, seed: int):
        self.name, self.seed, self.rnd = name, seed, random.Random(seed)
        self.n_causes, self.n_effects, self.n_checks = n_causes, n_effects, n_checks
        self.n1 = round(0.6 * (n_effects - 1))
        self.n2 = n_effects - 1 - self.n1
        self.effect_window = max(2, round(CAUSE_WINDOW * self.n1 / n_causes * 1.0) + 1)
        self.nodes, self.at = [], {}

    def log_uniform(self, least: float, most: float) -> float:
        return round(math.exp(self.rnd.uniform(math.log(least), math.log(most))), 4)

    def network(self) -> dict:
        causes = [f"C{i:04d}" for i in range(self.n_causes)]
        for i, cause in enumerate(causes):
            p = self.log_uniform(0.002, 0.08)
            self.at[cause] = (i + 0.5) / self.n_causes
            self.nodes.append(dict(name=cause, kind="cause", states=["no", "yes"], parents=[], cpt=[[1.0 - p, p]],
                                   cost=self.log_uniform(5, 300)))
        first, second = self.parents_of_effects(causes)
        for effect in first:
            self.effect(effect, sorted(first[effect]))
        for effect in second:
            self.effect(effect, sorted(second[effect][0]) + sorted(second[effect][1]))
        self.top(list(second))
        near = sorted(causes + list(first) + list(second), key=lambda v: (self.at[v], v))
        for k in range(self.n_checks):
            self.check(k, near)
        params = dict(n_causes=self.n_causes, n_effects=self.n_effects, n_checks=self.n_checks, n_level1=self.n1,
                      n_level2=self.n2, cause_window=CAUSE_WINDOW, effect_window=self.effect_window)
        return dict(format="bnjson-1", name=self.name, seed=self.seed, params=params, top="TOP", nodes=self.nodes)

    def parents_of_effects(self, causes: list) -> tuple:
        rnd, first, second = self.rnd, {}, {}
        for j in range(self.n1):
            effect, at = f"E1_{j:04d}", (j + 0.5) / self.n1
            self.at[effect] = at
            pool = window(causes, at, min(CAUSE_WINDOW, self.n_causes))
            first[effect] = set(rnd.sample(pool, min(len(pool), rnd.randint(3, 8))))
        for j in range(self.n2):
            effect, at = f"E2_{j:04d}", (j + 0.5) / self.n2
            self.at[effect] = at
            k = rnd.randint(3, 8)
            effects = window(list(first), at, min(self.effect_window, self.n1))
            n = min(len(effects), rnd.randint(2, 4), k - 1 if k > 3 else 2)
            pool = window(causes, at, min(CAUSE_WINDOW, self.n_causes))
            second[effect] = (set(rnd.sample(effects, n)), set(rnd.sample(pool, min(len(pool), k - n))))
        # Every cause and every effect of the first level leads somewhere.
        used = set().union(*first.values()) | set().union(*(of_causes for _, of_causes in second.values()))
        for cause in causes:
            if cause not in used:
                free = [e for e in first if len(first[e]) < 8]
                first[min(free, key=lambda e: abs(self.at[e] - self.at[cause]))].add(cause)
        used = set().union(*(of_effects for of_effects, _ in second.values()))
        for effect in first:
            if effect not in used:
                free = [e for e in second if sum(map(len, second[e])) < 8]
                second[min(free, key=lambda e: abs(self.at[e] - self.at[effect]))][0].add(effect)
        return first, second

    def gate(self, name: str, kind: str, parents: list, links: list, leak: float):
        self.nodes.append(dict(name=name, kind=kind, states=["no", "yes"], parents=parents,
                               cpt=noisy_or_rows(leak, links), noisy_or=dict(leak=leak, links=links)))

    def effect(self, name: str, parents: list):
        self.gate(name, "effect", parents, [round(self.rnd.uniform(0.3, 0.98), 4) for _ in parents], 0.001)

    def top(self, second: list):
        links = [round(self.rnd.uniform(0.6, 0.98), 4) for _ in second]
        groups = [slice(i, i + 2) for i in range(0, len(second), 2)]
        before = []
        for g, group in enumerate(groups):
            last = g == len(groups) - 1
            name = "TOP" if last else f"AUX{g:04d}"
            self.gate(name, "effect" if last else "aux", before + second[group], [1.0] * len(before) + links[group],
                      0.001 if last else 0.0)
            before = [name]

    def check(self, k: int, near: list):
        rnd = self.rnd
        pool = window(near, (k + 0.5) / self.n_checks, max(4, round(6 * len(near) / self.n_causes)))
        parents = sorted(rnd.sample(pool, rnd.choice((1, 1, 2))))
        states = STATES[rnd.choice((2, 2, 3, 4))]
        m, ok = len(states), states.index("ok")
        sensitivity = [round(rnd.uniform(0.70, 0.98), 4) for _ in parents]
        specificity = round(rnd.uniform(0.88, 0.995), 4)
        other = [rnd.uniform(0.3, 1) for _ in range(m)]
        rows = []
        for configuration in itertools.product((0, 1), repeat=len(parents)):
            p_ok = specificity
            for on, found in zip(configuration, sensitivity):
                if on:
                    p_ok *= 1 - found
            # What is not ok goes to the other outcomes, tilted by which parents are on.
            tilt = sum((2**t) * on for t, on in enumerate(configuration))
            weights = [0 if i == ok else other[i] * (1 + 3 * ((i + tilt) % m)) for i in range(m)]
            total = sum(weights)
            row = [p_ok if i == ok else round((1 - p_ok) * weights[i] / total, 6) for i in range(m)]
            row[ok] = round(1 - sum(p for i, p in enumerate(row) if i != ok), 6)
            assert min(row) > 0 and abs(sum(row) - 1) < 1e-12
            rows.append(row)
        self.nodes.append(dict(name=f"K{k:04d}", kind="check", states=states, parents=parents, cpt=rows,
                               cost=self.log_uniform(1, 30)))


def text_of(net: dict) -> str:
    head = '{"format":"bnjson-1","name":%s,"seed":%d,"params":%s,"top":"TOP","nodes":[\n' % (
        json.dumps(net["name"]), net["seed"], json.dumps(net["params"]))
    return head + ",\n".join(json.dumps(node) for node in net["nodes"]) + "\n]}\n"


def world(nodes: dict, rnd: random.Random) -> dict:
    """A state for every variable, drawn forward."""
    state = {}
    for node in nodes.values():
        row = 0
        for parent in node["parents"]:
            row = row * len(nodes[parent]["states"]) + state[parent]
        chances, u, s = node["cpt"][row], rnd.random(), 0
        while s < len(chances) - 1 and u >= chances[s]:
            u -= chances[s]
            s += 1
        state[node["name"]] = s
    return state


def evidence(net: dict, file: str, n_sets: int = 5, n_checks: int = 6) -> dict:
    """The top effect and the outcomes of six checks, from worlds in which the top effect is there."""
    nodes = {node["name"]: node for node in net["nodes"]}
    checks = [name for name, node in nodes.items() if node["kind"] == "check"]
    sets = []
    for i in range(n_sets):
        rnd = random.Random(net["seed"] * 100 + i)
        while (state := world(nodes, rnd))["TOP"] != 1:
            pass
        answered = sorted(rnd.sample(checks, n_checks))
        sets.append({name: nodes[name]["states"][state[name]] for name in ["TOP", *answered]})
    unanswered = [name for name in checks if name not in sets[0]]
    return dict(net=file, sets=sets, read=[name for name, node in nodes.items() if node["kind"] == "cause"],
                changed=next(name for name in sets[0] if name != "TOP"), added=unanswered[0], checks=unanswered)


def alarm(file: Path) -> dict:
    names = [node["name"] for node in json.loads(file.read_text())["nodes"]]
    sets = [dict(BP="LOW", HRSAT="HIGH", EXPCO2="LOW"), dict(HRBP="HIGH", CVP="HIGH")]
    seen = {name for names in sets for name in names}
    read = [name for name in names if name not in seen]
    return dict(net=str(file), sets=sets, read=read, changed="BP", added="HRBP", checks=[])


def main():
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--out", type=Path, default=OUT)
    arguments.add_argument("sizes", nargs="*", default=[*SIZES, "ALARM"])
    asked = arguments.parse_args()
    asked.out.mkdir(parents=True, exist_ok=True)
    for size in asked.sizes:
        if size == "ALARM":
            about = alarm(ROOT / "tests/oracle/pub_alarm.json")
        else:
            file = asked.out / f"net_{size}.json"
            net = Generator(size, *SIZES[size]).network()
            file.write_text(text_of(net))
            about = evidence(net, str(file))
        (asked.out / f"evidence_{size}.json").write_text(json.dumps(about, indent=1) + "\n")
        print(asked.out / f"evidence_{size}.json")


if __name__ == "__main__":
    main()

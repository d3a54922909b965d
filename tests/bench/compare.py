#!/usr/bin/env python3
"""One posterior three ways, side by side in one run, and how the search grows with the vehicle.

The question: the largest shipped vehicle, the readings of `rose-walk-no-click`, no fault, one or
two faults. Faults that come and go are left out, resistances stand at their medians, and there are
no common causes, so that each method can answer it without an integral. The methods:

- search: the library's search, once as shipped (it leaves sets out and bounds what they weigh) and
  once with nothing left out;
- naive: every single fault and every pair, each solved afresh by the same solver, then summed;
- network: pyAgrum, one node with a state for each set of faults and one child for each reading. It
  cannot solve circuits, so its tables are those of the naive way, and their time counts for it too.

Times are wall-clock seconds with one thread. Needs `faultloom_comparison` built and pyAgrum (see
tests/python/requirements.txt).
"""

import argparse
import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pyagrum as gum

ROOT = Path(__file__).resolve().parents[2]
CLOSE = 1e-9


def run(binary, *arguments):
    """The JSON that the C++ half writes."""
    command = [str(binary), *map(str, arguments)]
    done = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True)
    return json.loads(done.stdout)


def network_posterior(folder, groups):
    """P(set | readings) by a Bayesian network, with the seconds to build it and to ask it."""
    prior = np.fromfile(folder / "prior.bin")
    start = time.perf_counter()
    network = gum.BayesNet("job")
    cause = network.add(gum.RangeVariable("cause", "", 0, len(prior) - 1))
    network.cpt(cause)[:] = prior / prior.sum()
    for group in range(groups):
        seen = np.fromfile(folder / f"likelihood_{group}.bin")
        child = network.add(gum.LabelizedVariable(f"r{group}", "", ["no", "yes"]))
        network.addArc(cause, child)
        network.cpt(child)[:] = np.column_stack([1 - seen, seen])
    built = time.perf_counter()
    inference = gum.LazyPropagation(network)
    inference.setTargets({"cause"})
    inference.setEvidence({f"r{group}": "yes" for group in range(groups)})
    inference.makeInference()
    posterior = inference.posterior("cause").toarray()
    return posterior, built - start, time.perf_counter() - built


def by_fault(folder, posterior, faults):
    """Sums a posterior over sets into one over faults."""
    members = np.fromfile(folder / "members.bin", dtype=np.int32).reshape(-1, 2)
    total = np.zeros(faults)
    for column in members.T:
        there = column >= 0
        np.add.at(total, column[there], posterior[there])
    return total


def compare(binary):
    """Prints the three answers; returns whether they agree."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        found = run(binary, "pairs", folder)
        posterior, build, ask = network_posterior(folder, found["groups"])
        network = by_fault(folder, posterior, found["faults"])
    naive = np.array(found["naive"]["faults"])
    compiled, tables = found["compile_seconds"], found["naive"]["table_seconds"]
    print(
        f"Singles and pairs on the largest vehicle: {found['faults']} faults, "
        f"{found['naive']['sets']} sets, {found['groups']} readings"
    )
    print(f"{'way':32}{'seconds':>10}{'sets':>10}{'largest difference':>21}")
    print(f"{'(circuit made ready, for all)':32}{compiled:10.3f}")
    worst = {}

    def row(way, seconds, sets, faults, note=""):
        worst[way] = float(np.abs(np.array(faults) - naive).max())
        print(f"{way:32}{seconds:10.3f}{sets:10}{worst[way]:21.1e}  {note}")

    shipped, whole, plain = found["search"], found["exhaustive"], found["naive"]
    note = f"its bound: {shipped['bound']:.2g}"
    row("search, as shipped", shipped["seconds"], shipped["sets"], shipped["faults"], note)
    row("search, nothing left out", whole["seconds"], whole["sets"], whole["faults"])
    row("naive", plain["seconds"], plain["sets"], naive)
    note = f"tables {tables:.3f}, network {build:.3f}, inference {ask:.3f}"
    row("network, tables included", tables + build + ask, found["naive"]["sets"], network, note)
    exact = max(worst["search, nothing left out"], worst["network, tables included"])
    print(f"Exact ways agree to {exact:.1e}, asked for: {CLOSE:.0e}")
    print(f"Peak memory of the C++ half: {found['peak_megabytes']:.0f} MB")
    return exact <= CLOSE


def growth(binary, copies, entries, sets):
    """Prints a posterior with a budget of sets on ever larger vehicles, each in its own process."""
    print(f"\nGrowth: the first {entries} readings, a budget of {sets} sets, everything shipped")
    columns = ("wires", "nodes", "faults", "sets", "networks", "seconds", "peak_megabytes", "bound")
    print("".join(f"{title:>15}" for title in ("copies", *columns)))
    for count in copies:
        found = run(binary, "growth", count, entries, sets)
        values = (
            f"{found[c]:.3g}" if isinstance(found[c], float) else str(found[c]) for c in columns
        )
        print(f"{count:15}" + "".join(f"{value:>15}" for value in values), flush=True)


def main():
    """Runs both parts."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n", maxsplit=1)[0])
    binary = ROOT / "build/tests/faultloom_comparison"
    parser.add_argument("--binary", type=Path, default=binary, help="the C++ half")
    parser.add_argument(
        "--copies", type=int, nargs="*", default=[1, 2, 4, 8], help="of the harness"
    )
    parser.add_argument("--entries", type=int, default=3, help="readings of the growing job")
    parser.add_argument("--sets", type=int, default=200, help="budget of the growing search")
    chosen = parser.parse_args()
    agree = compare(chosen.binary)
    growth(chosen.binary, chosen.copies, chosen.entries, chosen.sets)
    return 0 if agree else 1


if __name__ == "__main__":
    sys.exit(main())

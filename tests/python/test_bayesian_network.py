"""The library's posterior against a Bayesian network solved by pyAgrum.

One node per component that can fail (good, or one of its modes), one child per entry, and a child
of all components that says "at most two faults" and is observed true. The network knows nothing of
candidates, classes, ceilings or pruning; it gets the likelihood tables the library worked out.
"""

import itertools
import json
import math
import os
import subprocess
from pathlib import Path

import numpy as np
import pytest

gum = pytest.importorskip("pyagrum")

ROOT = Path(__file__).resolve().parents[2]
BINARY = Path(os.environ.get("FAULTLOOM_UNIT_BINARY", ROOT / "build/tests/faultloom_unit"))
MOST_FAULTS = 2


@pytest.fixture(scope="module")
def tables(tmp_path_factory):
    """Folder with the tables that the C++ tests export."""
    if not BINARY.exists():
        pytest.skip(f"{BINARY} is not built")
    folder = tmp_path_factory.mktemp("tables")
    subprocess.run(
        [BINARY, "--gtest_filter=Tables.Export"],
        check=True,
        capture_output=True,
        env=os.environ | {"FAULTLOOM_TABLES_DIR": str(folder)},
    )
    return folder


def add_child(network, name, parents, chance):
    """Adds a yes/no child; chance(states of its parents) is the probability of yes."""
    child = network.add(gum.LabelizedVariable(name, name, ["no", "yes"]))
    shape = [network.variable(parent).domainSize() for parent in parents]
    array = np.empty([*shape, 2])
    for states in itertools.product(*(range(n) for n in shape)):
        p = chance(states)
        array[states] = 1 - p, p
    for parent in parents:
        network.addArc(parent, name)
    # The axes of a table are its variables in reverse: parents last to first, then the child.
    names = list(network.cpt(child).names)[::-1]
    order = [(*parents, name).index(n) for n in names]
    network.cpt(child)[:] = np.ascontiguousarray(np.transpose(array, order))


def network_of(table):
    """The network, and the labels of each component's states."""
    network = gum.BayesNet("job")
    labels = {}
    for component in table["components"]:
        labels[component["id"]] = ["good", *component["modes"]]
        variable = gum.LabelizedVariable(component["id"], "", labels[component["id"]])
        node = network.add(variable)
        network.cpt(node)[:] = [component["good"], *component["modes"].values()]
    everything = list(labels)

    def present(states):
        return [labels[c][s] for c, s in zip(everything, states, strict=True) if s]

    add_child(network, "few", everything, lambda s: float(len(present(s)) <= MOST_FAULTS))
    for reading in table["readings"]:
        rows = {frozenset(r["modes"]): r["probability"] for r in reading["rows"]}
        # More faults than the library enumerates are ruled out by "few"; any number will do.
        add_child(
            network,
            reading["id"],
            everything,
            lambda s, rows=rows: rows.get(frozenset(present(s)), 0.5),
        )
    for look in table["looks"]:
        chances = [look["good"], *(look["modes"][m] for m in labels[look["component"]][1:])]
        add_child(
            network, look["id"], [look["component"]], lambda s, chances=chances: chances[s[0]]
        )
    return network, labels


def inference_of(network, observed):
    """Inference with these entries observed, and at most two faults."""
    inference = gum.LazyPropagation(network)
    inference.setEvidence(dict.fromkeys(["few", *observed], "yes"))
    return inference


@pytest.mark.parametrize("name", ["demo_job", "two_faults"])
def test_posterior_equals_the_network(tables, name):
    """Marginals, evidence, no fault and each entry's predictive probability."""
    table = json.loads((tables / f"{name}.json").read_text())
    network, labels = network_of(table)
    entries = [e["id"] for e in table["readings"] + table["looks"]]
    inference = inference_of(network, entries)
    inference.makeInference()
    found = table["posterior"]
    for component, states in labels.items():
        marginal = inference.posterior(component)
        for state, mode in enumerate(states[1:], start=1):
            assert found["modes"][mode] == pytest.approx(marginal[state], abs=1e-9), mode

    evidence = inference.evidenceProbability()
    assert found["log_evidence"] == pytest.approx(math.log(evidence), abs=1e-9)
    # No fault at all: the same network with every component observed good.
    for component in labels:
        inference.addEvidence(component, "good")
    assert found["no_fault"] == pytest.approx(inference.evidenceProbability() / evidence, abs=1e-9)

    for entry in entries:
        others = inference_of(network, [e for e in entries if e != entry])
        predictive = evidence / others.evidenceProbability()
        assert found["predictive"][entry] == pytest.approx(predictive, abs=1e-9), entry

"""Common causes in a yard: found where they are, named no more often than said where there are none."""

from __future__ import annotations

import datetime
import math
from dataclasses import replace

import numpy as np
import pytest
from faultloom.fleet import clusters as clusters_module
from faultloom.fleet.clusters import DAYS, Standing, chance_by_rates, clusters_of, tail
from faultloom.fleet.costs import Terms

MONDAY = datetime.datetime(2026, 8, 31, 7, 30)

CAUSES = ("contactor", "pedal_switch", "key_switch", "reed_interlock", "throttle_hall", "fuse")
RATES = np.array([0.35, 0.25, 0.15, 0.03, 0.17, 0.05])
# How often each of five kinds of findings comes with each cause; no finding says it all.
FINDINGS = np.array(
    [
        [0.72, 0.10, 0.05, 0.03, 0.10],
        [0.05, 0.70, 0.17, 0.03, 0.05],
        [0.05, 0.15, 0.72, 0.03, 0.05],
        [0.02, 0.05, 0.08, 0.80, 0.05],
        [0.30, 0.07, 0.05, 0.03, 0.55],
        [0.05, 0.10, 0.77, 0.03, 0.05],
    ]
)


def standing(name: int, cause: int | None, rng: np.random.Generator, charger: str) -> Standing:
    traits = {
        "charger": charger,
        "site": str(rng.integers(4)),
        "build_batch": str(rng.integers(5)),
        "battery_batch": str(rng.integers(3)),
    }
    if cause is None:
        return Standing(f"V{name}", traits)
    finding = rng.choice(5, p=FINDINGS[cause])
    posterior = RATES * FINDINGS[:, finding]
    chances = dict(zip(CAUSES, (posterior / posterior.sum()).tolist(), strict=True))
    rates = dict(zip(CAUSES, RATES.tolist(), strict=True))
    day = MONDAY - datetime.timedelta(days=float(rng.uniform(0, 10)))
    return Standing(f"V{name}", traits, chances, rates, chances, rates, day, waits=True)


def yard_of(rng: np.random.Generator, planted: int = 0) -> list[Standing]:
    """Forty vehicles, thirteen of them down; some at one charger with the same cause."""
    rows = []
    for i in range(40):
        at_charger = i < planted
        charger = "C1" if i < max(planted, 7) + 1 else f"C{2 + int(rng.integers(6))}"
        cause: int | None = int(rng.choice(6, p=RATES)) if i < 7 or i >= 34 else None
        rows.append(standing(i, 3 if at_charger else cause, rng, charger))
    return rows


def test_a_planted_cluster_is_found_from_findings_that_leave_doubt() -> None:
    hits = 0
    for seed in range(8):
        found = clusters_of(yard_of(np.random.default_rng(seed), planted=7), Terms(), seed)
        hits += any((c.cause, c.trait, c.value) == ("reed_interlock", "charger", "C1") for c in found)
    assert hits >= 6


def test_without_a_common_cause_none_is_named_more_often_than_said() -> None:
    yards = 60
    named = sum(bool(clusters_of(yard_of(np.random.default_rng(1000 + s)), Terms(), s)) for s in range(yards))
    # Two families of tests at 5 % each; four standard errors.
    assert named / yards <= 0.10 + 4 * math.sqrt(0.1 * 0.9 / yards)


def test_shuffled_traits_are_named_no_more_often_than_said() -> None:
    rng = np.random.default_rng(5)
    planted = yard_of(rng, planted=5)
    deals, named = 30, 0
    for seed in range(deals):
        order = rng.permutation(len(planted))
        shuffled = [replace(s, traits=planted[int(j)].traits) for s, j in zip(planted, order, strict=True)]
        found = clusters_of(shuffled, Terms(), seed)
        named += any(c.trait != DAYS for c in found)
    assert named / deals <= 0.05 + 4 * math.sqrt(0.05 * 0.95 / deals)


def test_certain_findings_give_no_more_than_their_chance_by_the_rates() -> None:
    # Five of five with a cause of 3 %: by the rates 0.03 ** 5; a common chance h costs 1 / (5 + 1).
    seen, rates = [1.0] * 5, [0.03] * 5
    assert chance_by_rates(seen, rates)[0] == pytest.approx(6 * 0.03**5, rel=1e-6)
    assert tail(5, rates) == pytest.approx(0.03**5)
    assert chance_by_rates(rates, rates)[0] == pytest.approx(1.0)


def test_taken_together_weak_findings_grow_strong() -> None:
    # By hand, with a chance h common to both and all h alike before: the weights of h are
    # (h a + (1 - h) b)^2 with a = 0.5 / 0.1 and b = 0.5 / 0.9.
    h = (np.arange(200000) + 0.5) / 200000
    ratio = h * 5 + (1 - h) * 5 / 9
    by_hand = np.sum(ratio**2 * (h * 5 / ratio)) / np.sum(ratio**2)
    chance, together = chance_by_rates([0.5, 0.5], [0.1, 0.1])
    assert together == pytest.approx([by_hand] * 2, abs=1e-6)
    assert chance == pytest.approx(1 / np.mean(ratio**2), abs=1e-6)


def test_the_chance_by_the_rates_holds_what_it_promises() -> None:
    # It is at most a where the rates alone are at work, in at most a of all cases: 1 / e, Markov.
    rng = np.random.default_rng(11)
    chances = []
    for _ in range(4000):
        causes = rng.choice(6, p=RATES, size=5)
        findings = [rng.choice(5, p=FINDINGS[c]) for c in causes]
        posterior = [RATES[3] * FINDINGS[3, f] / (RATES @ FINDINGS[:, f]) for f in findings]
        chances.append(chance_by_rates(posterior, [float(RATES[3])] * 5)[0])
    for level in (0.05, 0.2):
        share = np.mean(np.array(chances) <= level)
        assert share <= level + 3 * math.sqrt(level * (1 - level) / 4000)


def test_hundreds_with_the_same_cause_are_no_trouble() -> None:
    chance, together = chance_by_rates([0.999] * 800, [0.001] * 800)
    assert chance == 0
    assert together == pytest.approx([1.0] * 800, abs=1e-3)


def test_in_a_large_yard_vehicles_are_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    # With certain causes it is the same question: 3 of 3 in a group of 4 out of 10, by hand.
    chances = np.array([1.0, 1.0, 1.0] + [0.0] * 7)
    inside = np.array([True] * 4 + [False] * 6)
    by_hand = math.comb(7, 1) / math.comb(10, 4)
    assert clusters_module._by_dealing(chances, inside, np.random.default_rng(0)) == pytest.approx(by_hand)
    monkeypatch.setattr(clusters_module, "_MOST_DEALT", 5)
    assert clusters_module._by_dealing(chances, inside, np.random.default_rng(0)) == pytest.approx(by_hand)


def test_same_days_alone_are_named_when_the_rates_do_not_explain_it() -> None:
    rng = np.random.default_rng(3)
    rows = [standing(i, 3 if i < 5 else 0, rng, f"C{i}") for i in range(8)]
    certain = {**dict.fromkeys(CAUSES, 0.001), "reed_interlock": 0.995}
    rows = [replace(s, chances=certain, there=certain) if i < 5 else s for i, s in enumerate(rows)]
    (found,) = clusters_of([replace(s, complained=MONDAY, traits={}) for s in rows], Terms())
    assert (found.trait, found.waiting, found.surely) == (DAYS, 8, 5)
    assert found.tail == pytest.approx(tail(5, [0.03] * 8))

"""Learns failure rates from a workshop's history and draws what came of it.

Usage: learn_rates.py FOLDER [HISTORY]

Writes into FOLDER rates.json, learned.svg (rates before and after), reliability.svg (what was
said and how often it was so) and sensitivity.svg (how a ranking hangs on the rates). HISTORY
is the invented one of the demonstration workshop unless given. Needs matplotlib and pandas.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import faultloom
import matplotlib as mpl

mpl.use("Agg")
import matplotlib.pyplot as plt

MOST_ROWS = 14


def models_of(
    history: dict[str, Any], rates: dict[str, Any] | None = None
) -> list[faultloom.Model]:
    """A model of each vehicle that the history names."""
    rows = [*history["jobs"], *history.get("running", [])]
    wanted = sorted({row["vehicle"] for row in rows})
    return [faultloom.Model(faultloom.find_vehicle(name), rates=rates) for name in wanted]


def draw_learned(learned: faultloom.Learned, file: Path) -> None:
    """Rates before and after with their quantiles, the best known ones."""
    frame = learned.frame()
    frame = frame.sort_values("certain_failures").tail(MOST_ROWS)
    rows = range(len(frame))
    figure, axes = plt.subplots(figsize=(8, 5), layout="constrained")
    for when, shift, color in (("before", 0.15, "0.6"), ("after", -0.15, "tab:blue")):
        middle = frame[when]
        spread = [middle - frame[f"{when}_low"], frame[f"{when}_high"] - middle]
        places = [row + shift for row in rows]
        axes.errorbar(middle, places, xerr=spread, fmt="o", color=color, label=when)
    axes.set_yticks(list(rows), [f"{kind} ({n:.0f})" for kind, n in frame.failures.items()])
    axes.set_xscale("log")
    axes.set_xlabel("failures per million hours, 5 % to 95 %; in brackets failures seen")
    axes.legend()
    figure.savefig(file)


def draw_reliability(answer: faultloom.Calibration, file: Path) -> None:
    """What was said against how often it was so."""
    figure, axes = plt.subplots(figsize=(5, 5), layout="constrained")
    axes.plot([1e-5, 1], [1e-5, 1], color="0.7", linewidth=1)
    for scores, label in ((answer.scores, "learned"), (answer.against, "shipped")):
        if scores is None:
            continue
        said = [max(point.mean_probability, 1e-5) for point in scores.diagram]
        was = [max(point.share_happened, 1e-5) for point in scores.diagram]
        axes.plot(said, was, "o-", label=f"{label}: {scores.log_loss:.2f} nat per job")
    axes.set(xscale="log", yscale="log", xlabel="said", ylabel="was so")
    axes.legend()
    figure.savefig(file)


def draw_sensitivity(answer: faultloom.Sensitivity, file: Path) -> None:
    """How far the leader's chance moves if a rate is off by its own uncertainty."""
    sigma = {rate.rate: rate.relative_sigma for rate in answer.rates}
    slopes = answer.derivatives()[answer.leader]
    swings = sorted(
        ((rate, slope * sigma[rate]) for rate, slope in slopes.items()), key=lambda s: abs(s[1])
    )[-MOST_ROWS:]
    figure, axes = plt.subplots(figsize=(8, 4), layout="constrained")
    axes.barh([rate for rate, _ in swings], [swing for _, swing in swings])
    axes.set_xlabel(f"change of P({answer.leader} is broken) per standard deviation of the rate")
    figure.savefig(file)


def main(arguments: list[str]) -> int:
    """Runs the example."""
    if len(arguments) not in (1, 2):
        print(__doc__, file=sys.stderr)
        return 2
    folder = Path(arguments[0])
    folder.mkdir(parents=True, exist_ok=True)
    data = faultloom.data_path()
    shipped = data / "histories" / "fernhollow-two-seasons.json"
    history = json.loads((Path(arguments[1]) if len(arguments) > 1 else shipped).read_text())

    models = models_of(history)
    learned = faultloom.learn_rates(models, history, budget_sets=2000)
    (folder / "rates.json").write_text(json.dumps(learned.rates, indent=2) + "\n")
    draw_learned(learned, folder / "learned.svg")
    print(f"{len(learned.changes)} kinds had something to learn from; the most certain:")
    best = learned.frame().sort_values("certain_failures", ascending=False).head(5)
    print(best[["before", "after", "failures"]].round(2).to_string())

    # In sample: a real comparison judges by jobs that the rates were not learned from.
    answer = faultloom.calibration(
        models_of(history, learned.rates), history, against=models, budget_sets=2000
    )
    draw_reliability(answer, folder / "reliability.svg")
    print(f"{answer.jobs} jobs with entries and a confirmed cause:")
    print(f"  calibration error {answer.scores.calibration_error:.4f}, of which noise")
    print(f"  {answer.scores.noise_floor:.4f}")

    job = data / "jobs" / "compost-yard-dead-tug.json"
    sway = faultloom.sensitivity(faultloom.Model.shipped("mulch-tug"), job, budget_sets=2000)
    draw_sensitivity(sway, folder / "sensitivity.svg")
    print(f"{job.stem}: {sway.leader} leads. More history would save most about:")
    for rate in sway.wanted[:3]:
        print(f"  {rate.rate}: at most {rate.value_of_knowing_usd:.2f} USD a job like this")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

"""The reference job by the Python package, which does not go through the C interface.

Called with VEHICLE JOB BROKEN FOLDER; writes what the clients write but for the lines `abi`,
`shares`, `cancelled` and `missing`, which say something of the C interface itself.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import faultloom


def main() -> None:
    vehicle, job, broken, folder = (Path(name) for name in sys.argv[1:])
    model = faultloom.Model(vehicle)
    facts = [f"version {faultloom.__version__}"]
    for title, names in (("terminals", model.terminals), ("modes", model.modes)):
        facts.append(f"{title} {len(names)} {names[0]} {names[-1]}")
    for title, values in (
        ("volts", model.terminal_volts({"key": "on"})),
        ("posteriors", model.mode_posteriors(job)),
    ):
        facts.append(" ".join([title, *(repr(float(value)) for value in values)]))
    ranking = model.rank(job, top=10, budget_sets=500).text
    step = model.next_step(job, alternatives=1).text
    try:
        faultloom.Model(broken)
    except faultloom.Error as error:
        facts += [f"error {error.code} {error.name} {error.pointer}"]
        facts += [f"message {error.problems[0].message}"]
        details = [
            {"code": row.name, "number": row.code, "message": row.message, "pointer": row.pointer}
            for row in error.problems
        ]
    (folder / "ranking.json").write_text(ranking, encoding="utf-8")
    (folder / "step.json").write_text(step, encoding="utf-8")
    (folder / "details.json").write_text(json.dumps(details), encoding="utf-8")
    (folder / "facts.txt").write_text("\n".join(facts) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()

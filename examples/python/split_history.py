"""Parts a history: jobs without findings to learn from, jobs with findings to judge by.

Usage: split_history.py HISTORY FOLDER

Writes FOLDER/before.json, with the hours without a failure, and FOLDER/after.json. Rates are to be
judged by jobs that they were not learned from.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any


def parted(history: dict[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    """The two parts."""
    before = [job for job in history["jobs"] if not job.get("entries")]
    after = [job for job in history["jobs"] if job.get("entries")]
    return {**history, "jobs": before}, {**history, "jobs": after, "running": []}


def main(arguments: list[str]) -> int:
    """Runs the example."""
    if len(arguments) != 2:
        print(__doc__, file=sys.stderr)
        return 2
    history = json.loads(Path(arguments[0]).read_text(encoding="utf-8"))
    for name, part in zip(("before", "after"), parted(history), strict=True):
        file = Path(arguments[1]) / f"{name}.json"
        file.write_text(json.dumps(part) + "\n", encoding="utf-8")
        print(f"{file}: {len(part['jobs'])} jobs")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

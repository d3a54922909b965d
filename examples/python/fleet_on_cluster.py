"""Ranks a long list of complaints on a local cluster of one process and of two, and times it.

Usage: fleet_on_cluster.py [LIST] [--processes N ...] [--budget-sets N]

LIST is a fleet document or table; the jobs with findings of the shipped seasons unless given. The
same call reaches other machines: start `dask scheduler` on one and `dask worker ADDRESS` on each,
with this package installed, and give that address to `distributed.Client`, or to
`faultloom triage --scheduler`. Needs faultloom[fleet,cluster].
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Sequence
from typing import Any

import distributed  # type: ignore[import-untyped, import-not-found, unused-ignore]
import faultloom
from faultloom import fleet

# The package is typed only in part.
cluster_type: Any = distributed.LocalCluster
client_type: Any = distributed.Client


def season_list() -> dict[str, Any]:
    """The jobs with findings of the shipped seasons, as if all waited at once."""
    path = faultloom.data_path() / "histories" / "fernhollow-seasons.json"
    jobs = json.loads(path.read_text(encoding="utf-8"))["jobs"]
    kept = ("vehicle", "exposure_hours", "environment", "entries")
    rows = [
        {"id": job["id"], **{name: job[name] for name in kept}} for job in jobs if "entries" in job
    ]
    return {"format": "faultloom.fleet", "version": "1.0", "vehicles": rows}


def timed(listed: fleet.Fleet, processes: int, budget_sets: int | None) -> tuple[float, str]:
    """Seconds for the whole list on so many processes, and the answer."""
    with (
        cluster_type(
            n_workers=processes, threads_per_worker=1, processes=True, dashboard_address=None
        ) as cluster,
        client_type(cluster) as client,
    ):
        # Models are built once per process, whoever gets there first; that is not what is timed.
        fleet.triage(listed, client=client, chunk=4, budget_sets=1)
        begun = time.perf_counter()
        answer = fleet.triage(listed, client=client, chunk=4, budget_sets=budget_sets)
        return time.perf_counter() - begun, answer.to_json()


def main(arguments: Sequence[str]) -> int:
    """Runs the example."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    parser.add_argument("list", nargs="?", metavar="LIST")
    parser.add_argument("--processes", type=int, nargs="+", default=[1, 2], metavar="N")
    parser.add_argument("--budget-sets", type=int, metavar="N")
    given = parser.parse_args(arguments)
    listed = fleet.load_fleet(given.list or season_list())
    count = len(listed.waiting)
    rates, answers = [], set()
    for processes in given.processes:
        seconds, answer = timed(listed, processes, given.budget_sets)
        rates.append(count / seconds)
        answers.add(answer)
        print(
            f"{processes} processes: {count} jobs in {seconds:.1f} s, {rates[-1]:.2f} jobs a "
            f"second, {rates[-1] / rates[0]:.2f} times the first"
        )
    print("All answers are the same." if len(answers) == 1 else "The answers differ.")
    return 0 if len(answers) == 1 else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

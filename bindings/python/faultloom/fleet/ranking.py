"""What is broken on each vehicle that waits, in chunks that any pool of workers may take."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Executor, Future, as_completed
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any

from faultloom.errors import Code, Error
from faultloom.fleet.jobs import Texts, model_of
from faultloom.model import Model, Progress

_ALL_SUSPECTS = 10000

LEAST_CHANCE = 1e-4
"""Faults less probable than this are left out of a belief [1]."""


@dataclass(frozen=True, slots=True)
class Belief:
    """What is broken on one vehicle.

    Attributes:
        status: "ranked", "screened" (looked at less closely), or "failed".
        problems: Why it failed.
        modes: Chance of each mode COMPONENT/mode that it is there [1].
        no_fault: Chance that nothing is broken now [1].
        not_in_model: Chance of something the wiring document does not know [1].
        bound: At most so much chance lies in what was not looked at [1].
        next_usd: Expected cost to the end of the job by the advice [USD]; None if not asked for.
        next_text: What it says to do first.
    """

    status: str
    problems: tuple[str, ...] = ()
    modes: Mapping[str, float] = field(default_factory=dict)
    no_fault: float = 0.0
    not_in_model: float = 0.0
    bound: float = 0.0
    next_usd: float | None = None
    next_text: str = ""


@dataclass(frozen=True, slots=True)
class Chunk:
    """Jobs of one kind of vehicle, to be done in one go.

    Attributes:
        texts: Documents of the model.
        numbers: Place of each job among all.
        jobs: Their documents.
        advise: Whether to ask for the next step as well.
        budget_sets: Sets of faults to look at for each job; None for the library's own.
        quick: Whether jobs are only looked up in tables.
    """

    texts: Texts
    numbers: tuple[int, ...]
    jobs: tuple[str, ...]
    advise: bool = False
    budget_sets: int | None = None
    quick: bool = False


def work_on_chunk(chunk: Chunk, progress: Progress | None = None) -> list[tuple[int, Belief]]:
    """Ranks the jobs of a chunk; runs wherever it is sent.

    Args:
        chunk: The jobs.
        progress: Watches the work, where it is done in this process.

    Returns:
        Each job's number with what is broken.
    """
    model = model_of(chunk.texts)
    answer = model.rank_jobs(
        chunk.jobs,
        most_suspects=_ALL_SUSPECTS,
        full=False if chunk.quick else None,
        budget_sets=chunk.budget_sets,
        progress=progress,
    )
    beliefs = [_belief(row, answer["modes"]) for row in answer["jobs"]]
    if chunk.advise:
        beliefs = [_advised(model, job, b) for job, b in zip(chunk.jobs, beliefs, strict=True)]
    return list(zip(chunk.numbers, beliefs, strict=True))


def _belief(row: Mapping[str, Any], names: Sequence[str]) -> Belief:
    """A row of the library's answer."""
    if row["status"] == "failed":
        return Belief("failed", tuple(problem["message"] for problem in row["problems"]))
    modes = {
        names[suspect["mode"]]: suspect["probability"]
        for suspect in row["suspects"]
        if suspect["probability"] >= LEAST_CHANCE
    }
    return Belief(row["status"], (), modes, row["no_fault"], row["unmodelled"], row["bound"])


def _advised(model: Model, job: str, belief: Belief) -> Belief:
    if belief.status == "failed":
        return belief
    try:
        step = model.next_step(job, alternatives=0).step
    except Error as error:
        if error.code >= int(Code.ARGUMENT):
            raise
        return belief
    return replace(belief, next_usd=step.expected_total_usd, next_text=step.text)


def chunks_of(
    jobs: Iterable[tuple[Texts, str]],
    size: int,
    *,
    first: int = 0,
    advise: bool = False,
    budget_sets: int | None = None,
    quick: bool = False,
) -> list[Chunk]:
    """Chunks of jobs that share a model, in the order of the jobs.

    Args:
        jobs: Documents of the model, and the job.
        size: Most jobs in a chunk.
        first: Number of the first job.
        advise: As in `Chunk`.
        budget_sets: As in `Chunk`.
        quick: As in `Chunk`.
    """
    by_model: dict[Texts, list[tuple[int, str]]] = {}
    for number, (texts, job) in enumerate(jobs, first):
        by_model.setdefault(texts, []).append((number, job))
    return [
        Chunk(
            texts,
            tuple(number for number, _ in rows[at : at + size]),
            tuple(job for _, job in rows[at : at + size]),
            advise,
            budget_sets,
            quick,
        )
        for texts, rows in by_model.items()
        for at in range(0, len(rows), size)
    ]


def results_of(
    chunks: Sequence[Chunk], executor: Executor | None, progress: Callable[[float], None]
) -> Iterator[list[tuple[int, Belief]]]:
    """The beliefs of each chunk as it is done, in whatever order.

    Args:
        chunks: What to do.
        executor: Where to; here and now if None. What is still open is cancelled when the caller
            stops asking.
        progress: Watches chunks on their way, in jobs done of the present one; what it raises ends
            the work.
    """
    if executor is None:
        for chunk in chunks:
            yield work_on_chunk(chunk, partial(_passed_on, progress, len(chunk.jobs)))
        return
    futures: list[Future[list[tuple[int, Belief]]]] = [
        executor.submit(work_on_chunk, chunk) for chunk in chunks
    ]
    try:
        for future in as_completed(futures):
            yield future.result()
    finally:
        for future in futures:
            future.cancel()


def _passed_on(progress: Callable[[float], None], jobs: int, share: float) -> None:
    progress(share * jobs)


def executor_of(client: Any) -> Executor | None:
    """The executor of a client of Dask `distributed`, or the executor itself."""
    if client is None or isinstance(client, Executor):
        return client
    get: Callable[[], Executor] = client.get_executor
    return get()

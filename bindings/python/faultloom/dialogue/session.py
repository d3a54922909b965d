"""The talk at the bench: a step is proposed, its outcome taken and kept, the suspicion moves."""

from __future__ import annotations

import contextlib
import json
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from faultloom import _show
from faultloom._bench import one_line, priors_of
from faultloom._layout import heading
from faultloom._terminal import Patience, complain, show
from faultloom._words import Names, words
from faultloom.answers import Advice, Ranking, Step
from faultloom.dialogue import screen
from faultloom.dialogue.agenda import Agenda
from faultloom.dialogue.closing import (
    VERDICTS,
    Closing,
    closing_in,
    how_to_answer,
    passes,
    tries,
    verdicts,
)
from faultloom.dialogue.grammar import Command, NotUnderstoodError, Words, understand
from faultloom.dialogue.interrupts import Interrupts
from faultloom.dialogue.job_file import ChangedError, InUseError
from faultloom.dialogue.job_store import JobStore, open_store
from faultloom.dialogue.journal import Journal
from faultloom.dialogue.lines import Lines
from faultloom.dialogue.opening import Opening, is_choice
from faultloom.dialogue.own import EntryData, OwnFindings
from faultloom.dialogue.questions import LEAD, Question, Reply
from faultloom.dialogue.vocabulary import Vocabulary
from faultloom.errors import Code, Error
from faultloom.model import Model, Progress
from faultloom.proof import Verification

_PROMPT = "> "
# All rows, so that where a suspect stood before can always be told.
_ALL_ROWS = 1000
_SHOWN_SUSPECTS = 10
_SHOWN_AT_START = 5
_WEIGHED = 4
_ALTERNATIVES = 12
_COMPARED = 2
_LONGEST_LINE = 8000

Result = TypeVar("Result")


@dataclass(frozen=True)
class Means:
    """What the planner may use; None is for what the job says.

    Attributes:
        instruments: Ids of those at hand.
        closed_zones: Ids of the places that stay closed.
        allow_live: False for nothing with the pack connected.
        authorized_usd: What a repair may cost without asking first, None for anything [USD].
    """

    instruments: Sequence[str] | None = None
    closed_zones: Sequence[str] | None = None
    allow_live: bool | None = None
    authorized_usd: float | None = None


class Session:
    """One sitting at the bench.

    Args:
        model: The vehicle.
        names: Its titles.
        vocabulary: Its names as they may be typed.
        file: Where the job is kept.
        journal: The job so far.
        cues: What may be asked of the driver: titles by id.
        means: What may be used.
        resume: Command that goes on with this job, for the farewell; it gets the file's path.
    """

    def __init__(
        self,
        *,
        model: Model,
        names: Names,
        vocabulary: Vocabulary,
        file: JobStore,
        journal: Journal,
        cues: Mapping[str, str],
        means: Means,
        resume: Callable[[str], str],
    ) -> None:
        self._model = model
        self._names = names
        self._vocabulary = vocabulary
        self._file = file
        self._journal = journal
        self._cues = cues
        self._means = means
        self._authorized_usd = means.authorized_usd
        self._resume = resume
        self._interrupts = Interrupts()
        self._lines = Lines(self._interrupts)
        self._unsaved = False
        self._ending = False
        self._ranking: Ranking | None = None
        self._advice: Advice | None = None
        self._proof: Verification | None = None
        self._agenda = Agenda(vocabulary)

    def run(self) -> None:
        """Talks until there is nothing more to say.

        Raises:
            KeyboardInterrupt: Ctrl-C; everything answered is in the file.
            TerminatedError: The process was told to end; likewise.
            Error: The job can't be worked with.
        """
        with self._interrupts:
            try:
                self._begin()
                self._talk()
            finally:
                self._leave()

    # -- the talk ----------------------------------------------------------------------------------

    def _begin(self) -> None:
        if self._journal.started:
            self._work_out()
            self._show_ranking(_SHOWN_AT_START)
            show(*screen.mended(self._ranked()))
            if closing := self._journal.document.get("closing"):
                _say(f"This job is closed: {_closed_as(closing)}. What you add opens it again.")
        else:
            opening = Opening(self._lines, self._names, self._vocabulary, self._cues)
            for ask in (opening.complaint, opening.cues, opening.whether_it_runs):
                changed = ask(self._journal)
                if changed is None:
                    self._ending = True
                    return
                with self._said():
                    self._record(changed)
            self._work_out()
        self._propose()

    def _talk(self) -> None:
        while not self._ending:
            line = self._lines.ask(_PROMPT)
            if line is None:
                return
            with self._said():
                self._hear(line)

    @contextlib.contextmanager
    def _said(self) -> Iterator[None]:
        """Says what was not understood, and goes on."""
        try:
            yield
        except NotUnderstoodError as error:
            _say(str(error))

    def _hear(self, line: str) -> None:
        if not line.strip():
            step = self._agenda.current
            hint = (
                Question(step, self._vocabulary).hint if step else "Type help for what can be typed"
            )
            _say(hint)
            return
        if len(line) > _LONGEST_LINE:
            raise NotUnderstoodError(f"That line is too long: at most {_LONGEST_LINE} letters")
        said = understand(line)
        if isinstance(said, Command):
            self._obey(said)
            return
        step = self._agenda.current
        try:
            if step is None:
                if self._agenda.closes and (closing := closing_in(line)) is not None:
                    self._close(closing)
                    return
                raise NotUnderstoodError(
                    "No step is open: tell what you found with 'something else: ...', or other"
                )
            reply = Question(step, self._vocabulary).reply(said)
        except NotUnderstoodError:
            if isinstance(said, Words) and self._own(line, only_whole=True):
                return
            raise
        self._take(reply, step)

    def _obey(self, command: Command) -> None:
        match command.name:
            case "undo":
                self._undo()
            case "why":
                self._why()
            case "skip":
                self._skip(command.rest)
            case "other":
                self._other(command.rest)
            case "own":
                self._own(command.rest)
            case "rank":
                self._show_ranking(_SHOWN_SUSPECTS)
            case "step":
                self._show_step()
            case "save":
                self._save_again(command.rest)
            case "help":
                show(*screen.help_lines())
            case "close":
                self._ask_closing(command.rest)
            case "done":
                self._done()
            case _:
                self._quit()

    # -- answers -----------------------------------------------------------------------------------

    def _take(self, reply: Reply, step: Step | None) -> None:
        """Notes an answer, writes the job, shows what moved and what comes next."""
        if reply.authorized_usd is not None:
            self._authorized_usd = reply.authorized_usd
        changed = self._journal
        if reply.entries:
            changed = changed.with_entries(reply.entries)
        if _can_not(reply.entries):
            pass
        elif step is not None and reply.entries and self._agenda.check(step) is None:
            changed = changed.with_zones(zone.id for zone in step.zones_to_open)
        else:
            for entry in reply.entries:
                changed = changed.with_zones(self._vocabulary.zones_of(entry))
        if step is not None and reply.aside:
            key = self._agenda.key(step)
            changed = changed.with_aside(key, answered=bool(reply.entries))
        self._record(changed)
        before, proved = self._ranking, self._proof
        self._work_out()
        if reply.entries:
            self._show_noted(changed, len(reply.entries))
            if before is not None:
                show("", *screen.moves(before, self._ranked()), *screen.mended(self._ranked()))
            show(*screen.settled(proved, self._proof))
        if any(LEAD in entry for entry in reply.entries):
            _say("Take the lead off now: it must not stay where it is")
        self._propose()

    def _own(self, text: str, *, only_whole: bool = False) -> bool:
        """Takes a finding in words; False if it is none and only what is one counts."""
        preferred = [e["instrument"] for e in reversed(self._journal.entries) if "instrument" in e]
        preferred += self._means.instruments or self._journal.document.get("instruments", [])
        present = self._agenda.current.state if self._agenda.current is not None else {}
        try:
            entry = OwnFindings(self._vocabulary, preferred).entry(text, present)
        except NotUnderstoodError:
            if only_whole:
                return False
            raise
        self._take(Reply((entry,)), None)
        return True

    def _undo(self) -> None:
        undone = self._journal.undone()
        if undone is None:
            _say("There is nothing to take back")
            return
        changed, taken = undone
        said = {entry.id: entry.text for entry in self._ranked().entries}
        self._adopt(changed)
        if taken:
            _say(
                "Taken back: " + "; ".join(f"{name} {said.get(name, '')}".strip() for name in taken)
            )
        else:
            _say("Taken back: the step that was put aside")
        before = self._ranked()
        self._work_out()
        if taken:
            show("", *screen.moves(before, self._ranked()))
        self._propose()

    def _record(self, changed: Journal) -> None:
        """Takes a changed job over and writes it, if the library can read it and it is another.

        Raises:
            NotUnderstoodError: With what the library says against it.
        """
        if changed is self._journal:
            return
        try:
            self._model.mode_priors(changed.document)
        except Error as error:
            if error.code >= int(Code.ARGUMENT):
                raise
            said = "; ".join(dict.fromkeys(one_line(p.message) for p in error.problems))
            raise NotUnderstoodError(said) from None
        self._adopt(changed)

    def _adopt(self, changed: Journal) -> None:
        self._journal = changed
        self._save()

    # -- the file ----------------------------------------------------------------------------------

    def _save(self) -> bool:
        try:
            self._file.write(self._journal.text)
        except (OSError, ChangedError) as error:
            why = error.strerror or str(error) if isinstance(error, OSError) else str(error)
            self._unsaved = True
            complain(
                [
                    one_line(
                        f"{self._file.path}: Can't be written: {why}. Your answers are kept here; "
                        "type save to try again, or save FILE for another place"
                    )
                ]
            )
            return False
        self._unsaved = False
        return True

    def _save_again(self, place: str) -> None:
        if place:
            try:
                other = open_store(place)
            except (OSError, InUseError, Error) as error:
                why = error.strerror if isinstance(error, OSError) else str(error)
                raise NotUnderstoodError(f"{place}: Can't be used: {why}") from None
            if other.text is not None:
                other.close()
                raise NotUnderstoodError(f"{place}: Is there already; name a new file")
            self._file.close()
            self._file = other
        if self._save():
            _tell(f"Written to {self._file.path}")

    def _quit(self) -> None:
        if self._unsaved and not self._save():
            _say("Not left, because the last answers would be lost")
            return
        self._ending = True

    def _leave(self) -> None:
        """Says where the job is. What can't be written is shown, so that it can be kept by hand."""
        try:
            if self._unsaved and not self._save():
                complain(["The job as it stands, to be kept by hand:", self._journal.text])
            elif self._file.text is not None:
                # Whoever hung up reads nothing any more, and what matters is written.
                with contextlib.suppress(OSError):
                    _tell(f"The job is in {self._file.path}")
                    _tell(f"Go on with: {self._resume(str(self._file.path))}")
                    sys.stdout.flush()
        finally:
            self._file.close()

    # -- steps -------------------------------------------------------------------------------------

    def _work_out(self) -> None:
        """Asks the library where the fault is and what to do next."""
        job = self._journal.document
        done = len(self._journal.aside) + len(self._journal.entries)
        self._ranking = self._patiently(
            lambda progress: self._model.rank(job, top=_ALL_ROWS, progress=progress)
        )
        try:
            self._advice = self._patiently(
                lambda progress: self._model.next_step(
                    job,
                    instruments=self._means.instruments,
                    closed_zones=self._means.closed_zones,
                    allow_live=self._means.allow_live,
                    authorized_usd=self._authorized_usd,
                    alternatives=min(_ALTERNATIVES + done, _ALL_ROWS),
                    progress=progress,
                )
            )
        except Error as error:
            if error.code != int(Code.NO_STEP):
                raise
            self._advice = None
        self._proof = None
        if self._has_to_be_proved():
            self._proof = self._patiently(
                lambda progress: self._model.verification(job, progress=progress)
            )
        elif self._advice is None:
            _say("There is no step to propose with what may be used")

    def _has_to_be_proved(self) -> bool:
        """Whether a repair was made, or it runs and there is nothing better than to prove it."""
        if self._journal.repaired:
            return True
        tried = tries(self._journal.entries, self._vocabulary)
        nothing_better = self._advice is None or self._advice.step.type == "verify"
        return nothing_better and tried[-1:] == ["yes"]

    def _patiently(self, work: Callable[[Progress], Result]) -> Result:
        with self._interrupts.allowed(), Patience() as patience:
            return work(patience)

    def _propose(self) -> None:
        """Opens the best of the steps still to be proposed, and shows it."""
        if remark := self._agenda.fill(self._advice, self._journal, self._proof):
            _say(remark)
        self._show_step()

    def _show_ranking(self, most: int) -> None:
        job = self._job()
        priors = priors_of(self._model, job)
        show(*_show.ranking(self._ranked(), job, self._names, most, priors))

    def _show_step(self) -> None:
        if self._agenda.current is None and self._agenda.closes and self._proof is not None:
            self._offer_closing(self._proof)
            return
        if (step := self._agenda.current) is None:
            _say(
                "Tell what you find with 'something else: ...', undo, rank, "
                "or done if there is nothing left to do"
            )
            return
        hint = Question(step, self._vocabulary).hint
        if (check := self._agenda.check(step)) is not None:
            show("", *screen.check_card(check, step, self._names, self._agenda.checks_left))
            hint = f"{how_to_answer(check) or hint}; {passes(check)}"
        else:
            show("", *_show.step_card(step, self._names))
        show("", screen.answer_line(hint))

    def _why(self) -> None:
        step = self._agenda.current
        if self._agenda.check(step) is not None:
            _say("It has to be proved before the vehicle goes back")
        elif step is not None and self._advice is not None:
            show(*screen.reasons(step, self._advice, self._agenda.others(_COMPARED)))
        if not self._journal.entries:
            _say("Nothing was found so far: the suspects go by how often each fails")
            return
        job = self._journal.document
        answer = self._patiently(
            lambda progress: self._model.explain(job, top=_WEIGHED, progress=progress)
        )
        show("", *_show.explanation(answer, self._job(), self._names))

    def _skip(self, rest: str) -> None:
        if rest:
            raise NotUnderstoodError("Type skip alone for the next best step, or other to choose")
        if not self._agenda.others(1):
            raise NotUnderstoodError("There is no other step to propose")
        if self._agenda.skip():
            _say("All steps were skipped; from the best one again")
        self._show_step()

    def _other(self, rest: str) -> None:
        others = self._agenda.others(_ALTERNATIVES)
        if not others:
            raise NotUnderstoodError("There is no other step to choose")
        number = rest.removeprefix("step").strip()
        if not number:
            show(heading("Other steps, with the cost to the end of the job"))
            show(screen.choices([screen.priced(step) for step in others]))
            show("Which one? Its number, or an empty line for none.")
            line = self._lines.ask("number> ")
            number = "" if line is None else line.strip()
        if not number:
            self._show_step()
            return
        if not is_choice(number, len(others)):
            raise NotUnderstoodError(
                f"'{number}' is none of the steps 1 to {len(others)}; type other to see them"
            )
        self._agenda.current = others[int(number) - 1]
        self._show_step()

    # -- the end of the job ------------------------------------------------------------------------

    def _offer_closing(self, proof: Verification) -> None:
        show("", *_show.proof(proof))
        if self._journal.verdict:
            return
        hint = " or ".join(verdicts(repaired=self._journal.repaired))
        hint += " closes the job; done leaves it open"
        if proof.result == "open":
            hint = "add 'by word' if you answer for what is open, as in repaired by word; " + hint
        show("", screen.answer_line(hint))

    def _ask_closing(self, rest: str) -> None:
        """Closes the job in the words given, asks for them if there are none."""
        if not rest.strip():
            fitting = verdicts(repaired=self._journal.repaired)
            show(heading("How does the job end?"))
            show(screen.choices([(VERDICTS[verdict], verdict) for verdict in fitting]))
            show("The word or its number; 'by word' after it if you answer for what was not proved")
            line = (self._lines.ask("verdict> ") or "").strip()
            if not line:
                self._show_step()
                return
            number, _, more = line.partition(" ")
            if is_choice(number, len(fitting)):
                line = f"{fitting[int(number) - 1]} {more}".strip()
            rest = line
        closing = closing_in(rest)
        if closing is None:
            raise NotUnderstoodError(
                f"'{rest}' closes no job: {', '.join(VERDICTS)}; 'by word', ': a note' may follow"
            )
        self._close(closing)

    def _close(self, closing: Closing) -> None:
        """Closes the job, or shows line by line what stands against it."""
        job = self._journal.document
        try:
            text = self._patiently(
                lambda progress: self._model.close(
                    job,
                    closing.verdict,
                    by="word" if closing.by_word else "verification",
                    note=closing.note,
                    progress=progress,
                )
            )
        except Error as error:
            if error.code != int(Code.NOT_VERIFIED):
                raise
            show(heading("Not closed"))
            for problem in error.problems:
                _say(f"  {problem.message}")
            return
        self._adopt(Journal(json.loads(text)))
        said = self._journal.document["closing"]
        _say(f"Closed: {_closed_as(said)}")
        if reported := said.get("reported"):
            _say(f"Tell the customer what earlier hands left: {', '.join(reported)}")
        self._quit()

    def _done(self) -> None:
        if self._agenda.current is not None and self._agenda.current.type == "repair":
            raise NotUnderstoodError(
                "Done with what? Type repaired if the repair is made, quit to leave"
            )
        self._say_open()
        self._quit()

    def _say_open(self) -> None:
        """Says what is left open if the sitting ends now."""
        if self._journal.verdict or not self._journal.started:
            return
        if self._proof is None:
            _say("The job stays open: nothing was repaired, nothing shown to run")
            return
        left = [check for check in self._proof.checks if check.result != "passed"]
        if not left:
            _say("The job stays open, though everything is proved: close ends it")
            return
        show(heading("The job stays open"), _show.checks(left))

    # -- what is shown -----------------------------------------------------------------------------

    def _show_noted(self, journal: Journal, count: int) -> None:
        """Repeats the last entries in the library's words, and what it thinks of them."""
        added = {entry["id"] for entry in journal.entries[-count:]}
        show("", *screen.noted(self._ranked(), added))

    def _ranked(self) -> Ranking:
        if self._ranking is None:
            self._work_out()
        if self._ranking is None:
            raise AssertionError("a ranking is there once it was worked out")
        return self._ranking

    def _job(self) -> dict[str, Any]:
        return dict(self._journal.document)


def _closed_as(closing: Mapping[str, Any]) -> str:
    """A closing of a job document in words."""
    return f"{words(closing['verdict'])}, by {closing['by']}"


def _can_not(entries: Iterable[EntryData]) -> bool:
    return any(entry.get("outcome") == "cannot_reach" for entry in entries)


def _say(line: str) -> None:
    show(one_line(line))


def _tell(line: str) -> None:
    """Writes a line to be copied, however long it is."""
    sys.stdout.write(one_line(line) + "\n")

"""The typed package: what it returns, who owns it, how it fails, and that its types are true."""

from __future__ import annotations

import doctest
import gc
import importlib
import json
import math
import re
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import faultloom
import numpy as np
import pytest
from faultloom import _core
from faultloom.errors import Code

from small_cart import small_job, small_vehicle

ROOT = Path(__file__).resolve().parents[2]
DATA = faultloom.data_path()
JOBS = sorted((DATA / "jobs").glob("*.json"))


@pytest.fixture(scope="module")
def cart() -> faultloom.Model:
    return faultloom.Model(small_vehicle())


@pytest.fixture(scope="module")
def tug() -> faultloom.Model:
    return faultloom.Model.shipped("mulch-tug")


# -- what to do next -------------------------------------------------------------------------------


def test_a_closed_job_has_no_next_step(tug: faultloom.Model) -> None:
    job = json.loads((DATA / "jobs" / "compost-yard-dead-tug.json").read_text())
    job["closing"] = {"verdict": "not_repaired", "by": "word"}
    for ask in (tug.next_step, tug.plan, tug.plan_card):
        with pytest.raises(faultloom.Error) as caught:
            ask(job)
        assert (caught.value.code, caught.value.pointer) == (Code.NO_STEP, "/closing")


def test_prices_and_the_budget_of_the_belief_reach_the_planner(tug: faultloom.Model) -> None:
    job = DATA / "jobs" / "compost-yard-dead-tug.json"
    usual = tug.next_step(job)
    assert tug.next_step(job, comeback_usd=150, good_part_loss=0.4, budget_sets=2500) == usual
    dear = tug.next_step(job, comeback_usd=5000, good_part_loss=1)
    assert dear.step.expected_total_usd > usual.step.expected_total_usd
    with pytest.raises(faultloom.Error) as caught:
        tug.next_step(job, good_part_loss=1.5, comeback_usd=-1)
    assert {p.pointer for p in caught.value.problems} == {"/good_part_loss", "/comeback_usd"}


def test_it_runs_with_a_lead_across_what_is_broken() -> None:
    model = faultloom.Model.shipped("seedling-hauler")
    turns = {
        "type": "sign",
        "part": "M1",
        "sign": "turns",
        "state": {"service_switch": "run", "key": "on", "selector": "forward", "pedal": "pressed"},
    }
    job = {
        "format": "faultloom.job",
        "version": "1.0",
        "id": "lead",
        "vehicle": "seedling-hauler",
        "entries": [{"id": "a", **turns, "outcome": "no"}],
    }
    def odds() -> float:
        chances = {c.id: c.probability for c in model.rank(job, top=1000).components}
        return chances["S3"] / chances["K1"]

    before = odds()
    job["entries"].append({"id": "b", **turns, "outcome": "yes", "lead": ["S3.common", "S3.no"]})
    # Without the lead a motor that turns would speak against either.
    assert odds() > 5 * before
    job["entries"][1]["outcome"] = "no"
    assert odds() < before
    assert "lead from S3.common to S3.no" in model.explain(job).text


# -- documents in ----------------------------------------------------------------------------------


def test_a_document_may_be_a_path_a_text_bytes_or_an_object(tmp_path: Path) -> None:
    vehicle = small_vehicle()
    text = json.dumps(vehicle)
    path = tmp_path / "cart.json"
    path.write_text(text, encoding="utf-8")
    forms: list[faultloom.Document] = [path, str(path), text, text.encode(), vehicle]
    summaries = {faultloom.Model(form).summary().text for form in forms}
    assert len(summaries) == 1


def test_numbers_of_numpy_are_taken_in_a_document(cart: faultloom.Model) -> None:
    job = small_job()
    plain = cart.rank(job).text
    job["entries"][1]["volts"] = np.float64(job["entries"][1]["volts"])
    job["exposure_hours"] = np.int64(job["exposure_hours"])
    assert cart.rank(job).text == plain


def test_what_has_no_json_form_is_a_type_error(cart: faultloom.Model) -> None:
    with pytest.raises(TypeError, match="set has no JSON form"):
        cart.rank({"entries": {1, 2}})


def test_a_missing_file_is_an_os_error() -> None:
    with pytest.raises(FileNotFoundError):
        faultloom.Model("no-such-file.json")


def test_shipped_documents_are_found() -> None:
    assert faultloom.find_vehicle("mulch-tug") == DATA / "vehicles" / "mulch-tug.json"
    with pytest.raises(FileNotFoundError, match=r"no-such-cart\.json"):
        faultloom.find_vehicle("no-such-cart")


def test_the_vehicle_beside_a_job_comes_before_the_shipped_one(tmp_path: Path) -> None:
    (tmp_path / "vehicles").mkdir()
    (tmp_path / "jobs").mkdir()
    beside = tmp_path / "vehicles" / "mulch-tug.json"
    beside.write_text("{}", encoding="utf-8")
    assert faultloom.find_vehicle("mulch-tug", tmp_path / "jobs" / "a.json") == beside


@pytest.mark.parametrize("path", JOBS, ids=lambda path: path.stem)
def test_shipped_jobs_are_clean(path: Path) -> None:
    assert faultloom.check_document(path) == []


# -- answers out -----------------------------------------------------------------------------------


def test_a_summary_counts_what_it_lists(cart: faultloom.Model) -> None:
    summary = cart.summary()
    assert summary.id == "small-cart"
    assert summary.nominal_volt == 12
    assert summary.counts["terminals"] == len(cart.terminals) == len(summary["terminals"])
    assert summary.counts["modes"] == len(cart.modes)
    assert [c.id for c in summary.controls] == ["key"]
    assert summary.controls[0].positions == ("off", "on")
    assert {c.id for c in summary.components} >= {"BAT1", "H1", "S1", "W1", "W1:from", "W1:to"}


def test_volts_follow_the_key(cart: faultloom.Model) -> None:
    off = dict(zip(cart.terminals, cart.terminal_volts(), strict=True))
    on = dict(zip(cart.terminals, cart.terminal_volts({"key": "on"}), strict=True))
    broken = cart.terminal_volts({"key": "on"}, modes=["W2/open"])
    assert off["BAT1.negative"] == on["BAT1.negative"] == 0.0
    assert off["H1.plus"] < 0.5
    assert 12 < on["H1.plus"] < on["BAT1.positive"]
    assert broken[cart.terminals.index("H1.plus")] < 0.5
    assert broken[cart.terminals.index("S1.out")] > 12
    lifted = cart.terminal_volts({"key": "on"}, lifted=["W1:from"])
    isolated = cart.terminal_volts({"key": "on"}, isolated=True)
    assert lifted.tolist() == isolated.tolist()


def test_a_solution_agrees_with_the_array(cart: faultloom.Model) -> None:
    solution = cart.solve({"key": "on"})
    volts = cart.terminal_volts({"key": "on"})
    assert [solution.volts[name] for name in cart.terminals] == volts.tolist()
    assert solution.signs["H1.lit"] == "yes"
    assert not solution.chatters
    assert solution.amps["W1"] > 0
    assert "closed" in solution.contacts.values()


def test_arrays_own_their_numbers() -> None:
    model = faultloom.Model(small_vehicle())
    arrays = [model.terminal_volts(), model.mode_priors(), model.mode_posteriors(small_job())]
    copies = [array.tolist() for array in arrays]
    del model
    gc.collect()
    for array, copy in zip(arrays, copies, strict=True):
        assert array.dtype == np.float64
        assert array.ndim == 1
        assert array.flags.c_contiguous
        assert array.flags.writeable
        assert array.tolist() == copy
        np.add(array, 1.0, out=array)


def test_priors_depend_on_the_job(cart: faultloom.Model) -> None:
    short, long = small_job(), small_job()
    long["exposure_hours"] = 10 * short["exposure_hours"]
    priors = cart.mode_priors(short)
    assert len(priors) == len(cart.modes) == len(cart.mode_priors())
    assert (priors > 0).all()
    # What was left or done wrong before the visit does not grow with the hours.
    assert (cart.mode_priors(long) >= priors).all()
    assert (cart.mode_priors(long) > 5 * priors).sum() > len(priors) / 2


def test_posteriors_agree_with_the_ranking(cart: faultloom.Model) -> None:
    posteriors = dict(zip(cart.modes, cart.mode_posteriors(small_job()), strict=True))
    for component in cart.rank(small_job()).components:
        for mode in component.modes:
            # The array is worked out a little finer than the list.
            assert posteriors[f"{component.id}/{mode.id}"] == pytest.approx(
                mode.probability, rel=1e-6, abs=1e-9
            )


def test_a_ranking_is_typed_and_a_mapping(cart: faultloom.Model) -> None:
    ranking = cart.rank(small_job(), top=5)
    assert ranking["format"] == "faultloom.ranking"
    assert json.loads(ranking.text) == dict(ranking)
    assert len(ranking.components) == 5
    assert {w.id for w in ranking.wires} == {"W1", "W2", "W3"}
    assert ranking.job == "dark-lamp"
    assert ranking.vehicle == "small-cart"
    shares = [c.probability for c in ranking.components]
    assert shares == sorted(shares, reverse=True)
    entry = ranking.entries[0]
    assert entry.id == "lamp"
    assert entry.used
    assert entry.misreading is not None
    assert repr(ranking) == "<Ranking dark-lamp>"


def test_an_explanation_weighs_each_entry(cart: faultloom.Model) -> None:
    explanation = cart.explain(small_job(), top=3)
    assert len(explanation.suspects) == 3
    suspects = {s.id for s in explanation.suspects}
    for entry in explanation.entries:
        assert set(entry.weights) == suspects
    feed = next(e for e in explanation.entries if e.id == "feed")
    assert feed.expected
    assert all(expected.text.endswith("V") for expected in feed.expected)


def test_advice_names_a_step_and_what_it_may_show(tug: faultloom.Model) -> None:
    advice = tug.next_step(DATA / "jobs" / "compost-yard-dead-tug.json", alternatives=2)
    assert len(advice.alternatives) <= 2
    assert advice.step.minutes > 0
    assert advice.repair_only_usd > 0
    for step in (advice.step, *advice.alternatives):
        assert step.type in (
            "reading", "sign", "look", "lift", "bridge", "repair", "authorize", "verify"
        )
        if step.outcomes:
            assert sum(o.probability for o in step.outcomes) == pytest.approx(1, abs=1e-6)
        totals = [s.expected_total_usd for s in (advice.step, *advice.alternatives)]
        assert totals == sorted(totals)


def test_advice_keeps_to_the_instruments(tug: faultloom.Model) -> None:
    job = DATA / "jobs" / "compost-yard-dead-tug.json"
    advice = tug.next_step(job, instruments=["clamp"], alternatives=10)
    used = {s.instrument for s in (advice.step, *advice.alternatives)}
    assert used <= {"", "clamp"}


def test_advice_keeps_to_minutes_and_money(tug: faultloom.Model) -> None:
    job = DATA / "jobs" / "compost-yard-dead-tug.json"
    advice = tug.next_step(job, max_minutes=3, alternatives=10)
    assert all(s.minutes <= 3 for s in (advice.step, *advice.alternatives))
    advice = tug.next_step(job, authorized_usd=1, instruments=["clamp"], alternatives=10)
    assert "repair" not in {s.type for s in (advice.step, *advice.alternatives)}
    assert not advice.cut_short
    assert tug.next_step(job, budget_decisions=3).cut_short


def test_ambiguity_names_groups_and_what_splits_them(tug: faultloom.Model) -> None:
    job = DATA / "jobs" / "compost-yard-dead-tug.json"
    answer = tug.ambiguity(job, instruments=["meter"], closed_zones=[], top=3)
    assert answer["format"] == "faultloom.ambiguity"
    assert (answer.job, answer.vehicle) == ("compost-yard-dead-tug", "mulch-tug")
    assert answer.reach.instruments == ("meter",)
    assert answer.reach.allow_live
    assert not answer.reach.looks
    assert 0 < answer.isolated_to_one < 1
    assert len(answer.groups) == 3 <= answer.group_count
    shares = [group.share for group in answer.groups]
    assert shares == sorted(shares, reverse=True)
    assert sum(shares) <= 1 - answer.isolated_to_one + 1e-9
    for group in answer.groups:
        assert len(group.things) > 1
        assert group.probability == pytest.approx(sum(t.probability for t in group.things))
        assert all(mode in tug.modes for thing in group.things for mode in thing.modes)
        if group.splitter is not None:
            assert group.splitter.type in ("look", "lift", "instrument", "zone")
            assert 0 < group.splitter.separated < 1
            named = {thing for part in group.splitter.parts for thing in part}
            assert named <= {thing.id for thing in group.things}


@pytest.mark.parametrize("times", [30, 200, 1000])
def test_what_nothing_explains_is_not_in_the_model(tug: faultloom.Model, times: int) -> None:
    """Beyond some 200 tries no floating-point number is small enough for the probability."""
    tries = {"yes": times, "no": times, "chatters": times}
    sign = {"id": "clicks", "type": "sign", "part": "K1", "sign": "click", "tries": tries}
    job = {"format": "faultloom.job", "version": "1.0", "id": "odd", "vehicle": "mulch-tug"}
    for budget in (None, 60):
        ranking = tug.rank({**job, "entries": [sign]}, budget_sets=budget)
        assert ranking.not_in_model == pytest.approx(1)
        for number in (ranking.log_evidence, ranking.conflict, ranking.bound, ranking.growth):
            assert math.isfinite(number)
    for group in tug.ambiguity({**job, "entries": [sign]}, top=2).groups:
        assert 0 <= group.share <= 1


def test_entries_that_the_time_does_not_suffice_for_have_no_weights(tug: faultloom.Model) -> None:
    job = {"format": "faultloom.job", "version": "1.0", "id": "long", "vehicle": "mulch-tug"}
    click = {"type": "sign", "part": "K1", "sign": "click", "state": {"key": "on"}}
    clicks = [{**click, "outcome": "no", "visit": n, "id": f"e{n}"} for n in range(100)]
    hasty = tug.explain({**job, "entries": clicks}, budget_seconds=0.001)
    assert [entry.id for entry in hasty.entries] == [entry["id"] for entry in clicks]
    assert not hasty.entries[-1].weights
    assert hasty.entries[-1].predictive is None
    assert tug.explain({**job, "entries": clicks[:2]}).entries[-1].weights


def test_entries_beyond_every_number_are_refused(tug: faultloom.Model) -> None:
    job = {"format": "faultloom.job", "version": "1.0", "id": "odd", "vehicle": "mulch-tug"}
    look = {"type": "look", "component": "K1"}
    read = {"type": "reading", "instrument": "meter", "red": "S1.in", "black": "BAT1.negative"}
    looks = [{**look, "outcome": ("damage", "clean")[n % 2], "id": f"e{n}"} for n in range(9000)]
    volts = [{**read, "volts": (0, 500, -500)[n % 3], "id": f"e{n}"} for n in range(1500)]
    for entries in (looks, volts):
        for question in (tug.rank, tug.next_step, tug.ambiguity, tug.mode_posteriors):
            with pytest.raises(faultloom.Error, match="withdraw those that repeat") as caught:
                question({**job, "entries": entries})
            assert caught.value.code == faultloom.Code.READING


def test_several_faults_at_once_are_no_more_than_certain(tug: faultloom.Model) -> None:
    """After so many running hours, several things of a group are worn out."""
    job = json.loads((DATA / "jobs" / "compost-yard-dead-tug.json").read_text(encoding="utf-8"))
    answer = tug.ambiguity({**job, "exposure_hours": 1e5}, instruments=["meter"])
    sums = [sum(thing.probability for thing in group.things) for group in answer.groups]
    assert max(sums) > 1
    for group, total in zip(answer.groups, sums, strict=True):
        assert group.probability == pytest.approx(min(total, 1))
        assert all(0 <= thing.probability <= 1 for thing in group.things)


def test_instruments_of_the_job_are_those_at_hand(tug: faultloom.Model) -> None:
    job = json.loads((DATA / "jobs" / "compost-yard-dead-tug.json").read_text(encoding="utf-8"))
    job["instruments"] = ["beeper", "ohmmeter"]
    assert tug.ambiguity(job, top=0).reach.instruments == ("beeper", "ohmmeter")
    assert tug.ambiguity(job, instruments=["meter"], top=0).reach.instruments == ("meter",)


def test_testability_adds_up(tug: faultloom.Model) -> None:
    poor = tug.testability(instruments=["meter"], allow_live=True, top=2)
    rich = tug.testability(instruments=["meter", "ohmmeter"], lifting=True, looks=True, top=2)
    assert poor["format"] == "faultloom.testability"
    assert poor.vehicle == "mulch-tug"
    assert "job" not in poor
    for figures in (poor, rich):
        assert 0 < figures.isolated_to_one <= figures.isolated_to_two <= 1
        assert 0 < figures.detected <= 1
        assert figures.mean_group_size >= 1
        assert 0 < figures.distinct_tests <= figures.tests
        assert len(figures.groups) == 2 <= figures.group_count
    assert rich.detected >= poor.detected
    assert rich.isolated_to_one >= poor.isolated_to_one
    assert rich.mean_group_size <= poor.mean_group_size
    assert rich.reach.lifting
    assert rich.faults == poor.faults


def test_what_takes_a_wire_off_carries_cautions() -> None:
    figures = faultloom.Model.shipped("orchid-runner").testability(instruments=["meter"])
    steps = [g.splitter for g in figures.groups if g.splitter and g.splitter.type == "lift"]
    assert steps
    order = ("DANGER", "WARNING", "CAUTION", "NOTICE")
    for step in steps:
        ids = [caution.id for caution in step.cautions]
        assert {"pack_isolated", "capacitors_discharged"} <= set(ids)
        assert step.isolated or {"live_with_key_off", "wheels_clear"} <= set(ids)
        assert len(ids) == len(set(ids))
        words = [order.index(caution.signal_word) for caution in step.cautions]
        assert words == sorted(words)


def test_a_budget_of_sets_ends_the_search_sooner_or_later(tug: faultloom.Model) -> None:
    job = DATA / "jobs" / "compost-yard-dead-tug.json"
    few = tug.rank(job, budget_sets=50)
    default = tug.rank(job)
    many = tug.rank(job, budget_sets=20000)
    assert default.text == tug.rank(job, budget_sets=8000).text
    assert few["candidates_evaluated"] < default["candidates_evaluated"]
    assert default["candidates_evaluated"] < many["candidates_evaluated"]
    assert many.bound <= default.bound <= few.bound
    # Without a limit the bound asked for is reached if it can be.
    assert tug.rank(job, bound=0.5, budget_sets=0).bound <= 0.5
    assert tug.explain(job, bound=0.5, budget_sets=0)["bound"] <= 0.5


def test_a_deck_is_one(cart: faultloom.Model) -> None:
    deck = cart.spice_deck({"key": "on"}, modes=["W2/open"])
    assert deck.rstrip().lower().endswith(".end")
    assert deck != cart.spice_deck({"key": "on"})


def test_a_deck_has_the_controls_where_they_were_left(tug: faultloom.Model) -> None:
    def statements(positions: dict[str, str], modes: list[str]) -> list[str]:
        deck = tug.spice_deck(positions, modes=modes)
        return [line for line in deck.splitlines()[1:] if not line.startswith("*")]

    run = {"key": "on", "tiller": "lowered", "butterfly": "forward"}
    left = statements(run, ["charge_plug/left_plugged"])
    assert left == statements({**run, "charge_plug": "plugged"}, [])
    assert left != statements(run, [])


def test_a_run_list_becomes_a_skeleton() -> None:
    csv = (DATA / "jobs" / "garden_run_list.csv").read_bytes()
    skeleton = json.loads(faultloom.vehicle_from_run_list(csv, "garden"))
    assert skeleton["format"] == "faultloom.vehicle"
    assert skeleton["id"] == "garden"
    assert len(skeleton["wires"]) == csv.count(b"\n") - 1


# -- errors ----------------------------------------------------------------------------------------


def test_an_error_carries_every_problem() -> None:
    job = small_job()
    job["entries"][0]["part"] = "H2"
    job["entries"][1]["red"] = "S1.inn"
    with pytest.raises(faultloom.Error) as caught:
        faultloom.Model(small_vehicle()).rank(job)
    error = caught.value
    assert isinstance(error, ValueError)
    assert len(error.problems) == 2
    assert error.code == Code.REFERENCE
    assert error.name == "reference"
    assert error.pointer == error.problems[0].pointer == "/entries/0/part"
    assert "'S1.inn'" in error.problems[1].message
    assert str(error).endswith("and 1 more")
    assert str(error.problems[1]).endswith("(/entries/1/red)")


def test_codes_are_those_of_the_library() -> None:
    table = _core.error_codes()
    assert {name.upper(): number for number, name, _ in table} == {c.name: c.value for c in Code}
    assert all(meaning for _, _, meaning in table)


def test_an_empty_document_is_not_the_default() -> None:
    with pytest.raises(faultloom.Error) as caught:
        faultloom.Model(small_vehicle(), rates=b"")
    assert caught.value.code == Code.SYNTAX
    with pytest.raises(faultloom.Error):
        faultloom.Model(small_vehicle()).mode_priors(b"")


def test_problems_name_the_document_at_fault() -> None:
    with pytest.raises(faultloom.Error, match="rates document"):
        faultloom.Model(small_vehicle(), rates={"format": "faultloom.rates"})


# -- long work -------------------------------------------------------------------------------------


def test_progress_is_told_and_may_stop(cart: faultloom.Model) -> None:
    shares: list[float] = []
    cart.rank(small_job(), progress=shares.append)
    assert shares
    assert all(0 <= share <= 1 for share in shares)
    with pytest.raises(faultloom.Error) as caught:
        cart.rank(small_job(), progress=lambda _: False)
    assert caught.value.code == Code.CANCELLED
    assert cart.rank(small_job()).components


def test_what_progress_raises_comes_through(cart: faultloom.Model) -> None:
    def refuse(share: float) -> None:
        raise LookupError(f"at {share}")

    calls = (cart.rank, cart.explain, cart.next_step, cart.mode_posteriors, cart.ambiguity)
    for call in calls:
        with pytest.raises(LookupError, match="at 0"):
            call(small_job(), progress=refuse)
    with pytest.raises(LookupError):
        faultloom.Model(small_vehicle(), progress=refuse)
    with pytest.raises(LookupError):
        cart.testability(progress=refuse)


def test_threads_share_a_model(tug: faultloom.Model) -> None:
    job = DATA / "jobs" / "compost-yard-dead-tug.json"
    expected = tug.rank(job).text
    answers: list[str] = []
    threads = [
        threading.Thread(target=lambda: answers.append(tug.rank(job).text)) for _ in range(4)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert answers == [expected] * 4


def test_other_threads_run_during_the_work() -> None:
    ticks = 0
    done = threading.Event()

    def tick() -> None:
        nonlocal ticks
        while not done.is_set():
            ticks += 1
            time.sleep(0.001)

    ticker = threading.Thread(target=tick)
    model = faultloom.Model.shipped("seedling-hauler")
    ticker.start()
    try:
        before = ticks
        model.rank(DATA / "jobs" / "rose-walk-no-click.json")
        after = ticks
    finally:
        done.set()
        ticker.join()
    assert after - before > 5


@pytest.mark.skipif(sys.platform == "win32", reason="Ctrl-C is sent differently there")
def test_ctrl_c_stops_the_work() -> None:
    program = (
        "import faultloom, sys\n"
        "model = faultloom.Model.shipped('seedling-hauler')\n"
        "job = faultloom.data_path() / 'jobs' / 'rose-walk-no-click.json'\n"
        "print('ready', flush=True)\n"
        "try:\n"
        "    while True:\n"
        "        faultloom.Model.shipped('seedling-hauler').rank(job)\n"
        "except KeyboardInterrupt:\n"
        "    print('stopped')\n"
    )
    # A shell starts background jobs with SIGINT ignored, and children inherit that.
    process = subprocess.Popen(
        [sys.executable, "-c", program],
        stdout=subprocess.PIPE,
        text=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "ready\n"
    time.sleep(0.3)
    begun = time.monotonic()
    process.send_signal(signal.SIGINT)
    try:
        rest, _ = process.communicate(timeout=30)
    finally:
        process.kill()
    assert rest == "stopped\n"
    assert time.monotonic() - begun < 5


# -- the package itself ----------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["", ".model", ".documents", ".errors", ".answers", ".reach"])
def test_examples_in_the_documentation_run(name: str) -> None:
    module = importlib.import_module(f"faultloom{name}")
    result = doctest.testmod(module)
    assert result.failed == 0
    assert result.attempted > 0 or name in (".errors", ".answers", ".reach")


def test_all_that_is_exported_exists() -> None:
    for name in faultloom.__all__:
        assert getattr(faultloom, name) is not None
    assert re.fullmatch(r"\d+\.\d+\.\d+", faultloom.__version__)


def test_arguments_of_the_native_module_have_the_names_of_the_stub() -> None:
    core = _core.Model(vehicle=json.dumps(small_vehicle()), kinds=None, rates=None, progress=None)
    job = json.dumps(small_job())
    assert core.lint(progress=None) == []
    assert len(core.mode_priors(job=job)) == len(core.mode_posteriors(job=job, progress=None))
    assert len(core.terminal_volts(situation="{}")) == len(core.terminal_names())
    assert core.solve_json(situation="{}").startswith("{")
    assert core.spice_deck(situation="{}")
    for call in (core.rank_json, core.next_json, core.explain_json, core.ambiguity_json):
        assert call(job=job, options="", progress=None).startswith("{")
    assert core.testability_json(options="", progress=None).startswith("{")
    assert _core.check_document(text=job, kinds=None) == []
    csv = "wire,from,to,gauge_awg,length_metre\nW1,A.x,B.y,16,1.0\n"
    assert _core.vehicle_from_run_list(csv=csv, vehicle_id="v")


def test_the_stub_is_true(tmp_path: Path) -> None:
    pytest.importorskip("mypy")
    allowed = ROOT / "bindings" / "python" / "stubtest-allowlist.txt"
    command = [
        sys.executable,
        "-m",
        "mypy.stubtest",
        "faultloom._core",
        "--allowlist",
        str(allowed),
    ]
    result = subprocess.run(command, capture_output=True, text=True, check=False, cwd=tmp_path)
    assert result.returncode == 0, result.stdout


def test_the_types_hold(tmp_path: Path) -> None:
    pytest.importorskip("mypy")
    sources = [ROOT / "bindings" / "python" / "faultloom", ROOT / "examples" / "python"]
    command = [sys.executable, "-m", "mypy", "--strict", "--cache-dir", str(tmp_path)]
    command += map(str, sources)
    environment = {"MYPYPATH": str(ROOT / "bindings" / "python"), "PATH": ""}
    result = subprocess.run(
        command, capture_output=True, text=True, check=False, cwd=tmp_path, env=environment
    )
    assert result.returncode == 0, result.stdout

"""The bench of whole jobs: its circuit, its clock and its strategies, on known values."""

import ctypes.util
import json
import math
import sys
from dataclasses import replace
from pathlib import Path

import faultloom
import numpy as np
import pytest

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "examples" / "python"))

if ctypes.util.find_library("ngspice") is None:
    pytest.skip("ngspice is not installed", allow_module_level=True)

from whole_jobs import cli, run, tables  # noqa: E402
from whole_jobs.circuit import Fault, TrueVehicle  # noqa: E402
from whole_jobs.draw import Draw, Truth, drive_states, drives  # noqa: E402
from whole_jobs.hand import NO_ERRORS, Errors, Hand  # noqa: E402
from whole_jobs.plots import draw_plots  # noqa: E402
from whole_jobs.shop import Costs, Shop, Watch  # noqa: E402
from whole_jobs.spice import Spice, SpiceError  # noqa: E402
from whole_jobs.strategies import STRATEGIES, Advised, advice  # noqa: E402
from whole_jobs.wiring import Wiring  # noqa: E402

VEHICLES = ("mulch-tug", "orchid-runner", "seedling-hauler")
QUICK_JOBS = {"mulch-tug": 8, "orchid-runner": 17, "seedling-hauler": 1}  # of seed 1: short ones

LAMP_CART = {
    "format": "faultloom.vehicle",
    "version": "1.0",
    "id": "lamp-cart",
    "title": "A lamp behind a fuse and a key",
    "nominal_volt": 12,
    "datum": "BAT1.negative",
    "run_state": {"key": "on"},
    "isolation": {"lift": ["W1:from"], "caution": "pack_isolated"},
    "controls": {
        "key": {"title": "Key", "positions": ["off", "on"], "rest": "off", "order": 1,
                "minutes": 0.1, "needs_helper": False},
    },
    "zones": {"bay": {"title": "Bay", "open_minutes": 2, "close_minutes": 1}},
    "parts": {
        "BAT1": {"kind": "battery_block_12", "title": "Battery", "zone": "bay"},
        "F1": {"kind": "fuse", "title": "Fuse", "zone": "bay"},
        "S1": {"kind": "key_switch", "title": "Key switch", "zone": "bay", "operated_when": {"key": ["on"]}},
        "H1": {"kind": "dash_lamp", "title": "Light", "zone": "bay", "parameters": {"lamp_ohm": 600}},
    },
    "wires": {
        "W1": {"from": "BAT1.positive", "to": "F1.in", "gauge_awg": 16, "length_metre": 0.4, "zone": "bay"},
        "W2": {"from": "F1.out", "to": "S1.in", "gauge_awg": 16, "length_metre": 1.0, "zone": "bay"},
        "W3": {"from": "S1.out", "to": "H1.plus", "gauge_awg": 16, "length_metre": 1.0, "zone": "bay"},
        "W4": {"from": "H1.minus", "to": "BAT1.negative", "gauge_awg": 16, "length_metre": 1.5, "zone": "bay"},
    },
}  # fmt: skip
# 12.7 V behind 10 mohm; four 16 AWG wires of 3.9 m at 13.17 mohm/m with eight crimps of 5 mohm; fuse 7,
# switch 30 mohm; 600 ohm of lamp.
SERIES_OHM = 0.010 + 3.9 * 0.01317 + 8 * 0.005 + 0.007 + 0.030


def document(name):
    return json.loads((ROOT / "data" / name).read_text(encoding="utf-8"))


KINDS = document("kinds.json")
INSTRUMENTS = document("instruments.json")["instruments"]


@pytest.fixture(scope="module")
def spice():
    if not run._spices:
        run._spices.append(Spice())
    return run._spices[0]


def lamp_cart(spice, *faults):
    return TrueVehicle(Wiring(LAMP_CART, KINDS["kinds"]), faults, spice)


# -- the circuit ----------------------------------------------------------------------------------


def test_a_series_circuit_has_the_volts_of_a_hand_calculation(spice):
    ampere = 12.7 / (SERIES_OHM + 600)
    volts = lamp_cart(spice).settle({"key": "on"}).volts
    assert volts["H1.plus"] - volts["H1.minus"] == pytest.approx(600 * ampere, rel=1e-5)
    assert volts["BAT1.positive"] == pytest.approx(12.7 - 0.010 * ampere, rel=1e-6)
    assert lamp_cart(spice).settle({}).volts["S1.out"] == pytest.approx(0, abs=1e-3)


@pytest.mark.parametrize(("factor", "ohm"), [(1.0, 30.0), (4.0, 120.0)])
def test_a_corroded_crimp_adds_its_resistance_times_its_factor(spice, factor, ohm):
    vehicle = lamp_cart(spice, Fault("W3:to/degraded", factor))
    expected = 600 * 12.7 / (SERIES_OHM + 600 + ohm)
    volts = vehicle.settle({"key": "on"}).volts
    assert volts["H1.plus"] - volts["H1.minus"] == pytest.approx(expected, rel=1e-5)


def test_an_open_wire_is_a_source_that_a_load_pulls_down(spice):
    vehicle = lamp_cart(spice, Fault("W2/open"))
    state = {"key": "on"}
    assert abs(vehicle.volt("S1.in", "BAT1.negative", state, 1e7)) < 0.01
    assert vehicle.volt("F1.out", "S1.in", state, 1e7) == pytest.approx(12.7 * 1e7 / (1e7 + 600), rel=1e-5)
    assert vehicle.sign("H1", "lit", state) == "no"
    assert lamp_cart(spice).sign("H1", "lit", state) == "yes"


def test_a_lamp_takes_the_current_of_its_law(spice):
    lamp = INSTRUMENTS["filament_lamp"]
    vehicle = lamp_cart(spice, Fault("W2/severe"))  # 5 kohm between pack and switch
    volt = vehicle.lamp_volt("S1.in", "BAT1.negative", {}, lamp)
    ampere = 10 / 48 * (volt / 48) ** 0.55
    assert (12.7 - volt) / (5000 + SERIES_OHM) == pytest.approx(ampere, rel=1e-3)
    # Nearly all of it drops at 5 kohm, so the current is 12.7 V / 5 kohm.
    assert volt == pytest.approx(48 * (12.7 / 5000 * 48 / 10) ** (1 / 0.55), rel=5e-3)
    assert vehicle.lamp_volt("BAT1.positive", "BAT1.negative", {}, lamp) == pytest.approx(12.7, rel=1e-3)


def test_an_ohmmeter_reads_what_is_between_its_probes(spice):
    lift = LAMP_CART["isolation"]["lift"]
    assert lamp_cart(spice).ohm("H1.plus", "H1.minus", lift) == pytest.approx(600, rel=1e-4)
    assert lamp_cart(spice, Fault("H1/open")).ohm("H1.plus", "H1.minus", lift) > 1e6
    assert lamp_cart(spice).ohm("BAT1.positive", "BAT1.negative", []) is None


def test_a_fuse_melts_on_a_short_and_a_shorted_wire_shows_nothing_without_feed(spice):
    negative = Fault("W2/short_negative")
    cart = {**LAMP_CART, "wires": {k: {**w, "loom": "L"} for k, w in LAMP_CART["wires"].items()},
            "looms": {"L": {"title": "Loom", "zones": ["bay"]}}}  # fmt: skip
    vehicle = TrueVehicle(Wiring(cart, KINDS["kinds"]), (negative,), spice)
    volts = vehicle.settle({"key": "on"}).volts
    assert volts["F1.in"] == pytest.approx(12.7, rel=1e-3)
    assert volts["F1.out"] == pytest.approx(0, abs=1e-3)


@pytest.mark.parametrize("name", VEHICLES)
def test_healthy_vehicles_have_the_volts_that_the_library_expects(spice, name):
    wiring = Wiring(document(f"vehicles/{name}.json"), KINDS["kinds"])
    model = faultloom.Model.shipped(name)
    vehicle = TrueVehicle(wiring, (), spice)
    for state in ({}, *drive_states(wiring)):
        expected = dict(zip(model.terminals, model.terminal_volts(state), strict=True))
        volts = vehicle.settle(state).volts
        assert {t: volts[t] for t in expected} == pytest.approx(expected, rel=1e-7, abs=1e-6)
        assert drives(vehicle, state) == (state != {})


@pytest.mark.parametrize("name", VEHICLES)
def test_faults_are_those_of_the_library_and_mean_the_same(spice, name):
    wiring = Wiring(document(f"vehicles/{name}.json"), KINDS["kinds"])
    model = faultloom.Model.shipped(name)
    assert {m.name for m in wiring.modes()} == set(model.modes)
    modes = sorted(m.name for m in wiring.modes())
    compared = 0
    for mode in np.random.default_rng(7).choice(modes, 25, replace=False):
        solution = model.solve(wiring.run_state, [str(mode)])
        if solution.chatters:
            continue
        volts = TrueVehicle(wiring, (Fault(str(mode)),), spice).settle(wiring.run_state).volts
        expected = dict(solution.volts)
        assert {t: volts[t] for t in expected} == pytest.approx(expected, rel=1e-6, abs=1e-6), mode
        compared += 1
    assert compared > 20


def test_a_bad_deck_is_refused(spice):
    with pytest.raises(SpiceError, match="ngspice"):
        spice.load(["title", "r1 a 0 nonsense value"])
        spice.operating_point()


# -- the draw -------------------------------------------------------------------------------------


def test_the_draw_has_the_priors_of_the_rates(spice):
    name = "seedling-hauler"
    draw = Draw(document(f"vehicles/{name}.json"), KINDS, document("rates.json"), spice)
    model = faultloom.Model.shipped(name)
    expected = dict(zip(model.modes, model.mode_priors(), strict=True))
    assert draw.priors == pytest.approx(expected, rel=1e-9, abs=1e-15)


def test_every_truth_stops_the_vehicle_and_all_sorts_come_up(spice):
    name = "mulch-tug"
    draw = Draw(document(f"vehicles/{name}.json"), KINDS, document("rates.json"), spice)
    truths = [draw.truth(np.random.default_rng([3, i])) for i in range(30)]
    for truth in truths[:5]:
        vehicle = TrueVehicle(draw.build(truth.factors), truth.faults, spice)
        failing = [i for i, s in enumerate(drive_states(draw.wiring)) if not drives(vehicle, s)]
        assert failing
        assert tuple(failing) == truth.dead_directions
    sorts = {t.sort for t in truths}
    assert {"single", "intermittent", "event", "earlier hands"} <= sorts
    assert all(f.duty == 1 or "intermittent" in f.mode or "sticks" in f.mode for t in truths for f in t.faults)


# -- the hand -------------------------------------------------------------------------------------


def test_without_errors_a_reading_is_the_circuit_rounded(spice):
    wiring = Wiring(LAMP_CART, KINDS["kinds"])
    hand = Hand(wiring, INSTRUMENTS, NO_ERRORS, np.random.default_rng(1))
    vehicle = lamp_cart(spice)
    shown = hand.read(vehicle, "meter", "H1.plus", "BAT1.negative", {"key": "on"}, isolated=False)
    exact = vehicle.volt("H1.plus", "BAT1.negative", {"key": "on"}, 1e7)
    assert shown["volts"] == pytest.approx(exact, abs=0.005)
    ohms = hand.read(vehicle, "ohmmeter", "H1.plus", "H1.minus", {}, isolated=True)
    assert ohms["ohms"] == pytest.approx(600, abs=0.1)
    assert hand.read(vehicle, "beeper", "F1.in", "F1.out", {}, isolated=True) == {"outcome": "beep"}
    assert hand.read(vehicle, "beeper", "S1.in", "S1.out", {}, isolated=True) == {"outcome": "silent"}
    assert hand.notice(vehicle, "H1", "lit", {"key": "on"}) == "yes"


def test_errors_come_as_often_as_stated_and_twice_as_often_when_doubled(spice):
    wiring = Wiring(LAMP_CART, KINDS["kinds"])
    vehicle = lamp_cart(spice)
    for errors in (Errors(repeated=0), replace(Errors().doubled(), repeated=0)):
        hand = Hand(wiring, INSTRUMENTS, errors, np.random.default_rng(2))
        wrong = sum(hand.notice(vehicle, "H1", "lit", {"key": "on"}) == "no" for _ in range(3000))
        # Missed, or looked at with the key off and not imagined.
        chance = errors.wrong_state * (1 - errors.imagined) + (1 - errors.wrong_state) * errors.missed
        assert wrong / 3000 == pytest.approx(chance, abs=4 * math.sqrt(chance / 3000))


def test_a_second_look_shows_what_the_first_showed():
    hand = Hand(Wiring(LAMP_CART, KINDS["kinds"]), INSTRUMENTS, Errors(), np.random.default_rng(3))
    for mode in ("", "blown"):
        first = hand.look("F1", mode)
        assert all(hand.look("F1", mode) == first for _ in range(10))


# -- clock and money ------------------------------------------------------------------------------


def shop_with(spice, *faults, costs=None):
    wiring = Wiring(document("vehicles/seedling-hauler.json"), KINDS["kinds"])
    truth = Truth(tuple(faults), {}, (0, 1), "single")
    hand = Hand(wiring, INSTRUMENTS, NO_ERRORS, np.random.default_rng(1))
    return Shop(truth, wiring, spice, INSTRUMENTS, hand, rng=np.random.default_rng(2), costs=costs)


def test_minutes_and_money_are_those_of_a_hand_calculation(spice):
    shop = shop_with(spice, Fault("K1/contacts_dead"))
    entries = shop.intake()
    assert shop.tally.minutes == 3
    assert [e["outcome"] for e in entries] == ["no"] * 4
    assert [e["visit"] for e in entries] == [0, 0, 1, 1]
    state = dict(shop._wiring.run_state)
    shop.read("meter", "K1.line", "BAT1.negative", state)
    # 1 for the meter, two probes of 0.7, both bays (5 and 9), four controls, a helper at the pedal.
    first = 1 + 2 * 0.7 + 5 + 9 + (0.3 + 0.1 + 0.1 + 0.2) + 0.5
    assert shop.tally.minutes == pytest.approx(3 + first)
    shop.read("meter", "K1.load", "BAT1.negative", state)
    # Nothing to open, nothing to move, the black lead stays.
    assert shop.tally.minutes == pytest.approx(3 + first + 1.7)
    shop.read("ohmmeter", "K1.coil_feed", "K1.coil_return", {}, isolated=True)
    # Two probes, pack off, controls back.
    assert shop.tally.minutes == pytest.approx(3 + first + 1.7 + 2 + 1.4 + 2 + 0.7)
    before = shop.tally.minutes
    assert not shop.look("D1")
    shop.repair("K1")
    runs, drive = shop.verify()
    assert runs
    assert [e["outcome"] for e in drive] == ["yes", "yes"]
    assert shop.tally.minutes == pytest.approx(before + 1 + 30 + 10)
    shop.hand_back()
    t = shop.tally
    assert shop.over
    assert t.solved
    assert (t.probes, t.looks, t.repairs, t.good_parts, t.good_joints, t.zones) == (3, 1, 1, 0, 0, 2)
    assert shop.usd == pytest.approx(t.minutes * 110 / 60 + 75)


def test_a_lead_bridges_what_is_open_and_costs_its_time(spice):
    shop = shop_with(spice, Fault("K1/contacts_dead"))
    state = dict(shop._wiring.run_state)
    assert shop.notice("M1", "turns", state)["outcome"] == "no"
    before = shop.tally.minutes
    entry = shop.notice("M1", "turns", state, lead=("K1.line", "K1.load"))
    assert entry["outcome"] == "yes"
    assert entry["lead"] == ["K1.line", "K1.load"]
    # 0.2 to watch, 2 for the lead, the bay where the contactor is (9).
    assert shop.tally.minutes == pytest.approx(before + 0.2 + 2 + 9)
    assert shop.notice("M1", "turns", state)["outcome"] == "no"


def test_what_is_caught_has_its_moment_and_costs_its_tries(spice):
    shop = shop_with(spice, Fault("K1/contacts_dead"))
    state = dict(shop._wiring.run_state)
    moving = shop._moving(state)
    before = shop.tally.minutes
    entry = shop.catch(Watch(part="K1", sign="click"), ("M1", "turns"), state, tries=20)
    assert (entry["sign"], entry["outcome"]) == ("click", "yes")
    assert entry["when"] == {"part": "M1", "sign": "turns", "outcome": "no", "after": 0}
    # 0.2 to watch, one try of 0.15; the controls are there already.
    assert moving > 0
    assert shop.tally.minutes == pytest.approx(before + 0.2 + 0.15)
    sound = shop_with(spice)
    entry = sound.catch(
        Watch("meter", "K1.line", "K1.load"), ("M1", "turns"), dict(state), tries=20
    )
    assert (entry["type"], entry["sign"], entry["tries"]) == ("sign", "turns", {"yes": 20})
    assert "volts" not in entry


def test_a_wire_end_taken_off_cuts_what_hangs_on_it(spice):
    shop = shop_with(spice)
    across = ("ohmmeter", "X1-4.plug", "K1.coil_feed", {})
    whole = shop.read(*across, isolated=True)
    cut = shop.read(*across, isolated=True, lifted="W21:to")
    assert whole["ohms"] < 1
    assert cut["lifted"] == ["W21:to"]
    assert cut.get("outcome") == "overload" or cut["ohms"] > 10


def test_wiggling_brings_out_what_comes_and_goes_there_half_the_time(spice):
    fault = Fault("K1/plunger_sticks", duty=1e-9)
    shop = shop_with(spice, fault)
    state = dict(shop._wiring.run_state)
    here = shop._wiring.components["K1"].zone
    elsewhere = next(zone for zone in shop._wiring.zones if zone != here)
    shown = {here: 0, elsewhere: 0}
    for zone in shown:
        for _ in range(60):
            entry = shop.notice("M1", "turns", state, wiggled=zone)
            assert entry["provoked"] == {"how": "wiggle", "zone": zone}
            shown[zone] += entry["outcome"] == "no"
    assert shown[elsewhere] == 0
    assert 15 <= shown[here] <= 45  # four standard errors about a half


def test_good_parts_are_counted_apart_from_good_joints_and_a_comeback_costs(spice):
    shop = shop_with(spice, Fault("S6/intermittent", duty=0.0), costs=Costs(most_visits=2))
    shop.intake()
    shop.repair("K1")
    shop.repair("W9:to")
    assert shop.verify()[0]
    shop.hand_back()
    assert not shop.over
    assert shop.open_zones == set()
    assert (shop.tally.good_parts, shop.tally.good_joints) == (1, 1)
    assert shop.tally.comebacks == 1
    assert shop.usd == pytest.approx(shop.tally.minutes * 110 / 60 + 75 + 3 + Costs().comeback_usd)
    assert [e["visit"] for e in shop.intake()] == [2, 2, 3, 3]
    shop.repair("S6")
    shop.hand_back()
    assert shop.tally.solved
    assert shop.tally.visits == 2


# -- strategies -----------------------------------------------------------------------------------


@pytest.mark.parametrize("name", VEHICLES)
def test_every_strategy_ends_its_jobs_and_the_costs_add_up(name, monkeypatch):
    # The library takes about a second for a step of a large vehicle: a few of them are enough here.
    monkeypatch.setattr(advice, "MOST_STEPS", 2)
    tasks = [
        run.Task(name, setting, strategy, QUICK_JOBS[name], 1)
        for setting in (run.SETTINGS if name == "mulch-tug" else run.SETTINGS[:1])
        for strategy in STRATEGIES
        if strategy != "advice" or setting == run.SETTINGS[0]
    ]
    results = run.play(tasks)
    assert [r.strategy for r in results] == [t.strategy for t in tasks]
    costs = Costs()
    for r in results:
        assert r.minutes <= costs.most_minutes + 120
        expected = r.minutes * costs.labour_usd_per_hour / 60 + r.parts_usd
        expected += costs.comeback_usd * r.comebacks + (0 if r.solved else costs.referral_usd)
        assert r.usd == pytest.approx(expected, abs=1e-4)
        assert r.repairs >= r.good_parts + r.good_joints
        assert r.log[0].endswith("visit 1: intake")


MOTOR_CART = {
    **LAMP_CART,
    "id": "motor-cart",
    "title": "A motor behind a fuse and a key",
    "parts": {
        **{k: v for k, v in LAMP_CART["parts"].items() if k != "H1"},
        "F1": {**LAMP_CART["parts"]["F1"], "parameters": {"melts_ampere": 60}},
        "H1": {"kind": "motor_permanent", "title": "Motor", "zone": "bay"},
    },
    "wires": {
        name: {**wire, "from": wire["from"].replace("minus", "a2"), "to": wire["to"].replace("plus", "a1")}
        for name, wire in LAMP_CART["wires"].items()
    },
}  # fmt: skip


@pytest.mark.parametrize("fault", ["F1/blown", "S1/open", "H1/brushes_open", "W3:to/open", "W2/open"])
def test_advice_finds_the_fault_of_a_small_cart_without_replacing_good_parts(spice, fault):
    wiring = Wiring(MOTOR_CART, KINDS["kinds"])
    hand = Hand(wiring, INSTRUMENTS, NO_ERRORS, np.random.default_rng(1))
    truth = Truth((Fault(fault),), {}, (0,), "single")
    shop = Shop(truth, wiring, spice, INSTRUMENTS, hand, rng=np.random.default_rng(2))
    strategy = Advised(faultloom.Model(MOTOR_CART), "motor-cart", {"key": "off"})
    while not shop.over:
        strategy.visit(shop)
    assert shop.tally.solved, shop.tally.log
    assert shop.tally.good_parts == 0, shop.tally.log
    assert shop.tally.visits == 1


def test_the_same_seed_gives_the_same_bytes(tmp_path):
    tasks = [run.Task("mulch-tug", run.SETTINGS[1], s, job, 9) for job in (0,) for s in STRATEGIES[1:]]
    files = []
    for i, groups in enumerate((run.play_all(tasks, 1), run.play_all(tasks, 2))):
        results = run.in_order([r for group in groups for r in group])
        file = tmp_path / f"{i}.csv"
        tables.write_csv(results, file)
        folder = tmp_path / str(i)
        folder.mkdir()
        plots = draw_plots(results, folder)
        assert len(plots) == 2
        files.append([file.read_bytes(), *(p.read_bytes() for p in plots)])
    assert files[0] == files[1]
    assert files[0][1].startswith(b"<?xml")


def test_tables_give_means_with_standard_errors():
    assert tables.mean_and_error([1, 2, 3]) == pytest.approx((2, 1 / math.sqrt(3)))
    ratio, error = tables.ratio_and_error([1, 2, 3], [2, 4, 6])
    assert ratio == pytest.approx(0.5)
    assert error == pytest.approx(0)


def test_the_command_line_names_every_choice(capsys):
    chosen = cli.arguments(["out", "--jobs", "2", "--vehicle", "mulch-tug"])
    assert len(cli.tasks_of(chosen)) == 2 * 2 * len(STRATEGIES)
    with pytest.raises(SystemExit):
        cli.arguments(["out", "--jobs", "0"])
    assert "not above 0" in capsys.readouterr().err

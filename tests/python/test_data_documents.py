"""Checks the documents in data/: schemas, references, counts, and that every vehicle drives when it should."""

import csv
import json
import re

import jsonschema
import pytest
from naive_circuit import DATA, NaiveVehicle, load, resolve_kind

VEHICLES = sorted(p.stem for p in (DATA / "vehicles").glob("*.json"))
JOBS = sorted(p.stem for p in (DATA / "jobs").glob("*.json"))
DOCUMENTS = [(n, f"{n}.json") for n in ("kinds", "rates", "instruments", "cautions")]
DOCUMENTS += [("vehicle", f"vehicles/{n}.json") for n in VEHICLES] + [("job", f"jobs/{n}.json") for n in JOBS]
DOCUMENTS += [("fleet", "fleets/fernhollow-monday.json"), ("history", "histories/fernhollow-seasons.json")]
LARGEST = "seedling-hauler"


def schema_of(name):
    return load(f"schema/{name}.schema.json")


@pytest.fixture(scope="module")
def kinds():
    return load("kinds.json")["kinds"]


@pytest.fixture(scope="module")
def resolved(kinds):
    return {name: resolve_kind(kinds, name) for name in kinds}


def terminals_of(vehicle, resolved):
    names = [f"{p}.{t}" for p, part in vehicle["parts"].items() for t in resolved[part["kind"]]["terminals"]]
    for connector, value in vehicle["connectors"].items():
        names += [f"{connector}-{pin}.{side}" for pin in value["pins"] for side in ("plug", "socket")]
    return names


def control_states(vehicle):
    """The run state, rest, and both with each control at each position."""
    yield vehicle["run_state"]
    yield {}
    for control, value in vehicle["controls"].items():
        for position in value["positions"]:
            yield {**vehicle["run_state"], control: position}
            yield {control: position}


# -- schemas ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["kinds", "rates", "instruments", "cautions", "vehicle", "job", "fleet"])
def test_schema_is_valid_and_self_contained(name):
    schema = schema_of(name)
    jsonschema.Draft7Validator.check_schema(schema)
    text = json.dumps(schema)
    assert all(ref.startswith("#/definitions/") for ref in re.findall(r'"\$ref": "([^"]*)"', text))
    assert not re.search(r'"(\$dynamicRef|unevaluatedProperties|prefixItems)"', text)


@pytest.mark.parametrize("name", ["kinds", "rates", "instruments", "cautions", "vehicle", "job", "fleet"])
def test_schema_closes_objects_and_describes_properties(name):
    def walk(node, path):
        if isinstance(node, list):
            for i, item in enumerate(node):
                walk(item, f"{path}/{i}")
        if not isinstance(node, dict):
            return
        if node.get("type") == "object" and "properties" in node:
            assert node["additionalProperties"] is False and "^x-" in node["patternProperties"], path
            for key, value in node["properties"].items():
                target = value
                while "$ref" in target:
                    target = schema["definitions"][target["$ref"].rsplit("/", 1)[1]]
                assert target.get("description"), f"{path}/{key}"
                if target.get("type") == "number":
                    assert {"minimum", "exclusiveMinimum"} & set(target), f"{path}/{key}"
                    assert {"maximum", "exclusiveMaximum"} & set(target), f"{path}/{key}"
        for key, value in node.items():
            walk(value, f"{path}/{key}")

    schema = schema_of(name)
    walk(schema, "")


@pytest.mark.parametrize("schema,path", DOCUMENTS)
def test_document_follows_its_schema(schema, path):
    errors = [f"{list(e.path)}: {e.message}" for e in jsonschema.Draft7Validator(schema_of(schema)).iter_errors(load(path))]
    assert errors == []


def edited(document, path, value):
    copy = json.loads(json.dumps(document))
    node = copy
    for key in path[:-1]:
        node = node[key]
    if value is None:
        del node[path[-1]]
    else:
        node[path[-1]] = value
    return copy


@pytest.mark.parametrize("schema,path,where,value", [
    ("kinds", "kinds.json", ["kinds", "fuse", "elements", "link", "closed_ohm"], 0),
    ("kinds", "kinds.json", ["kinds", "fuse", "elements", "link", "emf_volt"], 3),
    ("kinds", "kinds.json", ["kinds", "fuse", "elements", "link", "closed_when"], {"operated": True, "signal": "link"}),
    ("kinds", "kinds.json", ["kinds", "fuse", "elements", "link", "type"], "switch"),
    ("kinds", "kinds.json", ["kinds", "fuse", "modes", "blown", "changes", "link"], {"stuck": "ajar"}),
    ("kinds", "kinds.json", ["kinds", "fuse", "look", "false_alarm"], 1.5),
    ("rates", "rates.json", ["kinds", "fuse", "modes", "blown"], -0.1),
    ("instruments", "instruments.json", ["instruments", "meter", "beeps_below_ohm"], 30),
    ("instruments", "instruments.json", ["instruments", "meter", "resistance_ohm"], None),
    ("cautions", "cautions.json", ["cautions", "acid", "signal_word"], "CAREFUL"),
    ("vehicle", f"vehicles/{LARGEST}.json", ["wires", "W1", "area_mm2"], 1.5),
    ("vehicle", f"vehicles/{LARGEST}.json", ["wires", "W1", "from"], "F1"),
    ("vehicle", f"vehicles/{LARGEST}.json", ["parts", "K1", "kindd"], "contactor"),
    ("job", "jobs/rose-walk-no-click.json", ["entries", 2, "ohms"], 3),
    ("job", "jobs/rose-walk-no-click.json", ["entries", 2, "black"], None),
    ("job", "jobs/rose-walk-no-click.json", ["entries", 0, "instrument"], "meter"),
])
def test_one_slip_gives_one_error(schema, path, where, value):
    document = edited(load(path), where, value)
    errors = list(jsonschema.Draft7Validator(schema_of(schema)).iter_errors(document))
    assert len(errors) == 1, [e.message for e in errors]


@pytest.mark.parametrize("schema,path", DOCUMENTS)
def test_extensions_are_allowed(schema, path):
    document = {**load(path), "x-workshop": {"anything": [1, 2]}}
    jsonschema.Draft7Validator(schema_of(schema)).validate(document)


def test_text_form():
    for path in sorted(DATA.rglob("*.json")):
        text = path.read_text(encoding="utf-8")
        assert text.endswith("\n") and not text.endswith("\n\n") and "\t" not in text and "\r" not in text, path


# -- kinds, rates, instruments, cautions -------------------------------------------------------------


def test_kinds_are_consistent(kinds, resolved):
    assert len(kinds) >= 16
    for name, kind in resolved.items():
        parameters, elements, terminals = kind.get("parameters", {}), kind.get("elements", {}), set(kind["terminals"])
        assert list(kind.get("modes", {})) == [] or "look" in kind and "repair" in kind, name

        def quantities(node):
            for key, value in node.items() if isinstance(node, dict) else enumerate(node):
                if isinstance(value, (dict, list)):
                    yield from quantities(value)
                elif str(key).endswith(("_ohm", "_volt", "_ampere")) and isinstance(value, str):
                    yield key, value

        for key, value in quantities({"e": elements, "m": kind.get("modes", {}), "s": kind.get("signs", {})}):
            assert value in parameters, (name, value)
            assert value.rsplit("_", 1)[1] == key.rsplit("_", 1)[1], (name, key, value)
        assert all(p["value"] > 0 for n, p in parameters.items() if n.endswith("_ohm")), name
        for element in elements.values():
            assert set(element["between"]) <= terminals and len(set(element["between"])) == 2, name
        for mode in kind.get("modes", {}).values():
            assert set(mode.get("changes", {})) <= set(elements), name


def test_series_kinds_share_their_added_resistances(resolved):
    for class_ in ("control", "power"):
        wire, joint = resolved[class_ + "_wire"], resolved[class_ + "_termination"]
        for parameter in ("degraded_ohm", "severe_ohm"):
            assert wire["parameters"][parameter]["value"] == joint["parameters"][parameter]["value"]


def test_every_mode_has_a_rate(resolved):
    rates = load("rates.json")["kinds"]
    for name, kind in resolved.items():
        # What earlier hands left has a chance per visit, not a rate.
        wearing = {mode for mode, m in kind.get("modes", {}).items() if "cause" not in m}
        assert wearing == set(rates.get(name, {"modes": {}})["modes"]), name
    for name, rate in rates.items():
        assert abs(sum(rate["modes"].values()) - 1) < 1e-6, name
        assert rate["source"]


def test_required_instruments():
    document = load("instruments.json")
    required = {"meter", "low_impedance_meter", "filament_lamp", "filament_lamp_5w", "led_lamp", "ohmmeter", "beeper", "clamp"}
    assert required <= set(document["instruments"])
    for name, instrument in document["instruments"].items():
        assert sum(instrument["errors"].values()) < 1, name


def test_cautions_exist():
    known = set(load("cautions.json")["cautions"])

    def used(node):
        if isinstance(node, dict):
            for key, value in node.items():
                if key == "cautions" and isinstance(value, list):
                    yield from value
                elif key == "caution":
                    yield value
                else:
                    yield from used(value)
        elif isinstance(node, list):
            for item in node:
                yield from used(item)

    for _, path in DOCUMENTS:
        assert path == "cautions.json" or set(used(load(path))) <= known, path


# -- vehicles ----------------------------------------------------------------------------------------


def test_size_of_the_largest_vehicle(resolved):
    vehicle = load(f"vehicles/{LARGEST}.json")
    assert len(VEHICLES) >= 3
    assert len(terminals_of(vehicle, resolved)) >= 150
    assert len(vehicle["wires"]) >= 45
    assert len(vehicle["looms"]) >= 4
    assert len(vehicle["zones"]) >= 5
    assert sum(len(c["pins"]) >= 6 for c in vehicle["connectors"].values()) >= 3


@pytest.mark.parametrize("name", VEHICLES)
def test_references_of_vehicle(name, kinds, resolved):
    vehicle = load(f"vehicles/{name}.json")
    assert vehicle["id"] == name
    terminals = set(terminals_of(vehicle, resolved))
    zones, looms, controls = vehicle["zones"], vehicle["looms"], vehicle["controls"]
    environments = load("rates.json")["environments"]
    assert vehicle["datum"] in terminals
    for part_id, part in vehicle["parts"].items():
        assert part["zone"] in zones, part_id
        assert set(part.get("parameters", {})) <= set(resolved[part["kind"]].get("parameters", {})), part_id
        asked = '"operated"' in json.dumps(resolved[part["kind"]])
        assert asked == ("operated_when" in part), part_id
        for control, positions in part.get("operated_when", {}).items():
            assert set(positions) <= set(controls[control]["positions"]), part_id
        assert set(part.get("probe", {})) <= set(resolved[part["kind"]]["terminals"]), part_id
        assert part.get("environment", "dry") in environments
    for connector in vehicle["connectors"].values():
        assert connector["zone"] in zones and connector.get("environment", "dry") in environments
    ends = []
    for wire_id, wire in vehicle["wires"].items():
        assert {wire["from"], wire["to"]} <= terminals and wire["from"] != wire["to"], wire_id
        assert wire["zone"] in zones and wire["loom"] in looms, wire_id
        ends += [wire["from"], wire["to"]]
    pins = {f"{c}-{p}" for c, value in vehicle["connectors"].items() for p in value["pins"]}
    sides = [e for e in ends if e.rsplit(".", 1)[0] in pins]
    assert len(sides) == len(set(sides))
    for loom in looms.values():
        assert set(loom["zones"]) <= set(zones)
    for end in vehicle["isolation"]["lift"]:
        assert end.split(":")[0] in vehicle["wires"]
    for control, position in vehicle["run_state"].items():
        assert position in controls[control]["positions"]
    ids = [*vehicle["parts"], *pins, *vehicle["wires"]]
    assert len(ids) == len(set(ids))


@pytest.mark.parametrize("name", VEHICLES)
def test_healthy_vehicle_drives_only_when_told_to(name, kinds):
    vehicle = load(f"vehicles/{name}.json")
    model = NaiveVehicle(vehicle, kinds)
    assert not model.move(vehicle["run_state"])
    assert model.sign("M1.turns")
    assert model.volt("U1.b_plus", "U1.b_minus") > 0.94 * vehicle["nominal_volt"]
    for control in vehicle["run_state"]:
        assert not model.move({k: v for k, v in vehicle["run_state"].items() if k != control}), control
        assert not model.sign("M1.turns"), control
    assert not model.move({**vehicle["run_state"], "charge_plug": "plugged"})
    assert not model.sign("M1.turns")
    way = "selector" if "selector" in vehicle["controls"] else "butterfly"
    assert not model.move({**vehicle["run_state"], way: "reverse"})
    assert model.sign("M1.turns")


@pytest.mark.parametrize("name", VEHICLES)
def test_isolated_pack_is_off(name, kinds):
    vehicle = load(f"vehicles/{name}.json")
    model = NaiveVehicle(vehicle, kinds)
    model.move(vehicle["run_state"], vehicle["isolation"]["lift"])
    assert abs(model.volt("K1.line", "U1.b_minus")) < 0.01


def test_contactor_closes_at_pedal_or_key(kinds):
    hauler = NaiveVehicle(load("vehicles/seedling-hauler.json"), kinds)
    run = hauler.vehicle["run_state"]
    hauler.move({k: v for k, v in run.items() if k != "pedal"})
    assert not hauler.sign("K1.click")
    hauler.move(run)
    assert hauler.sign("K1.click")
    tug = NaiveVehicle(load("vehicles/mulch-tug.json"), kinds)
    tug.move({"key": "on"})
    assert tug.sign("K1.click") and not tug.sign("Y1.free")
    tug.move(tug.vehicle["run_state"])
    assert tug.sign("Y1.click") and tug.sign("Y1.free") and not tug.sign("K1.click")


@pytest.mark.parametrize("name", VEHICLES)
@pytest.mark.parametrize("fault", ["D1/shorted", "D1/diode_reversed"])
def test_dead_short_blows_the_control_fuse(name, fault, kinds):
    vehicle = load(f"vehicles/{name}.json")
    model = NaiveVehicle(vehicle, kinds, [fault])
    assert not model.move(vehicle["run_state"])
    assert model.ampere("F1.link") == 0 and not model.sign("M1.turns")
    assert max(abs(model.ampere(e)) for e in model.elements) < 1


def observed(model):
    """What readings and signs could tell in a state: voltages against the datum, currents, signs."""
    return model.volts, {e: model.ampere(e) for e in model.elements}, {s: model.sign(s) for s in model.signs}


def differs(one, other):
    return (any(abs(one[0][t] - other[0][t]) > 0.005 for t in one[0])
            or any(abs(one[1][e] - other[1][e]) > 0.1 for e in one[1]) or one[2] != other[2])


@pytest.mark.parametrize("name", VEHICLES)
def test_every_mode_of_every_kind_shows_somewhere(name, kinds):
    """One part of each kind per vehicle; modes of films that only an ohmmeter shows are listed here."""
    ohms_only = {"charge_receptacle", "charge_receptacle_switched"}
    vehicle = load(f"vehicles/{name}.json")
    healthy = NaiveVehicle(vehicle, kinds)
    states = [dict(t) for t in dict.fromkeys(tuple(sorted(s.items())) for s in control_states(vehicle))]
    good = []
    for state in states:
        healthy.move(state)
        good.append(observed(healthy))
    first = {}
    for part_id, part in vehicle["parts"].items():
        first.setdefault(part["kind"], part_id)
    faults = [f"{p}/{m}" for kind, p in first.items() for m in healthy.modes[p] if not (kind in ohms_only and m == "wet_film")
              and f"{p}/{m}" not in healthy.earlier_work]
    hidden = []
    for fault in faults:
        model = NaiveVehicle(vehicle, kinds, [fault])
        for state, expected in zip(states, good):
            model.move(state)
            if differs(observed(model), expected):
                break
        else:
            hidden.append(fault)
    assert hidden == []


# -- jobs --------------------------------------------------------------------------------------------


def test_seven_jobs():
    assert len(JOBS) >= 7


@pytest.mark.parametrize("name", JOBS)
def test_references_of_job(name, kinds, resolved):
    job = load(f"jobs/{name}.json")
    vehicle = load(f"vehicles/{job['vehicle']}.json")
    terminals = set(terminals_of(vehicle, resolved))
    instruments = load("instruments.json")["instruments"]
    assert job["id"] == name
    assert set(job["instruments"]) <= set(instruments) and set(job["opened_zones"]) <= set(vehicle["zones"])
    assert job["environment"] in load("rates.json")["environments"]
    ids = [e["id"] for e in job["entries"]]
    assert len(ids) == len(set(ids)) and set(job.get("withdrawn", [])) <= set(ids)
    for entry in job["entries"]:
        for control, position in entry.get("state", {}).items():
            assert position in vehicle["controls"][control]["positions"], entry["id"]
        assert {l.split(":")[0] for l in entry.get("lifted", [])} <= set(vehicle["wires"])
        if entry["type"] == "reading":
            assert {entry["red"], entry["black"]} <= terminals and entry["instrument"] in job["instruments"], entry["id"]
        elif entry["type"] == "sign":
            assert entry["sign"] in resolved[vehicle["parts"][entry["part"]]["kind"]]["signs"], entry["id"]


TRUTH = {
    "compost-yard-dead-tug": "W2:to/open",
    "fern-walk-spliced": "W21/open",
    "glasshouse-coil-return": "X3-1/open",
    "herb-garden-odd-reading": "S5/contact_open",
    "orchard-burnt-contacts": "K1/contacts_burnt",
    "palm-house-after-charging": "CH1/stuck_charging",
    "rose-walk-no-click": "X2-1/severe",
}
CONTRADICTORY = {("herb-garden-odd-reading", "e5")}


@pytest.mark.parametrize("name", JOBS)
def test_readings_follow_from_the_fault_behind_the_job(name, kinds):
    job = load(f"jobs/{name}.json")
    vehicle = load(f"vehicles/{job['vehicle']}.json")
    instruments = load("instruments.json")["instruments"]
    model = NaiveVehicle(vehicle, kinds, [TRUTH[name]])
    odd = set()
    for entry in job["entries"]:
        if entry["type"] == "look":
            continue
        if entry["type"] == "repair":
            # What comes after the repair of what was broken is that of a sound vehicle.
            if entry["component"] == TRUTH[name].rsplit("/", 1)[0]:
                model = NaiveVehicle(vehicle, kinds)
            continue
        lifted = entry.get("lifted", []) + (vehicle["isolation"]["lift"] if entry.get("isolated") else [])
        model.move(entry["state"], lifted)
        if entry["type"] == "sign":
            fits = model.sign(f"{entry['part']}.{entry['sign']}") == (entry["outcome"] == "yes")
        else:
            instrument = instruments[entry["instrument"]]
            fits = reading_fits(model, entry, instrument)
        if not fits:
            odd.add((name, entry["id"]))
    assert odd == {c for c in CONTRADICTORY if c[0] == name}


def test_a_repaired_job_has_all_of_it_proved_after_the_last_repair(kinds):
    """By rules of the test's own: both ways, every interlock, the drop along what was repaired."""
    job = load("jobs/fern-walk-spliced.json")
    vehicle = load(f"vehicles/{job['vehicle']}.json")
    types = [e["type"] for e in job["entries"]]
    assert job["closing"]["verdict"] == "repaired" and job["closing"]["by"] == "verification"
    last = len(types) - 1 - types[::-1].index("repair")
    assert job["entries"][last]["component"] == TRUTH["fern-walk-spliced"].rsplit("/", 1)[0]
    after = job["entries"][last + 1:]
    rest = {c: value["rest"] for c, value in vehicle["controls"].items()}
    turns = {tuple(sorted((rest | e["state"]).items())): e["outcome"] for e in after if e.get("sign") == "turns"}
    run = rest | vehicle["run_state"]
    for way in ("forward", "reverse"):
        assert turns[tuple(sorted((run | {"selector": way}).items()))] == "yes"
    interlocks = {c: value for c, value in vehicle["controls"].items() if value.get("interlock")}
    assert len(interlocks) == 3
    for control, value in interlocks.items():
        for position in set(value["positions"]) - {run[control]}:
            assert turns[tuple(sorted((run | {control: position}).items()))] == "no", control
    wire = vehicle["wires"][job["entries"][last]["component"]]
    drops = [[e["volts"] for e in entries if {e.get("red"), e.get("black")} == {wire["from"], wire["to"]}]
             for entries in (job["entries"][:last], after)]
    assert min(drops[0]) > 40 and max(drops[1]) < 0.05


def reading_fits(model, entry, instrument):
    red, black = entry["red"], entry["black"]
    if instrument["type"] == "voltmeter":
        expected = model.volt(red, black, instrument["resistance_ohm"])
        return abs(entry["volts"] - expected) <= 0.02 * abs(expected) + 0.02
    if instrument["type"] == "ohmmeter":
        return abs(entry["ohms"] / model.source_ohm(red, black) - 1) < 0.02
    light = model.lamp_light(red, black, *(instrument[k] for k in ("rated_volt", "rated_watt", "current_exponent", "light_exponent")))
    word = "bright" if light >= instrument["bright_from"] else "dark" if light < instrument["dark_below"] else "dim"
    return entry["outcome"] == word


def test_run_list_names_wires_of_a_vehicle():
    with (DATA / "jobs" / "garden_run_list.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert list(rows[0]) == ["wire", "from", "to", "gauge_awg", "length_metre", "loom", "zone", "class"]
    wires = load("vehicles/mulch-tug.json")["wires"]
    assert {r["wire"] for r in rows} == set(wires)
    for row in rows:
        assert row["from"] == wires[row["wire"]]["from"] and float(row["length_metre"]) == wires[row["wire"]]["length_metre"]


def test_filament_lamps_and_the_precharge_resistor(kinds):
    """With the contactor open a small lamp glows through the pre-charge resistor; one of 10 W stays dark."""
    model = NaiveVehicle(load("vehicles/seedling-hauler.json"), kinds)
    model.move({"key": "on"})
    assert model.lamp_light("K1.load", "BAT1.negative", rated_watt=10) < 0.02
    assert model.lamp_light("K1.load", "BAT1.negative", rated_watt=5) > 0.02
    assert model.volt("K1.load", "BAT1.negative", 1e7) > 40

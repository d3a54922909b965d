#include <faultloom/documents/vehicle_reader.hpp>

#include "small_documents.hpp"

#include <faultloom/vehicle/wire_gauge.hpp>

#include <gtest/gtest.h>

#include <algorithm>

namespace faultloom::documents {
namespace {

using vehicle::Component;
using vehicle::Index;
using vehicle::none;
using Op = vehicle::Condition::Op;

template <typename Items>
const auto& get(const Items& items, Index i) {
  return items.at(static_cast<std::size_t>(i));
}

const vehicle::Element& element(const vehicle::Vehicle& v, std::string_view name) {
  return *std::find_if(v.elements.begin(), v.elements.end(),
                       [&](const auto& e) { return e.name == name; });
}

Index element_index(const vehicle::Vehicle& v, std::string_view name) {
  return static_cast<Index>(&element(v, name) - v.elements.data());
}

const vehicle::Mode& mode(const vehicle::Vehicle& v, std::string_view name) {
  for (std::size_t m = 0; m < v.modes.size(); ++m)
    if (mode_name(v, static_cast<Index>(m)) == name) return v.modes[m];
  throw std::out_of_range(std::string(name));
}

TEST(ReadVehicle, BuildsTheFrame) {
  const auto v = small::read();
  EXPECT_EQ(v.id, "test-cart");
  EXPECT_DOUBLE_EQ(v.nominal_volt, 48);
  EXPECT_EQ(v.datum, v.terminal("BAT1.negative"));
  ASSERT_EQ(v.controls.size(), 2U);
  const auto& key = get(v.controls, v.control("key"));
  EXPECT_EQ(key.positions, (std::vector<std::string>{"off", "on", "start"}));
  EXPECT_EQ(key.rest, 0);
  EXPECT_EQ(v.run_state, (vehicle::ControlState{1, 0}));
  const auto& seat = get(v.zones, v.zone("seat"));
  EXPECT_DOUBLE_EQ(seat.open_minutes, 2);
  EXPECT_EQ(seat.cautions, std::vector<std::string>{"pack"});
  ASSERT_EQ(v.looms.size(), 1U);
  EXPECT_EQ(v.looms[0].wires.size(), 6U);
  EXPECT_EQ(v.isolation.lifted_elements, std::vector<Index>{element_index(v, "W1")});
  EXPECT_EQ(v.isolation.caution, "pack");
}

TEST(ReadVehicle, BuildsParts) {
  const auto v = small::read();
  const auto& k1 = get(v.components, v.component("K1"));
  EXPECT_EQ(k1.type, Component::Type::part);
  EXPECT_EQ(k1.kind, "contactor");
  EXPECT_EQ(k1.zone, v.zone("seat"));
  EXPECT_EQ(k1.environment, "outdoor");
  EXPECT_DOUBLE_EQ(k1.rate_factor, 2);
  EXPECT_DOUBLE_EQ(k1.repair.minutes, 25);
  EXPECT_EQ(k1.cautions, std::vector<std::string>{"arc"});
  EXPECT_EQ(k1.modes.size(), 3U);
  EXPECT_EQ(k1.elements.size(), 4U);
  ASSERT_EQ(k1.terminals.size(), 6U);
  EXPECT_EQ(get(v.terminals, k1.terminals[2]).name, "K1.line");
  EXPECT_DOUBLE_EQ(element(v, "K1.coil").ohm, 150);
  EXPECT_EQ(get(v.components, v.component("BAT1")).cautions, std::vector<std::string>{"pack"});
  EXPECT_DOUBLE_EQ(get(v.components, v.component("BAT1")).look_false_alarm, 0.02);
  EXPECT_EQ(get(v.components, v.component("M1")).title, "Motor");
}

TEST(ReadVehicle, BuildsTerminals) {
  const auto v = small::read();
  const auto& in = get(v.terminals, v.terminal("F1.in"));
  EXPECT_EQ(in.zone, v.zone("dash"));
  EXPECT_DOUBLE_EQ(in.minutes, 1.5);
  EXPECT_TRUE(in.reachable);
  EXPECT_FALSE(get(v.terminals, v.terminal("F1.out")).reachable);
  const auto& coil = get(v.terminals, v.terminal("K1.coil_feed"));
  EXPECT_EQ(coil.zone, v.zone("seat"));
  EXPECT_DOUBLE_EQ(coil.minutes, default_part_probe_minutes);
  EXPECT_DOUBLE_EQ(coil.leakage_ohm, 2e8);
  EXPECT_DOUBLE_EQ(get(v.terminals, v.terminal("S1.in")).leakage_ohm, 5e7);
  const auto& pin = get(v.terminals, v.terminal("X1-2.socket"));
  EXPECT_EQ(pin.zone, v.zone("dash"));
  EXPECT_DOUBLE_EQ(pin.minutes, default_pin_probe_minutes);
  const auto bare = small::read(R"({"op":"remove","path":"/leakage_ohm"})");
  EXPECT_DOUBLE_EQ(get(bare.terminals, bare.terminal("K1.line")).leakage_ohm, default_leakage_ohm);
}

TEST(ReadVehicle, ExpandsConnectors) {
  const auto v = small::read();
  const auto& pin = get(v.components, v.component("X1-1"));
  EXPECT_EQ(pin.type, Component::Type::contact);
  EXPECT_EQ(pin.connector, "X1");
  EXPECT_EQ(pin.kind, "connector_contact");
  const auto& contact = element(v, "X1-1.contact");
  EXPECT_EQ(contact.a, v.terminal("X1-1.plug"));
  EXPECT_EQ(contact.b, v.terminal("X1-1.socket"));
  EXPECT_EQ(v.component("X1"), none);
}

TEST(ReadVehicle, AWireIsOneElementOfThreeComponents) {
  const auto v = small::read();
  const auto w2 = v.component("W2");
  const auto from = v.component("W2:from");
  const auto to = v.component("W2:to");
  const auto& e = element(v, "W2");
  const double copper = vehicle::copper_resistance_ohm(vehicle::area_mm2_of_awg(16), 1.2);
  EXPECT_EQ(e.type, vehicle::ElementType::resistor);
  EXPECT_DOUBLE_EQ(e.ohm, copper + 2 * 0.002);
  EXPECT_EQ(e.a, v.terminal("F1.out"));
  EXPECT_EQ(e.b, v.terminal("X1-1.plug"));
  EXPECT_EQ(e.components, (std::vector<Index>{w2, from, to}));
  EXPECT_EQ(get(v.components, from).type, Component::Type::termination);
  EXPECT_EQ(get(v.components, from).wire, w2);
  EXPECT_EQ(get(v.components, from).zone, v.zone("seat"));
  EXPECT_EQ(get(v.components, to).zone, v.zone("dash"));
  const auto& wire = get(v.wires, v.wire_of(to));
  EXPECT_EQ(wire.component, w2);
  EXPECT_DOUBLE_EQ(wire.length_metre, 1.2);
  EXPECT_FALSE(wire.power);
  EXPECT_DOUBLE_EQ(element(v, "W9").ohm, vehicle::copper_resistance_ohm(16, 0.7) + 2 * 0.0001);
  EXPECT_TRUE(get(v.wires, v.wire_of(v.component("W9"))).power);
  EXPECT_DOUBLE_EQ(get(v.components, v.component("W9")).repair.price_usd, 20);
  EXPECT_EQ(get(v.components, v.component("W2")).repair.action, "splice");
}

TEST(ReadVehicle, ModesOfAJointChangeTheWireAsAWhole) {
  const auto v = small::read();
  const auto e = element_index(v, "W2");
  const auto& open = mode(v, "W2/open");
  ASSERT_EQ(open.changes.size(), 1U);
  EXPECT_EQ(open.changes[0].element, e);
  EXPECT_TRUE(open.changes[0].open);
  const auto& corroded = mode(v, "W2:to/corroded").changes.at(0);
  EXPECT_EQ(corroded.element, e);
  EXPECT_DOUBLE_EQ(corroded.add_ohm, 400);
  const auto& replaced = mode(v, "W2:from/replaced").changes.at(0);
  EXPECT_DOUBLE_EQ(replaced.add_ohm, 5 - 0.002);
  EXPECT_FALSE(replaced.ohm.has_value());
  EXPECT_DOUBLE_EQ(mode(v, "W2:from/open").seen, 0.4);
}

TEST(ReadVehicle, OperatedWhenBecomesMasks) {
  const auto v =
      small::read(R"({"op":"add","path":"/parts/S1/operated_when/pedal","value":["down"]})");
  const auto& ops = element(v, "S1.contact").closed_when.ops;
  ASSERT_EQ(ops.size(), 3U);
  EXPECT_EQ(ops[0].type, Op::Type::control);
  EXPECT_EQ(ops[0].index, v.control("key"));
  EXPECT_EQ(ops[0].mask, 0b110U);
  EXPECT_EQ(ops[1].mask, 0b10U);
  EXPECT_EQ(ops[2].type, Op::Type::all);
  EXPECT_EQ(ops[2].count, 2);
}

TEST(ReadVehicle, ContactsOwnTheAtomsTheyMakeAndShareOthers) {
  const auto v = small::read();
  const auto& main = element(v, "K1.main");
  ASSERT_EQ(main.atoms.size(), 1U);
  const auto& atom = get(v.atoms, main.atoms[0]);
  EXPECT_EQ(atom.type, vehicle::Atom::Type::volts);
  EXPECT_EQ(atom.a, v.terminal("K1.coil_feed"));
  EXPECT_EQ(atom.b, v.terminal("K1.coil_return"));
  EXPECT_DOUBLE_EQ(atom.rises, 32);
  EXPECT_DOUBLE_EQ(atom.falls, 8);
  const auto& aux = element(v, "K1.aux");
  EXPECT_TRUE(aux.atoms.empty());
  ASSERT_EQ(aux.closed_when.ops.size(), 2U);
  EXPECT_EQ(aux.closed_when.ops[0].index, main.atoms[0]);
  EXPECT_EQ(aux.closed_when.ops[1].type, Op::Type::negate);
  const auto& click = get(v.signs, v.sign(v.component("K1"), "click"));
  ASSERT_EQ(click.when.ops.size(), 1U);
  EXPECT_EQ(click.when.ops[0].index, main.atoms[0]);
  EXPECT_TRUE(click.on_change);
}

TEST(ReadVehicle, DiodesFusesAndInputsHaveTheirOwnAtoms) {
  const auto v = small::read(
      R"({"op":"add","path":"/parts/U1","value":{"kind":"sensor","title":"Controller","zone":"dash",
    "operated_when":{"key":["on"]},"parameters":{"on_volt":35}}})");
  const auto& diode = element(v, "K1.spark");
  ASSERT_EQ(diode.atoms.size(), 1U);
  EXPECT_DOUBLE_EQ(get(v.atoms, diode.atoms[0]).rises, 0.7);
  EXPECT_DOUBLE_EQ(get(v.atoms, diode.atoms[0]).falls, 0.7);
  EXPECT_EQ(get(v.atoms, diode.atoms[0]).a, v.terminal("K1.coil_return"));
  ASSERT_EQ(diode.closed_when.ops.size(), 1U);
  EXPECT_EQ(diode.closed_when.ops[0].index, diode.atoms[0]);
  const auto& link = element(v, "F1.link");
  ASSERT_EQ(link.atoms.size(), 1U);
  EXPECT_EQ(get(v.atoms, link.atoms[0]).type, vehicle::Atom::Type::amps);
  EXPECT_EQ(get(v.atoms, link.atoms[0]).element, element_index(v, "F1.link"));
  EXPECT_TRUE(get(v.atoms, link.atoms[0]).stays);
  const auto& input = element(v, "U1.request");
  EXPECT_EQ(input.type, vehicle::ElementType::resistor);
  ASSERT_EQ(input.atoms.size(), 1U);
  EXPECT_DOUBLE_EQ(get(v.atoms, input.atoms[0]).rises, 35);
  const auto& driver = element(v, "U1.driver");
  EXPECT_TRUE(driver.atoms.empty());
  EXPECT_EQ(driver.closed_when.ops.at(0).index, input.atoms[0]);
}

TEST(ReadVehicle, TheAtomsOfSignsKnowTheirElement) {
  const auto v = small::read();
  const auto& turns = get(v.signs, v.sign(v.component("M1"), "turns"));
  ASSERT_EQ(turns.when.ops.size(), 1U);
  const auto& atom = get(v.atoms, turns.when.ops[0].index);
  EXPECT_EQ(atom.type, vehicle::Atom::Type::amps);
  EXPECT_EQ(atom.element, element_index(v, "M1.winding"));
  EXPECT_TRUE(element(v, "M1.winding").atoms.empty());
}

TEST(ReadVehicle, ModesOfPartsUseParameters) {
  const auto v =
      small::read(R"({"op":"add","path":"/parts/M1/parameters","value":{"worn_ohm":7}})");
  EXPECT_DOUBLE_EQ(mode(v, "M1/worn").changes.at(0).add_ohm, 7);
  EXPECT_EQ(mode(v, "S1/stuck_open").changes.at(0).stuck, std::optional<bool>(false));
  EXPECT_DOUBLE_EQ(mode(v, "K1/weak").changes.at(0).threshold_factor, 1.8);
  EXPECT_TRUE(mode(v, "K1/diode_turned").changes.at(0).reversed);
  EXPECT_EQ(mode(v, "BAT1/flat").changes.at(0).emf_volt, std::optional<double>(30));
}

TEST(ReadVehicle, WarnsAboutOperationWithoutEffect) {
  std::vector<Problem> warnings;
  const auto text = small::edited(
      small::vehicle, R"({"op":"add","path":"/parts/M1/operated_when","value":{"key":["on"]}})");
  static_cast<void>(read_vehicle(text, read_kinds(small::kinds), &warnings));
  ASSERT_EQ(warnings.size(), 1U);
  EXPECT_EQ(warnings[0].pointer, "/parts/M1/operated_when");
}

const Component& component(const vehicle::Vehicle& v, std::string_view id) {
  return get(v.components, v.component(id));
}

/// The small cart with kinds that were patched too.
vehicle::Vehicle read_with(std::string_view kinds, std::string_view vehicle = "") {
  return read_vehicle(small::edited(small::vehicle, vehicle),
                      read_kinds(small::edited(small::kinds, kinds)));
}

constexpr std::string_view touching = R"(
  {"op":"add","path":"/kinds/control_wire/modes/short_negative","value":{"title":"Chafed",
    "touches":"negative","touch_ohm":0.2,"seen":0.3}},
  {"op":"add","path":"/kinds/control_wire/modes/short_neighbour","value":{"title":"Melted together",
    "touches":"neighbour","touch_ohm":0.3,"seen":0.3}})";

TEST(ReadVehicle, SpreadAndDutyReachPartsAndWires) {
  const auto v = read_with(R"(
    {"op":"add","path":"/kinds/load/modes/worn/spread_factor","value":6},
    {"op":"add","path":"/kinds/control_termination/modes/corroded/spread_factor","value":4},
    {"op":"add","path":"/kinds/control_wire/modes/open/duty","value":{"a":1,"b":3}})");
  EXPECT_EQ(mode(v, "M1/worn").spread_factor, 6);
  EXPECT_EQ(mode(v, "W2:to/corroded").spread_factor, 4);
  EXPECT_TRUE(mode(v, "W2/open").intermittent());
  EXPECT_EQ(mode(v, "W2/open").duty.b, 3);
  EXPECT_FALSE(mode(v, "W2:to/open").intermittent());
  EXPECT_TRUE(mode(v, "W2:to/open").per_visit.empty());
}

TEST(ReadVehicle, EarlierWorkIsAComponentOfItsOwn) {
  const auto v = read_with(R"(
    {"op":"add","path":"/kinds/contactor/modes/diode_turned/cause","value":"earlier_work"},
    {"op":"add","path":"/kinds/contactor/modes/weak/cause","value":"earlier_work"},
    {"op":"add","path":"/kinds/contactor/modes/weak/per_visit","value":"wrong_spring"},
    {"op":"add","path":"/kinds/contactor/work_minutes","value":9})");
  const auto& work = component(v, "K1:work");
  EXPECT_EQ(work.type, Component::Type::earlier_work);
  EXPECT_EQ(work.kind, "earlier_work");
  EXPECT_EQ(work.title, "Earlier work at contactor");
  EXPECT_EQ(work.zone, v.zone("seat"));
  EXPECT_EQ(work.environment, "outdoor");
  EXPECT_EQ(work.cautions, std::vector<std::string>{"arc"});
  EXPECT_EQ(work.repair.action, "put_right");
  EXPECT_EQ(work.repair.minutes, 9);
  EXPECT_EQ(work.repair.price_usd, 2);
  EXPECT_EQ(work.look_minutes, 2);
  EXPECT_EQ(work.modes.size(), 2U);
  EXPECT_EQ(component(v, "K1").modes.size(), 1U);
  EXPECT_EQ(mode(v, "K1:work/diode_turned").per_visit, "diode_turned");
  EXPECT_EQ(mode(v, "K1:work/weak").per_visit, "wrong_spring");
  EXPECT_EQ(mode(v, "K1:work/weak").changes.at(0).element, element_index(v, "K1.main"));
  EXPECT_EQ(v.component("M1:work"), none) << "made only where a mode needs it";
}

TEST(ReadVehicle, ExchangedWiresOfAConnector) {
  const auto v = small::read();
  const auto& work = component(v, "X1:work");
  EXPECT_EQ(work.zone, v.zone("dash"));
  EXPECT_EQ(work.connector, "X1");
  const auto& swapped = mode(v, "X1:work/swapped_1_2");
  EXPECT_EQ(swapped.title, "Wires at 1 and 2 swapped");
  EXPECT_EQ(swapped.per_visit, "swapped");
  ASSERT_EQ(swapped.changes.size(), 4U);
  EXPECT_EQ(swapped.changes[0].element, element_index(v, "W3"));
  EXPECT_TRUE(swapped.changes[0].open);
  EXPECT_EQ(swapped.changes[1].element, element_index(v, "W4"));
  const auto& detour = element(v, "W3>X1-2.socket");
  EXPECT_TRUE(detour.dormant);
  EXPECT_EQ(detour.a, v.terminal("S1.in"));
  EXPECT_EQ(detour.b, v.terminal("X1-2.socket"));
  EXPECT_EQ(detour.ohm, element(v, "W3").ohm);
  EXPECT_EQ(detour.follows, element_index(v, "W3"));
  EXPECT_EQ(detour.components, std::vector<Index>{v.component("W3")});
  EXPECT_EQ(swapped.changes[2].element, element_index(v, "W3>X1-2.socket"));
  EXPECT_EQ(swapped.changes[2].shorted_ohm, std::optional<double>(detour.ohm));
  EXPECT_EQ(element(v, "W4>X1-1.socket").a, v.terminal("S1.out"));
}

TEST(ReadVehicle, ExchangedWiresNeedOneWireEach) {
  constexpr auto swaps = R"({"op":"add","path":"/kinds/contactor/swaps",
    "value":[["coil_feed","coil_return"],["line","load"],["aux_in","aux_out"]]})";
  const auto v = read_with(swaps);
  EXPECT_EQ(component(v, "K1:work").modes.size(), 2U) << "nothing is wired to aux_in";
  EXPECT_NE(v.component("K1:work"), none);
  EXPECT_EQ(mode(v, "K1:work/swapped_line_load").changes.size(), 4U) << "cables of a part count";
  const auto second = read_with(swaps, R"({"op":"add","path":"/wires/W10","value":{
    "from":"BAT1.positive","to":"K1.coil_feed","gauge_awg":16,"length_metre":1,"zone":"seat",
    "class":"control"}})");
  EXPECT_EQ(component(second, "K1:work").modes.size(), 1U);
  const auto power = small::read(R"({"op":"replace","path":"/wires/W3/class","value":"power"})");
  EXPECT_EQ(power.component("X1:work"), none) << "no cables in connectors";
}

TEST(ReadVehicle, WiresTouchNegativeAndTheirNeighbour) {
  const auto v = read_with(touching);
  const auto& negative = element(v, "W2>negative");
  EXPECT_TRUE(negative.dormant);
  EXPECT_EQ(negative.a, v.terminal("X1-1.plug"));
  EXPECT_EQ(negative.b, v.datum);
  EXPECT_EQ(negative.ohm, 0.2);
  EXPECT_EQ(negative.follows, element_index(v, "W2"));
  const auto& change = mode(v, "W2/short_negative").changes.at(0);
  EXPECT_EQ(change.element, element_index(v, "W2>negative"));
  EXPECT_EQ(change.shorted_ohm, std::optional<double>(0.2));
  EXPECT_EQ(element(v, "W2>W3").b, v.terminal("S1.in"));
  EXPECT_EQ(element(v, "W6>W1").b, v.terminal("F1.in")) << "the last one's next is the first";
  EXPECT_THROW((void)mode(v, "W6/short_negative"), std::out_of_range) << "it ends there";
  EXPECT_THROW((void)mode(v, "W7/short_negative"), std::out_of_range) << "a cable";
}

TEST(ReadVehicle, OfTwoWiresOnlyOneTouchesTheOther) {
  std::string apart;
  for (const char* wire : {"W1", "W2", "W5", "W6"})
    apart += std::string(apart.empty() ? "" : ",") + R"({"op":"remove","path":"/wires/)" + wire +
             "/loom\"}";
  const auto v = read_with(touching, apart);
  EXPECT_EQ(mode(v, "W3/short_neighbour").changes.size(), 1U);
  EXPECT_THROW((void)mode(v, "W4/short_neighbour"), std::out_of_range);
  EXPECT_THROW((void)mode(v, "W1/short_negative"), std::out_of_range) << "in no loom";
}

TEST(ReadVehicle, SettingsAreComponents) {
  const auto v = small::read(
      R"({"op":"add","path":"/controls/key/left_wrong","value":{"off":0.75,"start":0.25}})");
  const auto& setting = component(v, "key");
  EXPECT_EQ(setting.type, Component::Type::setting);
  EXPECT_EQ(setting.kind, "setting");
  EXPECT_EQ(setting.title, "Setting of key");
  EXPECT_EQ(setting.repair.action, "set right");
  EXPECT_EQ(setting.repair.minutes, 0.1);
  EXPECT_EQ(setting.zone, none);
  const auto& left = mode(v, "key/left_start");
  EXPECT_EQ(left.title, "Left at start");
  EXPECT_EQ(left.control, v.control("key"));
  EXPECT_EQ(left.position, 2);
  EXPECT_EQ(left.per_visit, "left_wrong");
  EXPECT_EQ(left.per_visit_share, 0.25);
  EXPECT_EQ(left.seen, 0.95);
  EXPECT_TRUE(left.changes.empty());
}

}  // namespace
}  // namespace faultloom::documents

#include "unit/readers/small_cart.hpp"

#include <stdexcept>
#include <string>
#include <utility>

namespace faultloom::test {
namespace {

using namespace vehicle;

std::size_t at(Index i) { return static_cast<std::size_t>(i); }

Change opens(Index element) {
  Change change;
  change.element = element;
  change.open = true;
  return change;
}

Change sticks(Index contact, bool closed) {
  Change change;
  change.element = contact;
  change.stuck = closed;
  return change;
}

class Builder {
 public:
  Vehicle v;

  Index component(const std::string& id, const std::string& title, const std::string& kind,
                  Index zone, Component::Type type = Component::Type::part) {
    Component c;
    c.id = id;
    c.title = title;
    c.kind = kind;
    c.type = type;
    c.zone = zone;
    v.components.push_back(c);
    return static_cast<Index>(v.components.size()) - 1;
  }

  Index terminal(Index owner, const std::string& name) {
    Terminal t;
    t.name = v.components[at(owner)].id + "." + name;
    t.component = owner;
    t.zone = v.components[at(owner)].zone;
    t.minutes = 0.5;
    t.leakage_ohm = 1e8;
    v.terminals.push_back(t);
    v.components[at(owner)].terminals.push_back(static_cast<Index>(v.terminals.size()) - 1);
    return v.components[at(owner)].terminals.back();
  }

  Index branch(Index owner, const std::string& name, ElementType type, Index a, Index b, double ohm,
               double emf = 0) {
    Element e;
    e.name = v.components[at(owner)].id + (name.empty() ? "" : "." + name);
    e.type = type;
    e.a = a;
    e.b = b;
    e.ohm = ohm;
    e.emf_volt = emf;
    e.components = {owner};
    v.elements.push_back(e);
    v.components[at(owner)].elements.push_back(static_cast<Index>(v.elements.size()) - 1);
    return v.components[at(owner)].elements.back();
  }

  void mode(Index owner, const std::string& id, Change change) {
    Mode m;
    m.id = id;
    m.title = id;
    m.component = owner;
    m.changes = {change};
    v.modes.push_back(m);
    v.components[at(owner)].modes.push_back(static_cast<Index>(v.modes.size()) - 1);
  }

  void wire(const std::string& id, Index a, Index b) {
    const auto self = component(id, "wire " + id, "control_wire", 0, Component::Type::wire);
    const auto conductor = branch(self, "", ElementType::resistor, a, b, 0.02);
    mode(self, "open", opens(conductor));
    Wire w{.component = self, .element = conductor, .length_metre = 1, .area_mm2 = 1};
    for (auto [end, index] : {std::pair{"from", &w.from_end}, std::pair{"to", &w.to_end}}) {
      *index = component(id + ":" + end, "joint of " + id, "control_termination", 0,
                         Component::Type::termination);
      v.components[at(*index)].wire = self;
      v.components[at(*index)].elements = {conductor};
      Change more;
      more.element = conductor;
      more.add_ohm = 300;
      mode(*index, "corroded", more);
    }
    v.elements[at(conductor)].components = {self, w.from_end, w.to_end};
    v.wires.push_back(w);
  }

  Index volts(Index a, Index b, double rises, double falls) {
    v.atoms.push_back({.type = Atom::Type::volts, .a = a, .b = b, .rises = rises, .falls = falls});
    return static_cast<Index>(v.atoms.size()) - 1;
  }
};

Condition holds(Index atom) { return {{{.type = Condition::Op::Type::atom, .index = atom}}}; }

/// Both controls moved from rest.
Condition demanded() {
  using Op = Condition::Op;
  return {{{.type = Op::Type::control, .index = 0, .mask = 2},
           {.type = Op::Type::control, .index = 1, .mask = 2},
           {.type = Op::Type::all, .count = 2}}};
}

void add_contactor(Builder& b, Index k1) {
  const auto feed = b.terminal(k1, "coil_feed");
  const auto back = b.terminal(k1, "coil_return");
  const auto main_in = b.terminal(k1, "main_in");
  const auto main_out = b.terminal(k1, "main_out");
  const auto coil = b.branch(k1, "coil", ElementType::resistor, feed, back, 115);
  const auto diode = b.branch(k1, "diode", ElementType::diode, back, feed, 0.1, 0.7);
  const auto main = b.branch(k1, "main", ElementType::contact, main_in, main_out, 0.0002);
  const auto conducts = b.volts(back, feed, 0.7, 0.6);
  const auto pulled = b.volts(feed, back, 34, 10);
  b.v.elements[at(diode)].closed_when = holds(conducts);
  b.v.elements[at(diode)].atoms = {conducts};
  b.v.elements[at(main)].closed_when = holds(pulled);
  b.v.elements[at(main)].atoms = {pulled};
  b.mode(k1, "coil_open", opens(coil));
  b.mode(k1, "welded", sticks(main, true));
  b.v.signs.push_back({.id = "click",
                       .title = "Contactor click",
                       .component = k1,
                       .sense = "hear",
                       .when = holds(pulled),
                       .on_change = true});
}

}  // namespace

Vehicle small_cart() {
  Builder b;
  b.v.id = "small-cart";
  b.v.title = "Small cart";
  b.v.nominal_volt = 48;
  b.v.controls = {
      {.id = "pedal", .title = "Pedal", .positions = {"released", "pressed"}, .order = 2},
      {.id = "key", .title = "Key", .positions = {"off", "on"}, .order = 1}};
  b.v.run_state = {1, 1};
  b.v.zones = {{.id = "seat",
                .title = "Under the seat",
                .open_minutes = 1,
                .close_minutes = 1,
                .cautions = {}},
               {.id = "dash",
                .title = "Behind the dash",
                .open_minutes = 4,
                .close_minutes = 4,
                .cautions = {}}};
  const auto bat = b.component("BAT1", "Pack", "pack", 0);
  const auto plus = b.terminal(bat, "positive");
  const auto minus = b.terminal(bat, "negative");
  b.v.datum = minus;
  const auto emf = b.branch(bat, "emf", ElementType::source, plus, minus, 0.05, 50);
  Change flat;
  flat.element = emf;
  flat.emf_volt = 30;
  b.mode(bat, "flat", flat);
  const auto s1 = b.component("S1", "Key switch", "switch", 1);
  const auto s1_in = b.terminal(s1, "in");
  const auto s1_out = b.terminal(s1, "out");
  const auto contact = b.branch(s1, "contact", ElementType::contact, s1_in, s1_out, 0.03);
  b.v.elements[at(contact)].closed_when = demanded();
  b.mode(s1, "stuck_open", sticks(contact, false));
  Index pin[2][2];
  for (const int i : {0, 1}) {
    const auto x = b.component(i == 0 ? "X1-1" : "X1-2", "pin of X1", "connector_contact", 1,
                               Component::Type::contact);
    b.v.components[at(x)].connector = "X1";
    pin[i][0] = b.terminal(x, "plug");
    pin[i][1] = b.terminal(x, "socket");
    const auto path = b.branch(x, "contact", ElementType::resistor, pin[i][0], pin[i][1], 0.005);
    b.mode(x, "loose", opens(path));
  }
  const auto k1 = b.component("K1", "Main contactor", "contactor", 0);
  add_contactor(b, k1);
  const auto t = [&](std::string_view name) {
    b.v.index_names();
    return b.v.terminal(name);
  };
  b.wire("W1", plus, s1_in);
  b.wire("W2", s1_out, pin[0][0]);
  b.wire("W3", pin[0][1], t("K1.coil_feed"));
  b.wire("W4", t("K1.coil_return"), minus);
  b.wire("W5", plus, t("K1.main_in"));
  const auto m1 = b.component("M1", "Motor", "motor", 0);
  const auto winding = b.branch(m1, "winding", ElementType::resistor, t("K1.main_out"), minus, 2);
  b.mode(m1, "open", opens(winding));
  b.v.isolation.lifted_elements = {element(b.v, "W5"), element(b.v, "W1")};
  b.v.index_names();
  return std::move(b.v);
}

readings::InstrumentSet bench_instruments() {
  using readings::Instrument;
  readings::InstrumentSet set;
  const auto add = [&](const char* id, const char* title, Instrument::Type type) -> Instrument& {
    Instrument i;
    i.id = id;
    i.title = title;
    i.type = type;
    i.errors = {0.01, 0.01, 0.01, 0.01};
    return set.instruments.emplace_back(i);
  };
  auto& meter = add("meter", "Voltmeter", Instrument::Type::voltmeter);
  meter.noise_relative = 0.005;
  meter.noise_absolute = 0.01;
  add("lamp", "Filament lamp", Instrument::Type::lamp);
  auto& ohmmeter = add("ohmmeter", "Ohmmeter", Instrument::Type::ohmmeter);
  ohmmeter.noise_relative = 0.01;
  ohmmeter.noise_absolute = 0.2;
  ohmmeter.resolution = 0.1;
  ohmmeter.full_scale = 2e7;
  add("beeper", "Continuity beeper", Instrument::Type::beeper);
  auto& clamp = add("clamp", "Clamp meter", Instrument::Type::clamp);
  clamp.noise_relative = 0.02;
  clamp.noise_absolute = 0.02;
  clamp.full_scale = 400;
  set.hear = {0.05, 0.02, 0.01};
  set.see = {0.03, 0.01, 0.01};
  set.feel = {0.1, 0.02, 0.01};
  return set;
}

Index element(const Vehicle& vehicle, std::string_view name) {
  for (std::size_t e = 0; e < vehicle.elements.size(); ++e)
    if (vehicle.elements[e].name == name) return static_cast<Index>(e);
  throw std::logic_error("no element " + std::string(name));
}

Index mode(const Vehicle& vehicle, std::string_view name) {
  for (std::size_t m = 0; m < vehicle.modes.size(); ++m)
    if (mode_name(vehicle, static_cast<Index>(m)) == name) return static_cast<Index>(m);
  throw std::logic_error("no mode " + std::string(name));
}

}  // namespace faultloom::test

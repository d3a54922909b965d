#include <faultloom/report/spice_deck.hpp>

#include <fmt/format.h>

#include <set>
#include <string_view>
#include <utility>

namespace faultloom::reports {
namespace {

std::size_t at(Index i) { return static_cast<std::size_t>(i); }

/// Printable ASCII on one line; a line break in a title would let the rest of it be read as statements.
std::string one_line(std::string_view text) {
  std::string line;
  for (const char c : text) line += c >= ' ' && c <= '~' ? c : '?';
  return line;
}

/// Lower-case letters, digits and underscores: SPICE ignores case and gives other characters a meaning.
std::string safe_word(std::string_view text) {
  std::string word;
  for (const char c : text) {
    const bool upper = c >= 'A' && c <= 'Z';
    const bool plain = (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9');
    word += upper ? static_cast<char>(c - 'A' + 'a') : plain ? c : '_';
  }
  return word;
}

class Words {
 public:
  /// The word itself, or with the first number that makes it new.
  std::string unique(const std::string& word) {
    auto candidate = word;
    for (int n = 2; !taken_.insert(candidate).second; ++n)
      candidate = fmt::format("{}_{}", word, n);
    return candidate;
  }

 private:
  std::set<std::string> taken_;
};

/// Names of everything in a deck; they depend on the vehicle alone.
struct Names {
  std::vector<std::string> nodes;      ///< by terminal
  std::vector<std::string> resistors;  ///< by element
  std::vector<std::string> sources;    ///< by element, "" without EMF
  std::vector<std::string> inner;      ///< by element: node between its source and its resistor
  std::vector<std::string> leakages;   ///< by terminal
};

bool has_emf(const vehicle::Element& element) {
  return element.type == vehicle::ElementType::source ||
         element.type == vehicle::ElementType::diode;
}

Names names_of(const vehicle::Vehicle& vehicle) {
  Names names;
  Words nodes;
  Words parts;
  for (std::size_t t = 0; t < vehicle.terminals.size(); ++t)
    names.nodes.push_back(static_cast<Index>(t) == vehicle.datum
                              ? "0"
                              : nodes.unique("t_" + safe_word(vehicle.terminals[t].name)));
  for (const auto& element : vehicle.elements) {
    const auto word = safe_word(element.name);
    names.resistors.push_back(parts.unique("r_" + word));
    names.sources.push_back(has_emf(element) ? parts.unique("v_" + word) : "");
    names.inner.push_back(has_emf(element) ? nodes.unique("i_" + word) : "");
  }
  for (const auto& terminal : vehicle.terminals)
    names.leakages.push_back(parts.unique("rleak_" + safe_word(terminal.name)));
  return names;
}

class Writer {
 public:
  explicit Writer(const vehicle::Vehicle& vehicle) : vehicle_(vehicle), names_(names_of(vehicle)) {}

  /// The first line is the title whatever it says.
  void title(std::string_view what) {
    text_ = fmt::format("Faultloom: {}, {}\n",
                        one_line(vehicle_.title.empty() ? vehicle_.id : vehicle_.title), what);
  }

  void comment(std::string_view line) { text_ += fmt::format("* {}\n", one_line(line)); }

  void nodes() {
    for (std::size_t t = 0; t < names_.nodes.size(); ++t)
      comment(fmt::format("node {} is {}", names_.nodes[t], vehicle_.terminals[t].name));
  }

  /// One element; I(a to b) = siemens * (V(a) - V(b)) - ampere.
  void element(std::size_t e, double siemens, double ampere) {
    const auto& part = vehicle_.elements[e];
    if (siemens == 0) {
      comment(fmt::format("{} doesn't conduct", part.name));
      return;
    }
    comment(part.name);
    const auto& a = names_.nodes[at(part.a)];
    const auto& b = names_.nodes[at(part.b)];
    if (names_.sources[e].empty()) {
      text_ += fmt::format("{} {} {} {:.17g}\n", names_.resistors[e], a, b, 1 / siemens);
      return;
    }
    text_ +=
        fmt::format("{} {} {} {:.17g}\n", names_.resistors[e], a, names_.inner[e], 1 / siemens);
    text_ += fmt::format("{} {} {} dc {:.17g}\n", names_.sources[e], names_.inner[e], b,
                         ampere / siemens);
  }

  void leakages() {
    comment("insulation leakage");
    for (std::size_t t = 0; t < names_.nodes.size(); ++t)
      if (static_cast<Index>(t) != vehicle_.datum)
        text_ += fmt::format("{} {} 0 {:.17g}\n", names_.leakages[t], names_.nodes[t],
                             vehicle_.terminals[t].leakage_ohm);
  }

  std::string finish() {
    text_ += ".op\n.end\n";
    return std::move(text_);
  }

  Names take_names() { return std::move(names_); }

 private:
  const vehicle::Vehicle& vehicle_;
  Names names_;
  std::string text_;
};

std::string positions_text(const vehicle::Vehicle& vehicle, const vehicle::ControlState& state) {
  std::string text;
  for (std::size_t c = 0; c < state.size(); ++c)
    text += fmt::format("{}{} {}", c == 0 ? "" : ", ", vehicle.controls[c].id,
                        vehicle.controls[c].positions[at(state[c])]);
  return text.empty() ? "no controls" : text;
}

/// Comments that say which situation the deck shows.
void describe(Writer& writer, const circuit::Circuit& circuit, const circuit::Settled& settled,
              std::span<const Index> modes, std::span<const Index> lifted,
              std::span<const Index> bridged) {
  const auto& vehicle = circuit.vehicle();
  for (const auto mode : modes) writer.comment("fault " + vehicle::mode_name(vehicle, mode));
  for (const auto element : lifted) writer.comment("lifted " + vehicle.elements[at(element)].name);
  for (const auto element : bridged)
    writer.comment("lead across " + vehicle.elements[at(element)].name);
  if (!settled.chatters) return;
  settled.chattering.for_each([&](std::size_t contact) {
    writer.comment(vehicle.elements[at(circuit.contacts()[contact])].name +
                   " chatters; this is one of its states");
  });
}

/// Gives the solver back without faults; it keeps a reference to the overrides of its candidate.
class HealthyAgain {
 public:
  explicit HealthyAgain(circuit::Solver& solver) : solver_(solver) {}
  HealthyAgain(const HealthyAgain&) = delete;
  HealthyAgain& operator=(const HealthyAgain&) = delete;
  ~HealthyAgain() {
    static const circuit::Overrides healthy;
    solver_.begin(healthy);
  }

 private:
  circuit::Solver& solver_;
};

}  // namespace

std::string spice_deck(circuit::Solver& solver, const vehicle::ControlState& state,
                       std::span<const Index> modes, std::span<const Index> lifted,
                       std::span<const Index> bridged) {
  const auto& circuit = solver.circuit();
  const auto& vehicle = circuit.vehicle();
  const auto stage = solver.stage(state, lifted, bridged);
  const auto overrides = circuit::overrides_of(circuit, modes);
  const HealthyAgain again(solver);
  solver.begin(overrides, circuit::settings_of(vehicle, modes));
  solver.enter(stage);
  Writer writer(vehicle);
  writer.title(positions_text(vehicle, state));
  describe(writer, circuit, solver.settle(stage), modes, lifted, bridged);
  writer.nodes();
  for (std::size_t e = 0; e < vehicle.elements.size(); ++e) {
    const auto [siemens, ampere] = solver.branch(static_cast<Index>(e));
    writer.element(e, siemens, ampere);
  }
  writer.leakages();
  return writer.finish();
}

SpiceDeck complete_spice_deck(const circuit::Circuit& circuit) {
  const auto& vehicle = circuit.vehicle();
  Writer writer(vehicle);
  writer.title("all elements");
  writer.nodes();
  for (std::size_t e = 0; e < vehicle.elements.size(); ++e)
    writer.element(e, vehicle.elements[e].dormant ? 1 / open_ohm : circuit.healthy().siemens[e],
                   circuit.healthy().ampere[e]);
  writer.leakages();
  SpiceDeck deck;
  deck.text = writer.finish();
  auto names = writer.take_names();
  deck.resistor_names = std::move(names.resistors);
  deck.source_names = std::move(names.sources);
  deck.node_names = std::move(names.nodes);
  return deck;
}

}  // namespace faultloom::reports

#include <faultloom/advice/testability.hpp>
#include <utility>

#include <boost/container_hash/hash.hpp>

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <faultloom/advice/outcome_table.hpp>
#include <faultloom/circuit/observability.hpp>
#include <map>
#include <numeric>
#include <unordered_map>
#include <unordered_set>

namespace faultloom::advice {
namespace {

using readings::Instrument;
using readings::SignTruth;
using readings::Thevenin;
using vehicle::none;

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

constexpr std::size_t most_wires = 24;
constexpr std::size_t most_split_faults = 48;
constexpr std::size_t worst_groups = 10;

bool contains(std::span<const Index> list, Index value) {
  return std::find(list.begin(), list.end(), value) != list.end();
}

std::uint64_t mixed(std::uint64_t x) {  // finalizer of splitmix64
  x += 0x9e3779b97f4a7c15U;
  x = (x ^ (x >> 30U)) * 0xbf58476d1ce4e5b9U;
  x = (x ^ (x >> 27U)) * 0x94d049bb133111ebU;
  return x ^ (x >> 31U);
}

/// Sum of mixed items: 128 bits, free of order, and an item can be taken out again.
struct Hash {
  std::uint64_t a = 0;
  std::uint64_t b = 0;
  static Hash of(std::uint64_t place, std::uint64_t value) {
    const auto first = mixed(place * 0x100000001b3U + mixed(value));
    return {first, mixed(first ^ mixed(place + 0x5bd1e995U) ^ value)};
  }
  void add(const Hash& other) { a += other.a, b += other.b; }
  void remove(const Hash& other) { a -= other.a, b -= other.b; }
  friend auto operator<=>(const Hash&, const Hash&) = default;  // NOLINT
};

/// Distributions of outcomes, rounded so that equal answers get equal numbers whatever was asked
/// before.
class Answers {
 public:
  using Distribution = OutcomeTable::Distribution;

  std::uint32_t number(const Distribution& d) {
    std::array<std::int16_t, OutcomeTable::most_outcomes> key{};
    for (std::size_t o = 0; o < key.size(); ++o)
      key[o] = static_cast<std::int16_t>(std::lround(d[o] * steps));
    const auto [entry, added] = known_.emplace(key, static_cast<std::uint32_t>(rows_.size()));
    if (added) {
      rows_.push_back(key);
      likely_.push_back(
          static_cast<std::uint8_t>(std::max_element(key.begin(), key.end()) - key.begin()));
      hashes_.push_back(static_cast<std::uint64_t>(boost::hash_range(key.begin(), key.end())));
    }
    return entry->second;
  }
  [[nodiscard]] std::uint8_t likely(std::uint32_t n) const { return likely_[n]; }
  /// The same for equal answers, in whatever order they were first met.
  [[nodiscard]] std::uint64_t hash(std::uint32_t n) const { return hashes_[n]; }
  [[nodiscard]] bool apart(std::uint32_t x, std::uint32_t y) const {
    int twice = 0;
    for (std::size_t o = 0; o < OutcomeTable::most_outcomes; ++o)
      twice += std::abs(rows_[x][o] - rows_[y][o]);
    return twice >= 2 * told_apart * steps;
  }

 private:
  using Key = std::array<std::int16_t, OutcomeTable::most_outcomes>;
  static constexpr double steps = 400;
  std::unordered_map<Key, std::uint32_t, boost::hash<Key>> known_;
  std::vector<Key> rows_;
  std::vector<std::uint8_t> likely_;
  std::vector<std::uint64_t> hashes_;
};

/// Where an instrument is put in a state: red to the datum, across an element, or a clamp round it.
struct Slot {
  std::size_t instrument = 0;
  Index red = none;
  Index element = none;
  bool clamp = false;
};

/// A state in which tests are made.
struct Situation {
  vehicle::ControlState positions;
  std::vector<Index> lifted;
  bool isolated = false;
  circuit::Stage stage = none;
  int lift = 0;  ///< number of the set of lifted ends
};

/// Ports of a network.
struct Ports {
  std::vector<double> volt;
  std::vector<double> ohm;
  std::vector<double> element_ohm;
  std::vector<double> ampere;  ///< by wire
};

/// A network that others are described against.
struct Reference {
  Ports ports;
  std::vector<std::uint32_t> answers;  ///< by slot
  Hash exact;                          ///< over answers
  Hash likely;                         ///< over most probable outcomes
};

/// What a fault shows in one network, as far as it differs from the reference.
struct Network {
  std::size_t reference = 0;
  std::vector<std::pair<std::uint32_t, std::uint32_t>> changed;  ///< slot, answer
};

/// Everything that one fault, or several just alike, shows.
struct Row {
  std::vector<Network> networks;
  std::vector<std::uint32_t> network_of;  ///< by situation
  std::vector<std::uint8_t> signs;        ///< truths by situation and sign
  std::vector<std::uint32_t> looks;       ///< answers by component looked at
  Hash exact;
  Hash likely;
  std::vector<std::int32_t> faults;  ///< -1: the healthy vehicle
};

/// Pairs of rows that some test tells apart.
class Separation {
 public:
  explicit Separation(std::size_t rows) : words_((rows + 63) / 64), bits_(rows * words_) {}
  [[nodiscard]] std::size_t words() const { return words_; }
  [[nodiscard]] bool apart(std::size_t x, std::size_t y) const {
    return marked(x, y) || marked(y, x);
  }
  /// Each pair has to be marked from one side at least.
  void mark(std::size_t row, const std::vector<std::uint64_t>& others) {
    for (std::size_t w = 0; w < words_; ++w) bits_[row * words_ + w] |= others[w];
  }

 private:
  [[nodiscard]] bool marked(std::size_t x, std::size_t y) const {
    return ((bits_[x * words_ + y / 64] >> (y % 64)) & 1U) != 0;
  }

  std::size_t words_;
  std::vector<std::uint64_t> bits_;
};

using RowSet = std::vector<std::uint64_t>;

template <typename Visit>
void for_each(const RowSet& set, Visit&& visit) {
  for (std::size_t w = 0; w < set.size(); ++w)
    for (auto rest = set[w]; rest != 0; rest &= rest - 1)
      visit(w * 64 + static_cast<std::size_t>(std::countr_zero(rest)));
}

/// Faults and what tests say of them.
struct Sorted {
  std::vector<std::vector<std::int32_t>> groups;
  std::vector<std::int32_t> undetected;  ///< ascending
  std::size_t tests = 0;
  std::size_t distinct = 0;
};

/// Makes every test on every fault.
class Examiner {
 public:
  Examiner(const belief::FaultSpace& space, circuit::Solver& solver,
           const readings::InstrumentSet& set, Reach reach);

  /// Situations without a lifted wire end.
  [[nodiscard]] std::vector<Situation> ordinary() const;
  /// One situation for each contact state of the healthy vehicle.
  [[nodiscard]] std::vector<Situation> few();
  [[nodiscard]] Sorted sort(std::span<const std::int32_t> faults, std::vector<Situation> situations,
                            const Progress& progress);
  [[nodiscard]] bool accessible(Index zone) const {
    return zone == none || !contains(reach_.closed_zones, zone);
  }
  [[nodiscard]] bool wire_accessible(const vehicle::Wire& wire) const;
  /// P("damage" | look at the component, fault); -1: the healthy vehicle.
  [[nodiscard]] double seen(Index component, std::int32_t fault) const;

 private:
  [[nodiscard]] bool touchable(Index terminal) const;
  [[nodiscard]] bool usable(const Instrument& instrument, Index red) const;
  void make_slots();
  void prepare(std::vector<Situation>& situations);
  [[nodiscard]] Row look_at(std::int32_t fault, const std::vector<Situation>& situations);
  void read_signs(const std::vector<Situation>& situations, Row& row);
  [[nodiscard]] std::size_t network(const Situation& situation, Row& row,
                                    std::vector<std::pair<Hash, Hash>>& hashes);
  void take_ports(bool isolated);
  [[nodiscard]] Thevenin port(const Slot& slot, const Ports& ports) const;
  [[nodiscard]] std::uint32_t answer(const Slot& slot);
  void separate(const std::vector<Situation>& situations, std::size_t s, Separation& separation);
  void separate_signs(std::size_t s, Separation& separation);
  void separate_looks(Separation& separation);
  void test(std::map<std::uint32_t, RowSet>& classes, Separation& separation);
  [[nodiscard]] std::vector<std::vector<std::int32_t>> link(const Separation& separation) const;

  const belief::FaultSpace* space_;
  circuit::Solver* solver_;
  const readings::InstrumentSet* set_;
  Reach reach_;
  std::vector<OutcomeTable> tables_;
  Answers answers_;
  std::vector<std::vector<std::int64_t>> answer_of_;  ///< by instrument and code of its table
  std::array<std::vector<Slot>, 2> slots_;            ///< live, isolated
  std::vector<Index> looked_at_;
  std::vector<std::int64_t> wire_of_element_;
  const circuit::Overrides nothing_;
  Ports ports_;
  std::map<std::pair<int, Bits>, std::size_t> reference_of_;
  std::vector<Reference> references_;
  std::vector<Row> rows_;
  std::vector<std::uint64_t> row_hashes_;
  std::uint64_t all_rows_hash_ = 0;
  std::unordered_set<std::uint64_t> seen_tests_;
  std::map<circuit::Stage, std::size_t> place_of_;
  std::size_t tests_ = 0;
};

Examiner::Examiner(const belief::FaultSpace& space, circuit::Solver& solver,
                   const readings::InstrumentSet& set, Reach reach)
    : space_(&space), solver_(&solver), set_(&set), reach_(std::move(reach)) {
  const auto& v = space.vehicle();
  if (reach_.instruments.empty()) {
    reach_.instruments.resize(set.instruments.size());
    std::iota(reach_.instruments.begin(), reach_.instruments.end(), 0);
  }
  std::sort(reach_.instruments.begin(), reach_.instruments.end());
  reach_.instruments.erase(std::unique(reach_.instruments.begin(), reach_.instruments.end()),
                           reach_.instruments.end());
  for (const auto i : reach_.instruments)
    if (i < 0 || at(i) >= set.instruments.size())
      throw Error(Code::argument, "There is no such instrument");
  for (const auto z : reach_.closed_zones)
    if (z < 0 || at(z) >= v.zones.size()) throw Error(Code::argument, "There is no such zone");
  for (std::size_t i = 0; i < set.instruments.size(); ++i)
    tables_.emplace_back(set, static_cast<int>(i), v.nominal_volt);
  answer_of_.resize(tables_.size());
  wire_of_element_.assign(v.elements.size(), -1);
  for (std::size_t w = 0; w < v.wires.size(); ++w)
    if (v.wires[w].element != none)
      wire_of_element_[at(v.wires[w].element)] = static_cast<std::int64_t>(w);
  if (reach_.looks)
    for (std::size_t c = 0; c < v.components.size(); ++c)
      if (accessible(v.components[c].zone)) looked_at_.push_back(static_cast<Index>(c));
  ports_.volt.resize(v.terminals.size());
  ports_.ohm.resize(v.terminals.size());
  ports_.element_ohm.resize(v.elements.size());
  ports_.ampere.resize(v.wires.size());
  make_slots();
}

bool Examiner::touchable(Index terminal) const {
  const auto& t = space_->vehicle().terminals[at(terminal)];
  return t.reachable && accessible(t.zone);
}

bool Examiner::usable(const Instrument& instrument, Index red) const {
  const bool loads =
      (instrument.type == Instrument::Type::lamp && instrument.current_exponent != 1) ||
      (instrument.type == Instrument::Type::voltmeter && instrument.resistance_ohm < 1e5);
  const auto& v = space_->vehicle();
  const auto component = v.terminals[at(red)].component;
  if (!loads || component == none) return true;
  // It would draw enough to damage a logic or sensor output.
  const auto& cautions = v.components[at(component)].cautions;
  return std::find(cautions.begin(), cautions.end(), "lamp_on_logic") == cautions.end();
}

bool Examiner::wire_accessible(const vehicle::Wire& wire) const {
  const auto& v = space_->vehicle();
  const auto& element = v.elements[at(wire.element)];
  return accessible(v.terminals[at(element.a)].zone) || accessible(v.terminals[at(element.b)].zone);
}

void Examiner::make_slots() {
  const auto& v = space_->vehicle();
  for (const auto i : reach_.instruments) {
    const auto& instrument = set_->instruments[at(i)];
    const bool ohms = instrument.type == Instrument::Type::ohmmeter ||
                      instrument.type == Instrument::Type::beeper;
    auto& slots = slots_[ohms ? 1 : 0];
    if (instrument.type == Instrument::Type::clamp) {
      for (const auto& wire : v.wires)
        if (wire.element != none && wire_accessible(wire))
          slots.push_back({at(i), none, wire.element, true});
      continue;
    }
    if (touchable(v.datum))
      for (std::size_t t = 0; t < v.terminals.size(); ++t) {
        const auto red = static_cast<Index>(t);
        if (red != v.datum && touchable(red) && usable(instrument, red))
          slots.push_back({at(i), red, none, false});
      }
    if (!ohms && instrument.type != Instrument::Type::voltmeter) continue;
    for (std::size_t e = 0; e < v.elements.size(); ++e) {
      const auto& element = v.elements[e];
      // An element to the datum has the terminal's own reading.
      if (element.a != v.datum && element.b != v.datum && element.a != element.b &&
          touchable(element.a) && touchable(element.b) && usable(instrument, element.a))
        slots.push_back({at(i), element.a, static_cast<Index>(e), false});
    }
  }
}

std::vector<Situation> Examiner::ordinary() const {
  const auto& v = space_->vehicle();
  std::vector<Situation> situations;
  if (reach_.allow_live)
    for (auto& state : circuit::control_combinations(v))
      situations.push_back({std::move(state), {}});
  if (!v.isolation.lifted_elements.empty())
    situations.push_back({v.rest_state(), v.isolation.lifted_elements, true});
  return situations;
}

std::vector<Situation> Examiner::few() {
  solver_->begin(nothing_);
  std::map<Bits, bool> met;
  std::vector<Situation> situations;
  for (auto& situation : ordinary()) {
    const auto stage = solver_->stage(situation.positions, situation.lifted);
    if (situation.isolated || met.emplace(solver_->settle(stage).closed, true).second)
      situations.push_back(std::move(situation));
  }
  return situations;
}

double Examiner::seen(Index component, std::int32_t fault) const {
  const auto& v = space_->vehicle();
  const double clean = v.components[at(component)].look_false_alarm;
  if (fault < 0) return clean;
  const auto& modes = space_->fault(fault).modes;
  double sum = 0;
  for (const auto m : modes)
    sum += v.modes[at(m)].component == component ? v.modes[at(m)].seen : clean;
  return modes.empty() ? clean : sum / static_cast<double>(modes.size());
}

// ---- what one fault shows ---------------------------------------------------------------------

void Examiner::take_ports(bool isolated) {
  solver_->volts(ports_.volt);
  solver_->resistances(ports_.ohm);
  solver_->element_resistances(ports_.element_ohm);
  const auto& v = space_->vehicle();
  for (const auto& slot : slots_[isolated ? 1 : 0])
    if (slot.clamp) {
      const auto w = static_cast<std::size_t>(wire_of_element_[at(slot.element)]);
      ports_.ampere[w] = solver_->ampere(v.wires[w].element);
    }
}

Thevenin Examiner::port(const Slot& slot, const Ports& ports) const {
  if (slot.clamp)
    return {ports.ampere[static_cast<std::size_t>(wire_of_element_[at(slot.element)])], 0};
  if (slot.element == none) return {ports.volt[at(slot.red)], ports.ohm[at(slot.red)]};
  const auto& element = space_->vehicle().elements[at(slot.element)];
  return {ports.volt[at(element.a)] - ports.volt[at(element.b)],
          ports.element_ohm[at(slot.element)]};
}

std::uint32_t Examiner::answer(const Slot& slot) {
  auto& table = tables_[slot.instrument];
  const auto code = at(table.code(port(slot, ports_)));
  auto& known = answer_of_[slot.instrument];
  if (code >= known.size()) known.resize(code + 1, -1);
  if (known[code] < 0)
    known[code] = answers_.number(table.distribution(static_cast<std::int32_t>(code)));
  return static_cast<std::uint32_t>(known[code]);
}

std::size_t Examiner::network(const Situation& situation, Row& row,
                              std::vector<std::pair<Hash, Hash>>& hashes) {
  solver_->enter(situation.stage);
  take_ports(situation.isolated);
  const auto& slots = slots_[situation.isolated ? 1 : 0];
  const auto key = std::pair(situation.lift, solver_->settle(situation.stage).closed);
  const auto [entry, added] = reference_of_.emplace(key, references_.size());
  if (added) {
    Reference reference;
    reference.ports = ports_;
    for (std::size_t k = 0; k < slots.size(); ++k) {
      const auto n = answer(slots[k]);
      reference.answers.push_back(n);
      reference.exact.add(Hash::of(k, answers_.hash(n)));
      reference.likely.add(Hash::of(k, answers_.likely(n)));
    }
    references_.push_back(std::move(reference));
  }
  const auto& reference = references_[entry->second];
  Network result{entry->second, {}};
  auto exact = reference.exact;
  auto likely = reference.likely;
  for (std::size_t k = 0; k < slots.size(); ++k) {
    const auto now = port(slots[k], ports_);
    const auto then = port(slots[k], reference.ports);
    // Far below what any instrument resolves.
    if (std::abs(now.volt - then.volt) <= 1e-4 &&
        std::abs(now.ohm - then.ohm) <= 1e-3 * then.ohm + 1e-6)
      continue;
    const auto n = answer(slots[k]);
    const auto old = reference.answers[k];
    if (n == old) continue;
    result.changed.emplace_back(static_cast<std::uint32_t>(k), n);
    exact.remove(Hash::of(k, answers_.hash(old)));
    exact.add(Hash::of(k, answers_.hash(n)));
    likely.remove(Hash::of(k, answers_.likely(old)));
    likely.add(Hash::of(k, answers_.likely(n)));
  }
  row.networks.push_back(std::move(result));
  hashes.emplace_back(exact, likely);
  return row.networks.size() - 1;
}

void Examiner::read_signs(const std::vector<Situation>& situations, Row& row) {
  const auto& signs = space_->vehicle().signs;
  if (!reach_.signs || signs.empty()) return;
  std::vector<std::uint8_t> held(situations.size() * signs.size());
  row.signs.assign(held.size(), 0);
  for (std::size_t s = 0; s < situations.size(); ++s) {
    if (situations[s].isolated) continue;
    solver_->enter(situations[s].stage);
    for (std::size_t k = 0; k < signs.size(); ++k)
      held[s * signs.size() + k] = solver_->holds(signs[k].when) ? 1 : 0;
  }
  for (std::size_t s = 0; s < situations.size(); ++s) {
    if (situations[s].isolated) continue;
    const auto stage = situations[s].stage;
    const auto before = place_of_.find(solver_->previous(stage));
    const bool chatters = solver_->settle(stage).chatters;
    for (std::size_t k = 0; k < signs.size(); ++k) {
      auto truth = held[s * signs.size() + k] != 0 ? SignTruth::present : SignTruth::absent;
      if (signs[k].on_change && chatters) {
        truth = SignTruth::chatters;
      } else if (signs[k].on_change && truth == SignTruth::present &&
                 solver_->previous(stage) != none) {
        // The situation before is usually among those looked at; few() may have dropped it.
        if (before == place_of_.end())
          truth = readings::sign_truth(*solver_, static_cast<Index>(k), stage);
        else if (held[before->second * signs.size() + k] != 0)
          truth = SignTruth::absent;
      }
      row.signs[s * signs.size() + k] = static_cast<std::uint8_t>(truth);
    }
  }
}

Row Examiner::look_at(std::int32_t fault, const std::vector<Situation>& situations) {
  Row row;
  row.faults = {fault};
  if (fault < 0)
    solver_->begin(nothing_);
  else
    solver_->begin(space_->fault(fault).overrides, space_->fault(fault).settings);
  std::map<std::pair<int, Bits>, std::size_t> met;
  std::vector<std::pair<Hash, Hash>> hashes;
  row.network_of.resize(situations.size());
  for (std::size_t s = 0; s < situations.size(); ++s) {
    const auto& situation = situations[s];
    const auto [entry, added] =
        met.emplace(std::pair(situation.lift, solver_->settle(situation.stage).closed), 0);
    if (added) entry->second = network(situation, row, hashes);
    row.network_of[s] = static_cast<std::uint32_t>(entry->second);
    row.exact.add(Hash::of(s, hashes[entry->second].first.a ^ hashes[entry->second].first.b));
    row.likely.add(Hash::of(s, hashes[entry->second].second.a ^ hashes[entry->second].second.b));
  }
  read_signs(situations, row);
  const auto both = [&](std::uint64_t place, std::uint64_t exact, std::uint64_t likely) {
    row.exact.add(Hash::of(place, exact));
    row.likely.add(Hash::of(place, likely));
  };
  for (std::size_t k = 0; k < row.signs.size(); ++k)
    both((std::uint64_t{1} << 40U) + k, row.signs[k], row.signs[k]);
  for (const auto c : looked_at_) {
    const double p = seen(c, fault);
    const auto n = answers_.number({p, 1 - p});
    row.looks.push_back(n);
    both((std::uint64_t{1} << 41U) + at(c), answers_.hash(n), answers_.likely(n));
  }
  return row;
}

// ---- pairs of faults --------------------------------------------------------------------------

void Examiner::test(std::map<std::uint32_t, RowSet>& classes, Separation& separation) {
  if (classes.size() < 2) return;
  std::vector<const RowSet*> sets;
  std::vector<std::uint32_t> numbers;
  std::size_t largest = 0;
  std::size_t most = 0;
  for (const auto& [number, set] : classes) {
    std::size_t count = 0;
    for (const auto word : set) count += static_cast<std::size_t>(std::popcount(word));
    if (count == 0) continue;
    if (count > most) largest = sets.size(), most = count;
    sets.push_back(&set);
    numbers.push_back(number);
  }
  // Nearly all rows are in the largest class: it is left to the others to look at and to mark.
  std::vector<std::uint64_t> hashes(sets.size());
  std::uint64_t rest = all_rows_hash_;
  for (std::size_t x = 0; x < sets.size(); ++x) {
    if (x == largest) continue;
    for_each(*sets[x], [&](std::size_t r) { hashes[x] += row_hashes_[r]; });
    rest -= hashes[x];
  }
  if (!sets.empty()) hashes[largest] = rest;
  std::uint64_t pattern = 0;
  std::vector<RowSet> others(sets.size());
  for (std::size_t x = 0; x < sets.size(); ++x)
    for (std::size_t y = x + 1; y < sets.size(); ++y) {
      if (!answers_.apart(numbers[x], numbers[y])) continue;
      pattern += mixed(hashes[x] + hashes[y]) ^ mixed(hashes[x] ^ hashes[y]);
      for (const auto& [one, other] : {std::pair(x, y), std::pair(y, x)}) {
        others[one].resize(separation.words(), 0);
        for (std::size_t w = 0; w < separation.words(); ++w) others[one][w] |= (*sets[other])[w];
      }
    }
  if (pattern == 0 || !seen_tests_.insert(pattern).second) return;
  for (std::size_t x = 0; x < sets.size(); ++x)
    if (x != largest && !others[x].empty())
      for_each(*sets[x], [&](std::size_t r) { separation.mark(r, others[x]); });
}

void Examiner::separate(const std::vector<Situation>& situations, std::size_t s,
                        Separation& separation) {
  const auto& slots = slots_[situations[s].isolated ? 1 : 0];
  std::map<std::size_t, RowSet> by_reference;
  std::vector<std::vector<std::pair<std::size_t, std::uint32_t>>> changed(slots.size());
  for (std::size_t r = 0; r < rows_.size(); ++r) {
    const auto& network = rows_[r].networks[rows_[r].network_of[s]];
    auto& set = by_reference[network.reference];
    set.resize(separation.words(), 0);
    set[r / 64] |= std::uint64_t{1} << (r % 64);
    for (const auto& [slot, number] : network.changed) changed[slot].emplace_back(r, number);
  }
  std::map<std::uint32_t, RowSet> classes;
  for (std::size_t k = 0; k < slots.size(); ++k) {
    ++tests_;
    classes.clear();
    for (const auto& [reference, rows] : by_reference) {
      auto& set = classes[references_[reference].answers[k]];
      set.resize(separation.words(), 0);
      for (std::size_t w = 0; w < set.size(); ++w) set[w] |= rows[w];
    }
    for (const auto& [r, number] : changed[k]) {
      const auto mask = std::uint64_t{1} << (r % 64);
      const auto reference = rows_[r].networks[rows_[r].network_of[s]].reference;
      classes[references_[reference].answers[k]][r / 64] &= ~mask;
      auto& set = classes[number];
      set.resize(separation.words(), 0);
      set[r / 64] |= mask;
    }
    test(classes, separation);
  }
}

void Examiner::separate_signs(std::size_t s, Separation& separation) {
  using readings::Outcome;
  const auto& signs = space_->vehicle().signs;
  if (rows_.front().signs.empty()) return;
  for (std::size_t k = 0; k < signs.size(); ++k) {
    ++tests_;
    const auto& sense = set_->sense(signs[k].sense);
    std::map<std::uint32_t, RowSet> classes;
    std::array<std::uint32_t, 3> numbers{};
    for (const auto truth : {SignTruth::absent, SignTruth::present, SignTruth::chatters}) {
      OutcomeTable::Distribution d{};
      std::size_t o = 0;
      for (const auto word : {Outcome::yes, Outcome::no, Outcome::chatters})
        d[o++] = (1 - sense.wrong_state) * readings::sign_probability(sense, word, truth) +
                 (word == Outcome::chatters ? 0 : sense.wrong_state / 2);
      numbers[static_cast<std::size_t>(truth)] = answers_.number(d);
    }
    for (std::size_t r = 0; r < rows_.size(); ++r) {
      auto& set = classes[numbers[rows_[r].signs[s * signs.size() + k]]];
      set.resize(separation.words(), 0);
      set[r / 64] |= std::uint64_t{1} << (r % 64);
    }
    test(classes, separation);
  }
}

void Examiner::separate_looks(Separation& separation) {
  for (std::size_t k = 0; k < looked_at_.size(); ++k) {
    ++tests_;
    std::map<std::uint32_t, RowSet> classes;
    for (std::size_t r = 0; r < rows_.size(); ++r) {
      auto& set = classes[rows_[r].looks[k]];
      set.resize(separation.words(), 0);
      set[r / 64] |= std::uint64_t{1} << (r % 64);
    }
    test(classes, separation);
  }
}

std::vector<std::vector<std::int32_t>> Examiner::link(const Separation& separation) const {
  std::vector<std::size_t> root(rows_.size());
  std::iota(root.begin(), root.end(), std::size_t{0});
  const auto find = [&](std::size_t r) {
    while (root[r] != r) r = root[r] = root[root[r]];
    return r;
  };
  // Row 0 is the healthy vehicle: two faults that each look healthy link by themselves if they do.
  std::map<Hash, std::size_t> by_likely;
  for (std::size_t x = 1; x < rows_.size(); ++x) {
    const auto [entry, added] = by_likely.emplace(rows_[x].likely, x);
    if (!added) root[find(x)] = find(entry->second);
    for (std::size_t y = x + 1; y < rows_.size(); ++y)
      if (!separation.apart(x, y)) root[find(y)] = find(x);
  }
  std::map<std::size_t, std::vector<std::int32_t>> sets;
  for (std::size_t x = 1; x < rows_.size(); ++x) {
    auto& set = sets[find(x)];
    set.insert(set.end(), rows_[x].faults.begin(), rows_[x].faults.end());
  }
  std::vector<std::vector<std::int32_t>> groups;
  for (auto& [r, set] : sets) {
    std::sort(set.begin(), set.end());
    groups.push_back(std::move(set));
  }
  return groups;
}

void Examiner::prepare(std::vector<Situation>& situations) {
  std::map<std::pair<bool, std::vector<Index>>, int> lifts;
  place_of_.clear();
  for (std::size_t s = 0; s < situations.size(); ++s) {
    auto& situation = situations[s];
    situation.stage = solver_->stage(situation.positions, situation.lifted);
    situation.lift = lifts
                         .emplace(std::pair(situation.isolated, situation.lifted),
                                  static_cast<int>(lifts.size()))
                         .first->second;
    if (!situation.isolated) place_of_[situation.stage] = s;
  }
  reference_of_.clear();
  references_.clear();
  rows_.clear();
  seen_tests_.clear();
  tests_ = 0;
}

Sorted Examiner::sort(std::span<const std::int32_t> faults, std::vector<Situation> situations,
                      const Progress& progress) {
  prepare(situations);
  std::map<Hash, std::size_t> known;
  rows_.push_back(look_at(-1, situations));
  for (std::size_t k = 0; k < faults.size(); ++k) {
    if (k % 16 == 0)
      report(progress, 0.7 * static_cast<double>(k) / static_cast<double>(faults.size()));
    auto row = look_at(faults[k], situations);
    const auto [entry, added] = known.emplace(row.exact, rows_.size());
    if (added)
      rows_.push_back(std::move(row));
    else
      rows_[entry->second].faults.push_back(faults[k]);
  }
  row_hashes_.resize(rows_.size());
  for (std::size_t r = 0; r < rows_.size(); ++r) row_hashes_[r] = mixed(r);
  all_rows_hash_ = std::accumulate(row_hashes_.begin(), row_hashes_.end(), std::uint64_t{0});
  Separation separation(rows_.size());
  for (std::size_t s = 0; s < situations.size(); ++s) {
    report(progress, 0.7 + 0.3 * static_cast<double>(s) / static_cast<double>(situations.size()));
    separate(situations, s, separation);
    if (!situations[s].isolated) separate_signs(s, separation);
  }
  separate_looks(separation);
  Sorted result{link(separation), {}, tests_, seen_tests_.size()};
  for (std::size_t r = 1; r < rows_.size(); ++r)
    if (!separation.apart(0, r))
      result.undetected.insert(result.undetected.end(), rows_[r].faults.begin(),
                               rows_[r].faults.end());
  std::sort(result.undetected.begin(), result.undetected.end());
  return result;
}

// ---- groups -----------------------------------------------------------------------------------

double weight_of(std::span<const double> weights, std::int32_t fault) {
  return weights.empty() ? 1.0 : weights[at(fault)];
}

AmbiguityGroup describe(const belief::FaultSpace& space, std::vector<std::int32_t> faults,
                        std::span<const double> weights,
                        const std::vector<std::int32_t>& undetected) {
  AmbiguityGroup group;
  group.faults = std::move(faults);
  group.shows_nothing = true;
  for (const auto f : group.faults) {
    const auto& fault = space.fault(f);
    group.weight += weight_of(weights, f);
    for (const auto m : fault.modes)
      group.components.push_back(space.vehicle().modes[at(m)].component);
    group.variables.push_back(fault.variable);
    group.shows_nothing = group.shows_nothing && fault.overrides.empty() && fault.settings.empty();
    group.intermittent = group.intermittent || fault.duty.a > 0;
    group.like_no_fault =
        group.like_no_fault || std::binary_search(undetected.begin(), undetected.end(), f);
  }
  for (auto* list : {&group.components, &group.variables}) {
    std::sort(list->begin(), list->end());
    list->erase(std::unique(list->begin(), list->end()), list->end());
  }
  return group;
}

/// Wires that end at terminals of the components or are among them, the group's own first.
std::vector<Index> wires_near(const vehicle::Vehicle& v, std::span<const Index> components) {
  std::vector<Index> own;
  std::vector<Index> next;
  std::vector<bool> touched(v.terminals.size(), false);
  const auto is_own = [&](const vehicle::Wire& w) {
    return contains(components, w.component) || contains(components, w.from_end) ||
           contains(components, w.to_end);
  };
  for (const auto c : components)
    for (const auto t : v.components[at(c)].terminals) touched[at(t)] = true;
  for (std::size_t w = 0; w < v.wires.size(); ++w) {
    if (v.wires[w].element == none) continue;
    const auto& e = v.elements[at(v.wires[w].element)];
    if (is_own(v.wires[w]))
      own.push_back(static_cast<Index>(w));
    else if (touched[at(e.a)] || touched[at(e.b)])
      next.push_back(static_cast<Index>(w));
  }
  own.insert(own.end(), next.begin(), next.end());
  if (own.size() > most_wires) own.resize(most_wires);
  return own;
}

/// The isolated situation with each wire lifted in turn; first without any.
std::vector<Situation> isolated_lifts(const vehicle::Vehicle& v, const Examiner& examiner,
                                      std::span<const Index> wires) {
  std::vector<Situation> situations;
  for (const auto w : wires) {
    const auto& wire = v.wires[at(w)];
    if (!examiner.wire_accessible(wire)) continue;
    auto lifted = v.isolation.lifted_elements;
    if (!contains(lifted, wire.element)) lifted.push_back(wire.element);
    situations.push_back({v.rest_state(), std::move(lifted), true});
  }
  return situations;
}

/// Splits groups of several things further by lifting wires near them.
void refine_by_lifting(const belief::FaultSpace& space, Examiner& examiner, Sorted& sorted,
                       const Progress& progress) {
  const auto& v = space.vehicle();
  if (v.isolation.lifted_elements.empty()) return;
  std::vector<std::vector<std::int32_t>> finer;
  for (auto& faults : sorted.groups) {
    report(progress, 1);
    const auto group = describe(space, faults, {}, {});
    const auto wires = wires_near(v, group.components);
    if (group.components.size() < 2 || wires.empty() || group.shows_nothing) {
      finer.push_back(std::move(faults));
      continue;
    }
    auto split = examiner.sort(faults, isolated_lifts(v, examiner, wires), {});
    sorted.tests += split.tests;
    sorted.distinct += split.distinct;
    for (auto& part : split.groups) finer.push_back(std::move(part));
    // Told from the healthy vehicle with a wire lifted counts as detected.
    std::vector<std::int32_t> left;
    for (const auto f : sorted.undetected)
      if (!std::binary_search(faults.begin(), faults.end(), f) ||
          std::binary_search(split.undetected.begin(), split.undetected.end(), f))
        left.push_back(f);
    sorted.undetected = std::move(left);
  }
  sorted.groups = std::move(finer);
}

std::vector<std::int32_t> checked(const belief::FaultSpace& space,
                                  std::span<const std::int32_t> faults,
                                  std::span<const double> weights) {
  if (!weights.empty() && weights.size() != space.faults().size())
    throw Error(Code::argument, "Weights must be given for each fault of the vehicle, or for none");
  std::vector<std::int32_t> result(faults.begin(), faults.end());
  if (result.empty()) {
    result.resize(space.faults().size());
    std::iota(result.begin(), result.end(), 0);
  }
  std::sort(result.begin(), result.end());
  result.erase(std::unique(result.begin(), result.end()), result.end());
  if (!result.empty() && (result.front() < 0 || at(result.back()) >= space.faults().size()))
    throw Error(Code::argument, "There is no such fault");
  return result;
}

std::vector<AmbiguityGroup> described(const belief::FaultSpace& space, Sorted& sorted,
                                      std::span<const double> weights) {
  std::vector<AmbiguityGroup> groups;
  for (auto& faults : sorted.groups)
    groups.push_back(describe(space, std::move(faults), weights, sorted.undetected));
  std::sort(groups.begin(), groups.end(), [](const auto& x, const auto& y) {
    return x.weight != y.weight ? x.weight > y.weight : x.faults < y.faults;
  });
  return groups;
}

Sorted sorted_by_all(const belief::FaultSpace& space, circuit::Solver& solver,
                     const readings::InstrumentSet& instruments, const Reach& reach,
                     std::span<const std::int32_t> faults, const Progress& progress) {
  Examiner examiner(space, solver, instruments, reach);
  auto sorted = examiner.sort(faults, examiner.ordinary(), progress);
  if (reach.lifting) refine_by_lifting(space, examiner, sorted, progress);
  return sorted;
}

// ---- splitting --------------------------------------------------------------------------------

/// Sum over parts of sum over variables (weight)^2 / weight of the part: 1 - this is what is left
/// open.
double concentration(const belief::FaultSpace& space, std::span<const double> weights,
                     const std::vector<std::vector<std::int32_t>>& parts) {
  double sum = 0;
  for (const auto& part : parts) {
    std::map<std::int32_t, double> by_variable;
    double mass = 0;
    for (const auto f : part) {
      by_variable[space.fault(f).variable] += weight_of(weights, f);
      mass += weight_of(weights, f);
    }
    for (const auto& [variable, w] : by_variable)
      if (mass > 0) sum += w * w / mass;
  }
  return sum;
}

/// Tries things on one group and keeps the best.
class SplitSearch {
 public:
  SplitSearch(const belief::FaultSpace& space, const readings::InstrumentSet& set, Reach reach,
              const AmbiguityGroup& group, std::span<const double> weights)
      : space_(&space),
        set_(&set),
        reach_(std::move(reach)),
        group_(&group),
        weights_(weights),
        solver_(space.circuit()),
        faults_(group.faults) {
    std::stable_sort(faults_.begin(), faults_.end(), [&](std::int32_t x, std::int32_t y) {
      return weight_of(weights_, x) > weight_of(weights_, y);
    });
    if (faults_.size() > most_split_faults) faults_.resize(most_split_faults);
    std::sort(faults_.begin(), faults_.end());
    for (const auto f : faults_) mass_ += weight_of(weights_, f);
    before_ = concentration(space, weights, {faults_});
    reach_.looks = false;
    reach_.lifting = false;
  }

  [[nodiscard]] Splitter best(bool with_looks, bool with_lifts, const Progress& progress) {
    if (mass_ <= 0) return {};
    Examiner examiner(*space_, solver_, *set_, reach_);
    if (with_looks) look(examiner);
    report(progress, 0.1);
    if (with_lifts) lift(examiner, progress);
    instrument(progress);
    zone(progress);
    return best_;
  }

 private:
  void offer(Splitter&& splitter) {
    if (splitter.parts.size() > 1)
      splitter.separated = (concentration(*space_, weights_, splitter.parts) - before_) / mass_;
    if (splitter.separated < best_.separated + 1e-12) return;
    std::stable_sort(splitter.parts.begin(), splitter.parts.end(),
                     [&](const auto& x, const auto& y) {
                       const auto sum = [&](const auto& part) {
                         double total = 0;
                         for (const auto f : part) total += weight_of(weights_, f);
                         return total;
                       };
                       return sum(x) > sum(y);
                     });
    best_ = std::move(splitter);
  }

  void look(const Examiner& examiner) {
    const auto& v = space_->vehicle();
    for (const auto c : group_->components) {
      if (!examiner.accessible(v.components[at(c)].zone)) continue;
      std::map<std::int32_t, std::array<double, 2>> by_variable;
      std::array<double, 2> mass{};
      for (const auto f : faults_) {
        const double p = examiner.seen(c, f);
        for (const std::size_t o : {std::size_t{0}, std::size_t{1}}) {
          const double w = weight_of(weights_, f) * (o == 0 ? p : 1 - p);
          by_variable[space_->fault(f).variable][o] += w;
          mass[o] += w;
        }
      }
      double after = 0;
      for (const auto& [variable, w] : by_variable)
        for (const std::size_t o : {std::size_t{0}, std::size_t{1}})
          if (mass[o] > 0) after += w[o] * w[o] / mass[o];
      Splitter splitter{.type = Splitter::Type::look, .component = c, .parts = {faults_}};
      splitter.separated = (after - before_) / mass_;
      offer(std::move(splitter));
    }
  }

  void lift(Examiner& examiner, const Progress& progress) {
    const auto& v = space_->vehicle();
    const auto few = examiner.few();
    const auto wires = wires_near(v, group_->components);
    for (std::size_t k = 0; k < wires.size(); ++k) {
      report(progress, 0.1 + 0.6 * static_cast<double>(k) / static_cast<double>(wires.size()));
      const auto& wire = v.wires[at(wires[k])];
      if (!examiner.wire_accessible(wire)) continue;
      std::vector<Situation> situations;
      bool live = false;
      for (auto situation : few) {
        if (wire.power && !situation.isolated) continue;
        if (!contains(situation.lifted, wire.element)) situation.lifted.push_back(wire.element);
        live = live || !situation.isolated;
        situations.push_back(std::move(situation));
      }
      if (situations.empty()) continue;
      offer({.type = Splitter::Type::lift,
             .component = wire.component,
             .isolated = !live,
             .parts = examiner.sort(faults_, std::move(situations), {}).groups});
    }
  }

  void offer_reach(const Reach& wider, Splitter splitter) {
    Examiner examiner(*space_, solver_, *set_, wider);
    splitter.parts = examiner.sort(faults_, examiner.few(), {}).groups;
    offer(std::move(splitter));
  }

  void instrument(const Progress& progress) {
    report(progress, 0.7);
    if (reach_.instruments.empty()) return;
    for (std::size_t i = 0; i < set_->instruments.size(); ++i) {
      if (contains(reach_.instruments, static_cast<Index>(i))) continue;
      auto wider = reach_;
      wider.instruments.push_back(static_cast<int>(i));
      offer_reach(wider, {.type = Splitter::Type::instrument, .instrument = static_cast<int>(i)});
    }
  }

  void zone(const Progress& progress) {
    report(progress, 0.85);
    for (const auto z : reach_.closed_zones) {
      auto wider = reach_;
      std::erase(wider.closed_zones, z);
      offer_reach(wider, {.type = Splitter::Type::zone, .zone = z});
    }
  }

  const belief::FaultSpace* space_;
  const readings::InstrumentSet* set_;
  Reach reach_;
  const AmbiguityGroup* group_;
  std::span<const double> weights_;
  circuit::Solver solver_;  ///< its own: stages with lifted ends would stay in the caller's
  std::vector<std::int32_t> faults_;
  double mass_ = 0;
  double before_ = 0;
  Splitter best_;
};

}  // namespace

std::vector<AmbiguityGroup> ambiguity_groups(const belief::FaultSpace& space,
                                             circuit::Solver& solver,
                                             const readings::InstrumentSet& instruments,
                                             const Reach& reach,
                                             std::span<const std::int32_t> faults,
                                             std::span<const double> weights,
                                             const Progress& progress) {
  const auto list = checked(space, faults, weights);
  auto sorted = sorted_by_all(space, solver, instruments, reach, list, progress);
  return described(space, sorted, weights);
}

Splitter best_splitter(const belief::FaultSpace& space, const readings::InstrumentSet& instruments,
                       const Reach& reach, const AmbiguityGroup& group,
                       std::span<const double> weights, const Progress& progress) {
  if (group.faults.empty()) return {};
  checked(space, group.faults, weights);
  if (group.components.size() < 2) return {};
  SplitSearch search(space, instruments, reach, group, weights);
  return search.best(!reach.looks, !reach.lifting, progress);
}

Testability testability(const belief::FaultSpace& space, circuit::Solver& solver,
                        const readings::InstrumentSet& instruments, const Reach& reach,
                        std::span<const double> prior_by_fault, const Progress& progress,
                        bool wires_as_one) {
  const auto list = checked(space, {}, prior_by_fault);
  auto sorted = sorted_by_all(space, solver, instruments, reach, list, progress);
  Testability result;
  result.tests = sorted.tests;
  result.distinct_tests = sorted.distinct;
  double undetected = 0;
  for (const auto f : sorted.undetected) undetected += weight_of(prior_by_fault, f);
  for (const auto f : list) result.weight += weight_of(prior_by_fault, f);
  result.groups = described(space, sorted, prior_by_fault);
  if (result.weight <= 0) return result;
  const auto things = [&](const AmbiguityGroup& group) {
    return wires_as_one ? group.variables.size() : group.components.size();
  };
  for (std::size_t g = 0; g < result.groups.size(); ++g) {
    const auto count = things(result.groups[g]);
    const double share = result.groups[g].weight / result.weight;
    if (count <= 1) result.isolated_to_one += share;
    if (count <= 2) result.isolated_to_two += share;
    result.mean_group_size += share * static_cast<double>(count);
    if (count > 1) result.worst.push_back(g);
  }
  result.detected = std::clamp(1 - undetected / result.weight, 0.0, 1.0);
  const auto badness = [&](std::size_t g) {
    return result.groups[g].weight * static_cast<double>(things(result.groups[g]) - 1);
  };
  std::stable_sort(result.worst.begin(), result.worst.end(),
                   [&](std::size_t x, std::size_t y) { return badness(x) > badness(y); });
  if (result.worst.size() > worst_groups) result.worst.resize(worst_groups);
  return result;
}

}  // namespace faultloom::advice

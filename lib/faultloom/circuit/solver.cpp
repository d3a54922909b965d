#include <faultloom/circuit/solver.hpp>

#include <algorithm>
#include <cmath>
#include <faultloom/base/error.hpp>

namespace faultloom::circuit {
namespace {

using vehicle::Atom;
using vehicle::Condition;

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

bool apply_hysteresis(const Atom& atom, double value, double factor, bool before) {
  if (value >= atom.rises * factor) return true;
  if (before && atom.stays) return true;
  return before && value > atom.falls * factor;
}

}  // namespace

Solver::Solver(const Circuit& circuit)
    : circuit_(&circuit),
      overrides_(&no_overrides_),
      work_(circuit.plan().numeric_size()),
      marks_(at(circuit.plan().node_count()), 0),
      own_marks_(at(circuit.plan().node_count()), 0),
      touched_(at(circuit.plan().node_count())),
      branch_marks_(circuit.vehicle().elements.size(), 0),
      branch_work_(circuit.vehicle().elements.size()),
      volts_(at(circuit.plan().node_count())),
      volt_marks_(at(circuit.plan().node_count()), 0),
      wanted_(at(circuit.plan().node_count())),
      all_ranks_(at(circuit.plan().node_count())),
      unit_(at(circuit.plan().node_count())) {
  for (std::size_t rank = 0; rank < unit_.size(); ++rank) all_ranks_.set(rank);
}

// ---- stages ------------------------------------------------------------------------------------

Stage Solver::stage(const vehicle::ControlState& positions, std::span<const Index> lifted,
                    std::span<const Index> bridged) {
  const auto& controls = circuit_->vehicle().controls;
  if (positions.size() != controls.size())
    throw Error(Code::argument, "A control state needs one position for each control");
  for (std::size_t c = 0; c < controls.size(); ++c)
    if (positions[c] < 0 || at(positions[c]) >= controls[c].positions.size())
      throw Error(Code::argument, "Control '" + controls[c].id + "' has no such position");
  Rigging rigging{{lifted.begin(), lifted.end()}, {bridged.begin(), bridged.end()}};
  for (auto* list : {&rigging.lifted, &rigging.bridged}) {
    std::sort(list->begin(), list->end());
    list->erase(std::unique(list->begin(), list->end()), list->end());
  }
  const auto found = stage_by_key_.find({positions, rigging});
  if (found != stage_by_key_.end()) return found->second;

  // The stage before: the control moved last (highest order, then highest index) goes back to rest.
  Index last = none;
  for (std::size_t c = 0; c < controls.size(); ++c)
    if (positions[c] != controls[c].rest &&
        (last == none || controls[c].order >= controls[at(last)].order))
      last = static_cast<Index>(c);
  StageData data;
  if (last != none) {
    auto before = positions;
    before[at(last)] = controls[at(last)].rest;
    data.parent = stage(before, rigging.lifted, rigging.bridged);
  }
  data.positions = positions;
  data.rigging = rigging;
  data.lifted_elements = Bits(circuit_->vehicle().elements.size());
  for (const auto e : rigging.lifted) {
    data.lifted_elements.set(at(e));
    for (const auto follower : circuit_->followers(e)) data.lifted_elements.set(at(follower));
  }
  const auto& contacts = circuit_->contacts();
  const Bits no_atoms(circuit_->vehicle().atoms.size());
  data.by_controls = Bits(contacts.size());
  for (std::size_t c = 0; c < contacts.size(); ++c)
    data.by_controls.set(c, evaluate(circuit_->vehicle().elements[at(contacts[c])].closed_when,
                                     positions, no_atoms));
  const auto handle = static_cast<Stage>(stages_.size());
  stages_.push_back(std::move(data));
  results_.emplace_back();
  stage_by_key_.emplace(std::pair{positions, std::move(rigging)}, handle);

  // Settle the healthy network once and keep each contact state it passes through as a starting point.
  // It has no settings left wrong; those of the present candidate stay.
  const auto* kept = overrides_;
  overrides_ = &no_overrides_;
  ++candidate_;
  recording_ = true;
  settle_actual(handle);
  recording_ = false;
  overrides_ = kept;
  ++candidate_;
  return handle;
}

Solver::BasePtr Solver::make_base(const StageData& stage, const Bits& closed) {
  auto& pool = bases_by_rigging_[stage.rigging];
  for (const auto& base : pool)
    if (base->closed == closed) return base;
  auto base = std::make_shared<Base>();
  base->closed = closed;
  base->values = circuit_->healthy();
  const auto drop = [&](std::size_t e) {
    base->values.siemens[e] = 0;
    base->values.ampere[e] = 0;
  };
  for (std::size_t c = 0; c < circuit_->contacts().size(); ++c)
    if (!closed.test(c)) drop(at(circuit_->contacts()[c]));
  for (const auto e : stage.rigging.bridged) base->values.siemens[at(e)] += lead_siemens;
  for (const auto e : stage.rigging.lifted) drop(at(e));
  const auto& plan = circuit_->plan();
  base->numeric.resize(plan.numeric_size());
  eliminate_all(plan, base->values, base->numeric);
  base->begun.resize(plan.numeric_size());
  const auto value = [&](std::int32_t b) {
    return std::pair{base->values.siemens[at(b)], base->values.ampere[at(b)]};
  };
  for (std::int32_t k = 0; k < plan.node_count(); ++k) {
    const auto& front = plan.front(k);
    const auto* child = plan.children() + front.first_child;
    double* begun = base->begun.data() + front.offset;
    start_node(plan, k, begun, value);
    for (std::int32_t i = 0; i + 1 < front.child_count; ++i)
      add_child(plan, child[i], base->numeric.data() + plan.front(child[i].rank).offset, begun);
  }
  pool.push_back(base);
  return base;
}

const Solver::Base& Solver::nearest_base(const StageData& stage, const Bits& closed) const {
  const Base* best = nullptr;
  std::size_t best_count = 0;
  for (const auto& base : stage.bases) {
    const auto count = base->closed.differences(closed);
    if (best == nullptr || count < best_count) {
      best = base.get();
      best_count = count;
    }
  }
  return *best;
}

// ---- settling ----------------------------------------------------------------------------------

void Solver::begin(const Overrides& overrides, std::span<const Setting> settings) {
  overrides_ = &overrides;
  ++candidate_;
  settings_.assign(settings.begin(), settings.end());
  actual_ = settings_.empty() ? nullptr : &actual_by_settings_[settings_];
}

Stage Solver::actual(Stage stated) {
  if (actual_ == nullptr) return stated;
  const auto [entry, added] = actual_->emplace(stated, none);
  if (added) {
    auto positions = stages_[at(stated)].positions;
    for (const auto& setting : settings_) positions[at(setting.control)] = setting.position;
    const auto rigging = stages_[at(stated)].rigging;
    entry->second = stage(positions, rigging.lifted, rigging.bridged);
  }
  return entry->second;
}

const Override* Solver::override_of(Index element) const {
  for (const auto& o : *overrides_)
    if (o.element == element) return &o;
  return nullptr;
}

bool Solver::evaluate(const Condition& condition, const vehicle::ControlState& positions,
                      const Bits& atoms) const {
  // Postfix with a bit stack: conditions are shallow, 64 operands deep is far beyond any kind.
  std::uint64_t stack = 0;
  for (const auto& op : condition.ops) {
    switch (op.type) {
      case Condition::Op::Type::constant:
        stack = (stack << 1U) | (op.count != 0 ? 1U : 0U);
        break;
      case Condition::Op::Type::control:
        stack = (stack << 1U) | ((op.mask >> positions[at(op.index)]) & 1U);
        break;
      case Condition::Op::Type::atom:
        stack = (stack << 1U) | (atoms.test(at(op.index)) ? 1U : 0U);
        break;
      case Condition::Op::Type::negate:
        stack ^= 1U;
        break;
      case Condition::Op::Type::all:
      case Condition::Op::Type::any: {
        const std::uint64_t mask = (std::uint64_t{1} << op.count) - 1;
        const std::uint64_t operands = stack & mask;
        const bool value = op.type == Condition::Op::Type::all ? operands == mask : operands != 0;
        stack = ((stack >> op.count) << 1U) | (value ? 1U : 0U);
        break;
      }
    }
  }
  return (stack & 1U) != 0;
}

void Solver::contacts_from(const StageData& stage, const Bits& atoms, Bits& closed) const {
  closed = stage.by_controls;
  for (const auto c : circuit_->driven_contacts())
    closed.set(at(c),
               evaluate(circuit_->vehicle().elements[at(circuit_->contacts()[at(c)])].closed_when,
                        stage.positions, atoms));
  for (const auto& o : *overrides_)
    if (const auto c = circuit_->contact_of(o.element); c != none && o.stuck >= 0)
      closed.set(at(c), o.stuck == 1);
}

double Solver::known_volt(Index terminal) const {
  const auto rank = circuit_->rank_of_terminal(terminal);
  return rank < 0 ? 0.0 : volts_[at(rank)];
}

double Solver::atom_number(Index atom_index) const {
  const auto& atom = circuit_->vehicle().atoms[at(atom_index)];
  if (atom.type == Atom::Type::volts) {
    const double volt = known_volt(atom.a) - known_volt(atom.b);
    return atom.either_way ? std::abs(volt) : volt;
  }
  const auto& element = circuit_->vehicle().elements[at(atom.element)];
  const auto [siemens, ampere] = branch(atom.element);
  return std::abs(siemens * (known_volt(element.a) - known_volt(element.b)) - ampere);
}

double Solver::atom_reading(Index atom_index) {
  const auto& atom = circuit_->vehicle().atoms[at(atom_index)];
  if (atom.type == Atom::Type::volts) {
    volt(atom.a);
    volt(atom.b);
  } else {
    ampere(atom.element);
  }
  return atom_number(atom_index);
}

bool Solver::atom_value(Index atom_index, bool before) {
  const auto& atom = circuit_->vehicle().atoms[at(atom_index)];
  double factor = 1;
  double sign = 1;
  for (const auto& o : *overrides_) {
    if (o.threshold_factor == 1 && !o.reversed) continue;
    const auto& element = circuit_->vehicle().elements[at(o.element)];
    if (std::find(element.atoms.begin(), element.atoms.end(), atom_index) == element.atoms.end())
      continue;
    factor *= o.threshold_factor;
    // A source turned round has no atom of its own; only a diode senses along its own direction.
    if (o.reversed && element.type == vehicle::ElementType::diode) sign = -sign;
  }
  const double number = atom_number(atom_index);
  // Without a direction of its own the magnitude counts, which a reversal leaves as it is.
  const double value = atom.type == Atom::Type::volts && !atom.either_way ? sign * number : number;
  return apply_hysteresis(atom, value, factor, before);
}

void Solver::update_atoms(Bits& atoms) {
  substitute(circuit_->sensed_ranks());
  for (const auto a : circuit_->driving_atoms()) atoms.set(at(a), atom_value(a, atoms.test(at(a))));
}

const Settled& Solver::settle(Stage stage_index) { return settle_actual(actual(stage_index)); }

const Settled& Solver::settle_actual(Stage stage_index) {
  auto& slot = results_[at(stage_index)];
  if (slot.candidate == candidate_) return slot.settled;
  const Stage parent = stages_[at(stage_index)].parent;
  if (parent != none) settle_actual(parent);
  auto& stage = stages_[at(stage_index)];
  auto& result = results_[at(stage_index)].settled;
  result.previous = parent;
  result.chatters = false;
  if (parent != none) {
    const auto& before = results_[at(parent)].settled;
    result.atoms = before.atoms;
    result.closed = before.closed;
    result.chattering = before.chattering;
  } else {
    result.atoms = Bits(circuit_->vehicle().atoms.size());
    result.closed = Bits(circuit_->contacts().size());
    result.chattering = Bits(circuit_->contacts().size());
  }
  result.chattering.clear();
  settle_cycle(stage, result);
  results_[at(stage_index)].candidate = candidate_;
  ++stages_settled_;
  return result;
}

void Solver::settle_cycle(StageData& stage, Settled& result) {
  constexpr std::size_t longest_search = 64;
  history_.clear();
  Bits closed;
  contacts_from(stage, result.atoms, closed);
  const bool same_network = stage.parent != none && closed == result.closed && !recording_ &&
                            !results_[at(stage.parent)].settled.chatters;
  if (same_network) return;
  while (true) {
    if (recording_) {
      auto base = make_base(stage, closed);
      if (std::find(stage.bases.begin(), stage.bases.end(), base) == stage.bases.end())
        stage.bases.push_back(std::move(base));
    }
    solve(stage, closed);
    history_.emplace_back(closed, result.atoms);
    update_atoms(result.atoms);
    result.closed = closed;
    contacts_from(stage, result.atoms, closed);
    if (closed == result.closed) return;
    for (std::size_t i = 0; i < history_.size(); ++i)
      if (history_[i].first == closed && history_[i].second == result.atoms) {
        resolve_cycle(history_, i, result);
        return;
      }
    if (history_.size() == longest_search) {
      resolve_cycle(history_, 0, result);
      return;
    }
  }
}

void Solver::resolve_cycle(const std::vector<std::pair<Bits, Bits>>& history, std::size_t from,
                           Settled& result) const {
  result.chatters = true;
  std::size_t lowest = from;
  for (std::size_t i = from; i < history.size(); ++i) {
    Bits moved = history[i].first;
    moved ^= history[from].first;
    result.chattering |= moved;
    if (history[i] < history[lowest]) lowest = i;
  }
  result.closed = history[lowest].first;
  result.atoms = history[lowest].second;
}

void Solver::enter(Stage stated) {
  const auto stage_index = actual(stated);
  const auto& settled = settle_actual(stage_index);
  const auto& stage = stages_[at(stage_index)];
  const bool loaded = current_candidate_ == candidate_ && current_closed_ == settled.closed &&
                      current_stage_ != none &&
                      stages_[at(current_stage_)].rigging == stage.rigging;
  if (!loaded) solve(stage, settled.closed);
  current_stage_ = stage_index;
}

void Solver::contacts_if(Stage stated, std::span<const Setting> settings, Bits& closed) {
  const auto index = actual(stated);
  const auto atoms = settle_actual(index).atoms;
  auto positions = stages_[at(index)].positions;
  for (const auto& setting : settings) positions[at(setting.control)] = setting.position;
  closed = Bits(circuit_->contacts().size());
  for (std::size_t c = 0; c < circuit_->contacts().size(); ++c)
    closed.set(c, evaluate(circuit_->vehicle().elements[at(circuit_->contacts()[c])].closed_when,
                           positions, atoms));
  for (const auto& o : *overrides_)
    if (const auto c = circuit_->contact_of(o.element); c != none && o.stuck >= 0)
      closed.set(at(c), o.stuck == 1);
}

// ---- numbers -----------------------------------------------------------------------------------

void Solver::set_branch(Index element, double siemens, double ampere) {
  if (base_->values.siemens[at(element)] == siemens && base_->values.ampere[at(element)] == ampere)
    return;
  branch_marks_[at(element)] = solve_mark_;
  branch_work_[at(element)] = {siemens, ampere};
  touched_ |= circuit_->plan().branch_path(element);
  own_marks_[at(circuit_->plan().branch_rank(element))] = solve_mark_;
}

std::pair<double, double> Solver::branch(Index element) const {
  if (branch_marks_[at(element)] == solve_mark_) return branch_work_[at(element)];
  return {base_->values.siemens[at(element)], base_->values.ampere[at(element)]};
}

void Solver::solve(const StageData& stage, const Bits& closed) {
  ++solve_mark_;
  ++networks_solved_;
  base_ = &nearest_base(stage, closed);
  touched_.clear();
  Bits moved = closed;
  moved ^= base_->closed;
  const auto& healthy = circuit_->healthy();
  moved.for_each([&](std::size_t c) {
    const auto element = circuit_->contacts()[c];
    if (stage.lifted_elements.test(at(element)) || override_of(element) != nullptr) return;
    const double lead = lead_beside(stage, element);
    if (closed.test(c)) {
      set_branch(element, healthy.siemens[at(element)] + lead, healthy.ampere[at(element)]);
    } else {
      set_branch(element, lead, 0);
    }
  });
  for (const auto& o : *overrides_) {
    if (stage.lifted_elements.test(at(o.element))) continue;
    const auto c = circuit_->contact_of(o.element);
    const bool conducts = c == none || closed.test(at(c));
    set_branch(o.element, (conducts ? o.siemens : 0) + lead_beside(stage, o.element),
               conducts ? o.ampere : 0);
  }
  eliminate_touched(*base_);
  current_candidate_ = candidate_;
  current_closed_ = closed;
  // Which stage this is matters only for how it is rigged; settle() may be asked for others meanwhile.
  current_stage_ = static_cast<Stage>(&stage - stages_.data());
}

/// Whether nothing that the base's `begun` numbers of a node stand for has changed. So it is with most
/// nodes of a path: it comes from the last child, the deepest as a rule.
bool Solver::begins_as_base(const EliminationPlan::Front& front, std::int32_t rank) const {
  if (own_marks_[at(rank)] == solve_mark_) return false;
  const auto* child = circuit_->plan().children() + front.first_child;
  for (std::int32_t i = 0; i + 1 < front.child_count; ++i)
    if (marks_[at(child[i].rank)] == solve_mark_) return false;
  return true;
}

void Solver::eliminate_touched(const Base& base) {
  const auto value = [&](std::int32_t b) -> std::pair<double, double> {
    if (branch_marks_[at(b)] == solve_mark_) return branch_work_[at(b)];
    return {base.values.siemens[at(b)], base.values.ampere[at(b)]};
  };
  const auto read = [&](std::int32_t rank) { return numbers(rank); };
  const auto& plan = circuit_->plan();
  touched_.for_each([&](std::size_t rank) {
    const auto k = static_cast<std::int32_t>(rank);
    const auto& front = plan.front(k);
    double* out = work_.data() + front.offset;
    if (!begins_as_base(front, k)) {
      eliminate(plan, k, out, read, value);
    } else {
      std::copy_n(base.begun.data() + front.offset, FrontLayout{front.degree}.used(front.has_emf),
                  out);
      if (front.child_count > 0) {
        const auto& last = plan.children()[front.first_child + front.child_count - 1];
        add_child(plan, last, read(last.rank), out);
      }
      remove_node(front, out);
    }
    marks_[rank] = solve_mark_;
  });
}

void Solver::substitute(const Bits& ranks) {
  const auto& plan = circuit_->plan();
  ranks.for_each_descending([&](std::size_t rank) {
    if (volt_marks_[rank] == solve_mark_) return;
    const auto& front = plan.front(static_cast<std::int32_t>(rank));
    const FrontLayout layout{front.degree};
    const double* n = numbers(static_cast<std::int32_t>(rank));
    const auto* later = plan.later() + front.later;
    double sum = n[layout.driven()];
    for (std::int32_t p = 0; p < front.degree; ++p) sum += n[p] * volts_[at(later[p])];
    volts_[rank] = sum * n[layout.inverse()];
    volt_marks_[rank] = solve_mark_;
  });
}

double Solver::volt(Index terminal) {
  const auto rank = circuit_->rank_of_terminal(terminal);
  if (rank < 0) return 0;
  substitute(circuit_->plan().path(rank));
  return volts_[at(rank)];
}

void Solver::volts(std::span<double> out) {
  substitute(all_ranks_);
  for (std::size_t t = 0; t < out.size(); ++t) out[t] = known_volt(static_cast<Index>(t));
}

Thevenin Solver::port(Index a, Index b) {
  const auto& plan = circuit_->plan();
  const auto ra = circuit_->rank_of_terminal(a);
  const auto rb = circuit_->rank_of_terminal(b);
  wanted_.clear();
  if (ra >= 0) wanted_ |= plan.path(ra);
  if (rb >= 0) wanted_ |= plan.path(rb);
  substitute(wanted_);
  Thevenin result;
  result.volt = known_volt(a) - known_volt(b);
  if (ra == rb) return result;
  inject(a, b, wanted_, wanted_);
  result.ohm = (ra >= 0 ? unit_[at(ra)] : 0.0) - (rb >= 0 ? unit_[at(rb)] : 0.0);
  return result;
}

/// One standard deviation of an element's conductance [S]: what a fault added in series is its own, and
/// nothing of the part is left once it is shorted.
double Solver::loose_siemens(const Circuit::Toleranced& item) const {
  const double siemens = branch(item.element).first;
  const double healthy = circuit_->healthy().siemens[at(item.element)];
  return siemens > healthy ? 0 : item.sigma * siemens * siemens / healthy;
}

double Solver::loose_ampere(const Circuit::Toleranced& item) {
  const double siemens = loose_siemens(item);
  if (siemens == 0) return 0;
  const auto& element = circuit_->vehicle().elements[at(item.element)];
  return siemens * (volt(element.a) - volt(element.b));
}

Thevenin Solver::spread_port(Index a, Index b) {
  const auto& items = circuit_->toleranced();
  if (items.empty() || circuit_->rank_of_terminal(a) == circuit_->rank_of_terminal(b))
    return port(a, b);
  wanted_.clear();
  for (const auto terminal : {a, b})
    if (const auto rank = circuit_->rank_of_terminal(terminal); rank >= 0)
      wanted_ |= circuit_->plan().path(rank);
  const auto driven = wanted_;
  wanted_ |= circuit_->toleranced_ranks();
  substitute(wanted_);
  inject(a, b, driven, wanted_);
  const auto unit = [&](Index terminal) {
    const auto rank = circuit_->rank_of_terminal(terminal);
    return rank < 0 ? 0.0 : unit_[at(rank)];
  };
  Thevenin result{known_volt(a) - known_volt(b), unit(a) - unit(b)};
  if (result.ohm <= 0) return result;
  double volt_square = 0;
  double ohm_square = 0;
  for (const auto& item : items) {
    const double siemens = loose_siemens(item);
    if (siemens == 0) continue;
    const auto& element = circuit_->vehicle().elements[at(item.element)];
    // By reciprocity, what one ampere through the element would do to the port.
    const double ohm = unit(element.a) - unit(element.b);
    const double volt = ohm * siemens * (known_volt(element.a) - known_volt(element.b));
    volt_square += volt * volt;
    ohm_square += ohm * ohm * siemens * ohm * ohm * siemens;
  }
  result.volt_sigma = std::sqrt(volt_square);
  result.ohm_sigma = std::sqrt(ohm_square);
  return result;
}

void Solver::inject(Index a, Index b, const Bits& driven, const Bits& ranks) {
  // One ampere in at a and out at b. Both ends ride on the same common-mode voltage of their island,
  // which cancels exactly enough: see the accuracy test of ports.
  const auto& plan = circuit_->plan();
  const auto ra = circuit_->rank_of_terminal(a);
  const auto rb = circuit_->rank_of_terminal(b);
  ranks.for_each([&](std::size_t rank) { unit_[rank] = 0; });
  if (ra >= 0) unit_[at(ra)] = 1;
  if (rb >= 0) unit_[at(rb)] = -1;
  driven.for_each([&](std::size_t rank) {
    const auto& front = plan.front(static_cast<std::int32_t>(rank));
    const double* n = numbers(static_cast<std::int32_t>(rank));
    const auto* later = plan.later() + front.later;
    const double share = unit_[rank] * n[FrontLayout{front.degree}.inverse()];
    unit_[rank] = share;
    for (std::int32_t p = 0; p < front.degree; ++p) unit_[at(later[p])] += n[p] * share;
  });
  ranks.for_each_descending([&](std::size_t rank) {
    const auto& front = plan.front(static_cast<std::int32_t>(rank));
    const double* n = numbers(static_cast<std::int32_t>(rank));
    const auto* later = plan.later() + front.later;
    double sum = 0;
    for (std::int32_t p = 0; p < front.degree; ++p) sum += n[p] * unit_[at(later[p])];
    unit_[rank] += sum * n[FrontLayout{front.degree}.inverse()];
  });
}

void Solver::transfer(Index a, Index b, std::span<double> out) {
  // The current enters along the paths of its two ends; every node feels it.
  wanted_.clear();
  for (const auto terminal : {a, b})
    if (const auto rank = circuit_->rank_of_terminal(terminal); rank >= 0)
      wanted_ |= circuit_->plan().path(rank);
  inject(a, b, wanted_, all_ranks_);
  for (std::size_t t = 0; t < out.size(); ++t) {
    const auto rank = circuit_->rank_of_terminal(static_cast<Index>(t));
    out[t] = rank < 0 ? 0.0 : unit_[at(rank)];
  }
}

void Solver::resistances(std::span<double> out) {
  // Selected inversion (Takahashi, Fagan and Chin 1973) on the positive factors: only the entries of the
  // inverse that the elimination pattern holds are formed, and all terms are non-negative.
  const auto& plan = circuit_->plan();
  const auto n = at(plan.node_count());
  inverse_.resize(n * n);
  for (std::size_t k = n; k-- > 0;) {
    const auto& front = plan.front(static_cast<std::int32_t>(k));
    const double* row = numbers(static_cast<std::int32_t>(k));
    const auto* later = plan.later() + front.later;
    const double inverse = row[FrontLayout{front.degree}.inverse()];
    double diagonal = 1;
    for (std::int32_t p = 0; p < front.degree; ++p) {
      double entry = 0;
      for (std::int32_t q = 0; q < front.degree; ++q)
        entry += row[q] * inverse_[at(later[p]) * n + at(later[q])];
      entry *= inverse;
      inverse_[k * n + at(later[p])] = entry;
      inverse_[at(later[p]) * n + k] = entry;
      diagonal += row[p] * entry;
    }
    inverse_[k * n + k] = diagonal * inverse;
  }
  for (std::size_t t = 0; t < out.size(); ++t) {
    const auto rank = circuit_->rank_of_terminal(static_cast<Index>(t));
    out[t] = rank < 0 ? 0.0 : inverse_[at(rank) * n + at(rank)];
  }
}

void Solver::element_resistances(std::span<double> out) const {
  const auto n = at(circuit_->plan().node_count());
  const auto entry = [&](std::int32_t a, std::int32_t b) {
    return a < 0 || b < 0 ? 0.0 : inverse_[at(a) * n + at(b)];
  };
  for (std::size_t e = 0; e < out.size(); ++e) {
    const auto& element = circuit_->vehicle().elements[e];
    const auto a = circuit_->rank_of_terminal(element.a);
    const auto b = circuit_->rank_of_terminal(element.b);
    out[e] = std::max(0.0, entry(a, a) + entry(b, b) - 2 * entry(a, b));
  }
}

double Solver::ampere(Index element) {
  const auto& e = circuit_->vehicle().elements[at(element)];
  const auto [siemens, ampere] = branch(element);
  return siemens * (volt(e.a) - volt(e.b)) - ampere;
}

bool Solver::holds(const Condition& condition) {
  const auto& stage = stages_[at(current_stage_)];
  Bits atoms = results_[at(current_stage_)].settled.atoms;
  for (const auto& op : condition.ops) {
    if (op.type != Condition::Op::Type::atom) continue;
    const auto& driving = circuit_->driving_atoms();
    if (std::binary_search(driving.begin(), driving.end(), op.index)) continue;
    const auto& atom = circuit_->vehicle().atoms[at(op.index)];
    if (atom.type == Atom::Type::volts) {
      volt(atom.a);
      volt(atom.b);
    } else {
      ampere(atom.element);
    }
    atoms.set(at(op.index), atom_value(op.index, false));
  }
  return evaluate(condition, stage.positions, atoms);
}

}  // namespace faultloom::circuit

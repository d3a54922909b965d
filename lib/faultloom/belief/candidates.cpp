#include <faultloom/belief/candidates.hpp>

#include <algorithm>
#include <map>
#include <tuple>

namespace faultloom::belief {
namespace {

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

/// Two modes may share a class only if they also combine alike with a third one on the same element, so
/// the key is the list of changes itself, not just the resulting network.
using ChangeKey = std::tuple<Index, bool, double, double, int, double, bool, double, double>;

std::vector<ChangeKey> key_of(const circuit::Circuit& circuit, Index mode) {
  constexpr double unset = -1e300;
  std::vector<ChangeKey> key;
  const auto& vehicle = circuit.vehicle();
  for (const auto& c : vehicle.modes[at(mode)].changes) {
    const bool opens_all = c.open;
    key.emplace_back(c.element, c.open, opens_all ? 0 : c.add_ohm,
                     opens_all ? unset : c.ohm.value_or(unset), c.stuck ? (*c.stuck ? 1 : 0) : -1,
                     opens_all ? unset : c.emf_volt.value_or(unset), !opens_all && c.reversed,
                     opens_all ? unset : c.shorted_ohm.value_or(unset), c.threshold_factor);
  }
  std::sort(key.begin(), key.end());
  return key;
}

}  // namespace

Candidates::Candidates(const circuit::Circuit& circuit) : circuit_(&circuit) {
  const auto& vehicle = circuit.vehicle();
  std::map<std::vector<ChangeKey>, std::int32_t> known;
  for (std::size_t m = 0; m < vehicle.modes.size(); ++m) {
    const auto mode = static_cast<Index>(m);
    const auto overrides = circuit::overrides_of(circuit, std::span(&mode, 1));
    // A mode without electrical effect keeps a class of its own kind: the empty change list.
    const auto key = overrides.empty() ? std::vector<ChangeKey>{} : key_of(circuit, mode);
    const auto [entry, added] = known.emplace(key, static_cast<std::int32_t>(classes_.size()));
    if (added) classes_.push_back({{}, overrides});
    classes_[at(entry->second)].modes.push_back(mode);
    class_of_.push_back(entry->second);
  }
  const auto n = classes_.size();
  shared_ = Bits(n * n);
  for (const auto& component : vehicle.components)
    for (const auto m : component.modes)
      for (const auto other : component.modes)
        shared_.set(at(class_of_[at(m)]) * n + at(class_of_[at(other)]));
  for (std::size_t c = 0; c < n; ++c) shared_.set(c * n + c);
}

std::size_t Candidates::number_of(const Candidate& candidate) const {
  const auto n = classes_.size();
  if (candidate.a < 0) return 0;
  const auto a = at(candidate.a);
  if (candidate.b < 0) return 1 + a;
  return 1 + n + a * n - a * (a + 1) / 2 + a + (at(candidate.b) - a);
}

void Candidates::overrides(const Candidate& candidate, circuit::Overrides& out) const {
  out.clear();
  if (candidate.a < 0) return;
  const auto& first = classes_[at(candidate.a)];
  if (candidate.b < 0) {
    out = first.overrides;
    return;
  }
  const auto& second = classes_[at(candidate.b)];
  std::merge(
      first.overrides.begin(), first.overrides.end(), second.overrides.begin(),
      second.overrides.end(), std::back_inserter(out),
      [](const circuit::Override& x, const circuit::Override& y) { return x.element < y.element; });
  const bool overlap = std::adjacent_find(out.begin(), out.end(), [](const auto& x, const auto& y) {
                         return x.element == y.element;
                       }) != out.end();
  if (!overlap) return;
  // Both act on one element, in series: combine the modes themselves.
  const std::array<Index, 2> modes{first.modes.front(), second.modes.back()};
  out = circuit::overrides_of(*circuit_, modes);
}

double Candidates::pair_odds(std::int32_t a, std::int32_t b, std::span<const double> mode_odds,
                             std::span<const double> class_odds) const {
  if (!share_component(a, b)) return class_odds[at(a)] * class_odds[at(b)];
  double sum = 0;
  for_each_pair(a, b, mode_odds, [&](Index, Index, double product) { sum += product; });
  return sum;
}

}  // namespace faultloom::belief

#include <faultloom/belief/cues.hpp>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <set>

namespace faultloom::belief {
namespace {

std::size_t at(Index i) { return static_cast<std::size_t>(i); }

/// No answer is ever certain, whatever the rates document says.
double clamp_probability(double p) { return std::clamp(p, 0.01, 0.99); }

constexpr double deciban = std::numbers::ln10 / 10;

}  // namespace

Cues::Cues(const vehicle::Vehicle& vehicle, const rates::Rates& rates,
           std::span<const readings::Entry> entries)
    : vehicle_(&vehicle), rates_(&rates) {
  for (std::size_t i = 0; i < entries.size(); ++i) {
    const auto& e = entries[i];
    if (e.type == readings::Entry::Type::cue && e.informative() && rates.cues.contains(e.cue))
      answers_.push_back({i, e.cue, e.outcome == readings::Outcome::yes});
  }
  weigh();
}

void Cues::weigh() {
  // Sorted by id, so that sums have the same bits in whatever order the answers came.
  std::map<std::string, bool> said;
  std::set<std::string> contradicted;
  for (const auto& answer : answers_) {
    const auto [first, added] = said.emplace(answer.cue, answer.yes);
    if (!added && first->second != answer.yes) contradicted.insert(answer.cue);
  }
  for (const auto& cue : contradicted) said.erase(cue);
  factors_.clear();
  ceiling_ = 1;
  if (said.empty()) return;
  std::map<std::string, double> by_kind;
  factors_.reserve(vehicle_->components.size());
  for (const auto& component : vehicle_->components) {
    const auto [known, added] = by_kind.emplace(component.kind, 1);
    if (added) known->second = std::exp(log_factor(said, component.kind));
    factors_.push_back(known->second);
    ceiling_ = std::max(ceiling_, known->second);
  }
}

double Cues::log_factor(const std::map<std::string, bool>& said, const std::string& kind) const {
  double sum = 0;
  for (const auto& [id, yes] : said) {
    const auto& cue = rates_->cues.find(id)->second;
    const auto found = cue.kinds.find(kind);
    if (found == cue.kinds.end()) continue;
    const double given = clamp_probability(found->second);
    const double otherwise = clamp_probability(cue.otherwise);
    sum += yes ? std::log(given / otherwise) : std::log((1 - given) / (1 - otherwise));
  }
  const double limit = rates_->cue_limit_deciban * deciban;
  return std::clamp(rates_->cue_weight * sum, -limit, limit);
}

double Cues::factor(Index component) const { return empty() ? 1 : factors_[at(component)]; }

double Cues::marginal(std::span<const double> component_priors) const {
  double product = 1;
  for (std::size_t c = 0; c < factors_.size(); ++c)
    product *= 1 + component_priors[c] * (factors_[c] - 1);
  return product;
}

Cues Cues::without(std::size_t entry) const {
  Cues rest = *this;
  std::erase_if(rest.answers_, [&](const Answer& answer) { return answer.entry == entry; });
  if (rest.answers_.size() != answers_.size()) rest.weigh();
  return rest;
}

}  // namespace faultloom::belief

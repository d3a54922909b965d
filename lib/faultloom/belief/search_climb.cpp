#include <algorithm>
#include <faultloom/belief/search.hpp>
#include <set>
#include <span>

/// From the sets that a search found to better ones, fault by fault.
namespace faultloom::belief {
namespace {

/// Sets kept in hand, and those whose further faults are looked at in all.
constexpr std::size_t in_hand = 6;
constexpr std::size_t most_expanded = 40;
/// Sets handed to the search, and how much one has to weigh beside the heaviest.
constexpr std::size_t most_goals = 4;
constexpr double worth_a_goal = 0.01;

/// These faults are there, and nothing else is decided.
Assignment all_there(const Prior& prior, const Candidate& candidate) {
  Assignment assignment(prior);
  for (const auto f : candidate.faults) assignment.include(f);
  return assignment;
}

bool contains(std::span<const std::int32_t> faults, std::int32_t fault) {
  return std::find(faults.begin(), faults.end(), fault) != faults.end();
}

}  // namespace

/// P(these faults are there, whatever else is) times the likelihood of them alone.
double Search::weight_of(const Candidate& candidate) {
  return all_there(*prior_, candidate).mass() * predictions_->likelihood(candidate);
}

/// What one more fault makes of a set, of those that weigh more than `least`.
std::vector<Search::Weighed> Search::one_more(const Candidate& candidate, double least) {
  const auto assignment = all_there(*prior_, candidate);
  Outlook outlook;
  std::vector<Weighed> result;
  for (const auto& next : ordered(candidate, assignment, outlook)) {
    const double mass = assignment.mass() * std::min(1.0, next.chance);
    if (mass * best_with(candidate, outlook, next.helped, next.started) <= least) continue;
    auto larger = with(candidate, next.faults.front());
    if (predictions_->intermittent_count(larger) > Predictions::most_intermittent) continue;
    look_at_one();
    const double weight = mass * predictions_->likelihood(larger);
    if (weight > least) result.push_back({std::move(larger), weight});
  }
  return result;
}

/// From some sets to what weighs more with one more fault, or with one exchanged, for as long as that comes
/// to something. The heaviest met, heaviest first.
std::vector<Search::Weighed> Search::climb_from(std::vector<Candidate> starts) {
  std::vector<Weighed> hand;
  std::set<Candidate> met;
  const auto heavier = [](const Weighed& a, const Weighed& b) { return a.weight > b.weight; };
  const auto take = [&](Weighed&& item) {
    if (!met.insert(item.candidate).second) return;
    hand.insert(std::upper_bound(hand.begin(), hand.end(), item, heavier), std::move(item));
    if (hand.size() > in_hand) hand.pop_back();
  };
  for (auto& start : starts) {
    const double weight = weight_of(start);
    take({std::move(start), weight});
  }
  if (hand.empty()) return hand;
  std::set<Candidate> expanded;
  const auto expand_once = [&](const Candidate& candidate, double least) {
    if (expanded.size() == most_expanded || !expanded.insert(candidate).second) return;
    for (auto& item : one_more(candidate, least)) take(std::move(item));
  };
  while (expanded.size() < most_expanded) {
    const auto before = expanded.size();
    const auto next = std::find_if(hand.begin(), hand.end(), [&](const Weighed& item) {
      return !expanded.contains(item.candidate);
    });
    if (next != hand.end()) {
      const auto item = *next;  // the hand changes
      expand_once(item.candidate, item.weight);
    } else {
      const auto best = hand.front();
      for (std::size_t i = 0; i < best.candidate.faults.size(); ++i) {
        auto fewer = best.candidate;
        fewer.faults.erase(fewer.faults.begin() + static_cast<std::ptrdiff_t>(i));
        expand_once(fewer, best.weight);
      }
    }
    if (expanded.size() == before) break;
  }
  return hand;
}

/// Sets of many faults may lie behind smaller ones that explain so little that no threshold within the
/// budget leads there. Each fault explains something by itself, though.
std::vector<Candidate> Search::climb(const Found& found) {
  auto kernels = found.kernels;
  std::stable_sort(kernels.begin(), kernels.end(),
                   [](const Kernel& a, const Kernel& b) { return a.weight > b.weight; });
  std::set<Candidate> known;
  std::vector<Candidate> starts;
  for (const auto& kernel : kernels)
    if (known.insert(kernel.seen).second && starts.size() < in_hand) starts.push_back(kernel.seen);
  auto best = climb_from(std::move(starts));
  // What was found may be a hill of its own.
  const auto from_nothing = climb_from({Candidate{}});
  best.insert(best.end(), from_nothing.begin(), from_nothing.end());
  std::stable_sort(best.begin(), best.end(),
                   [](const Weighed& a, const Weighed& b) { return a.weight > b.weight; });
  std::vector<Candidate> goals;
  for (const auto& item : best)
    if (goals.size() < most_goals && item.weight >= worth_a_goal * best.front().weight &&
        known.insert(item.candidate).second)
      goals.push_back(item.candidate);
  return goals;
}

/// Whether one of the faults is on the way to a goal that can still be reached.
bool Search::leads(const Next& next) const {
  return std::any_of(goals_.begin(), goals_.end(), [&](const std::vector<std::int32_t>& left) {
    return std::any_of(left.begin(), left.end(),
                       [&](std::int32_t f) { return contains(next.faults, f); }) &&
           std::none_of(left.begin(), left.end(),
                        [&](std::int32_t f) { return is_out_.test(static_cast<std::size_t>(f)); });
  });
}

/// The goals that are left when so many of the faults are there.
std::vector<std::vector<std::int32_t>> Search::goals_beyond(const Next& next,
                                                            std::size_t count) const {
  std::vector<std::vector<std::int32_t>> result;
  for (const auto& left : goals_) {
    auto rest = left;
    auto reached = count;
    std::erase_if(rest, [&](std::int32_t f) {
      return contains(next.faults, f) && reached > 0 && reached-- > 0;
    });
    if (reached == 0 && !rest.empty()) result.push_back(std::move(rest));
  }
  return result;
}

}  // namespace faultloom::belief

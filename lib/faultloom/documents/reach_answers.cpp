#include <faultloom/documents/reach_answers.hpp>

#include <algorithm>
#include <faultloom/advice/splitter.hpp>
#include <faultloom/advice/testability.hpp>
#include <faultloom/documents/version.hpp>
#include <map>
#include <nlohmann/json.hpp>
#include <numeric>

namespace faultloom::documents {
namespace {

using advice::AmbiguityGroup;
using advice::Splitter;
using nlohmann::json;

constexpr double suspects_share = 0.99;
constexpr std::size_t most_suspects = 800;

std::size_t at(std::int32_t i) { return static_cast<std::size_t>(i); }

/// Puts names to groups and to what would split them.
class ReachWriter {
 public:
  ReachWriter(const AnswerContext& context, const belief::FaultSpace& space,
              const advice::Reach& reach, std::span<const double> probabilities, double total)
      : context_(&context),
        space_(&space),
        reach_(&reach),
        probabilities_(probabilities),
        total_(total) {}

  [[nodiscard]] json reach() const;
  /// The first of these groups with their splitters.
  [[nodiscard]] json groups(const std::vector<AmbiguityGroup>& all,
                            std::span<const std::size_t> chosen, const Progress& progress) const;

 private:
  [[nodiscard]] const vehicle::Component& thing(std::int32_t variable) const;
  [[nodiscard]] json things(const AmbiguityGroup& group) const;
  [[nodiscard]] json parts(const Splitter& splitter) const;
  [[nodiscard]] json splitter(const Splitter& splitter) const;
  [[nodiscard]] json lift_cautions(const Splitter& splitter) const;

  const AnswerContext* context_;
  const belief::FaultSpace* space_;
  const advice::Reach* reach_;
  std::span<const double> probabilities_;
  double total_;
};

json ReachWriter::reach() const {
  json instruments = json::array();
  const auto& set = context_->instruments.instruments;
  for (std::size_t i = 0; i < set.size(); ++i)
    if (reach_->instruments.empty() ||
        std::find(reach_->instruments.begin(), reach_->instruments.end(), static_cast<int>(i)) !=
            reach_->instruments.end())
      instruments.push_back(set[i].id);
  json zones = json::array();
  for (const auto z : reach_->closed_zones) zones.push_back(context_->vehicle.zones[at(z)].id);
  return {{"instruments", std::move(instruments)},
          {"closed_zones", std::move(zones)},
          {"allow_live", reach_->allow_live},
          {"looks", reach_->looks},
          {"lifting", reach_->lifting}};
}

/// A sum of probabilities of faults, of which one at least is there at most so often: exactly, unless several are
/// there at once.
double at_least_one(double sum) { return std::min(sum, 1.0); }

/// A wire stands for itself and its terminations.
const vehicle::Component& ReachWriter::thing(std::int32_t variable) const {
  return context_->vehicle.components[at(space_->variables()[at(variable)].components.front())];
}

json ReachWriter::things(const AmbiguityGroup& group) const {
  std::map<std::int32_t, std::pair<double, std::vector<vehicle::Index>>> by_variable;
  for (const auto f : group.faults) {
    auto& [probability, modes] = by_variable[space_->fault(f).variable];
    probability += probabilities_[at(f)];
    for (const auto m : space_->fault(f).modes)
      if (std::find(modes.begin(), modes.end(), m) == modes.end()) modes.push_back(m);
  }
  std::vector<std::pair<std::int32_t, double>> order;
  order.reserve(by_variable.size());
  for (const auto& [variable, found] : by_variable) order.emplace_back(variable, found.first);
  std::stable_sort(order.begin(), order.end(),
                   [](const auto& x, const auto& y) { return x.second > y.second; });
  json list = json::array();
  for (const auto& [variable, probability] : order) {
    json modes = json::array();
    for (const auto m : by_variable[variable].second)
      modes.push_back(vehicle::mode_name(context_->vehicle, m));
    list.push_back({{"id", thing(variable).id},
                    {"title", thing(variable).title},
                    {"probability", at_least_one(probability)},
                    {"modes", std::move(modes)}});
  }
  return list;
}

json ReachWriter::parts(const Splitter& splitter) const {
  json list = json::array();
  for (const auto& part : splitter.parts) {
    std::vector<std::int32_t> variables;
    variables.reserve(part.size());
    for (const auto f : part) variables.push_back(space_->fault(f).variable);
    std::sort(variables.begin(), variables.end());
    variables.erase(std::unique(variables.begin(), variables.end()), variables.end());
    json ids = json::array();
    for (const auto v : variables) ids.push_back(thing(v).id);
    list.push_back(std::move(ids));
  }
  return list;
}

/// An end is taken off with the pack isolated, whatever is read afterwards.
json ReachWriter::lift_cautions(const Splitter& splitter) const {
  const auto& v = context_->vehicle;
  advice::Step step;
  step.type = advice::Step::Type::reading;
  step.component = splitter.component;
  const auto& wire = v.wires[at(v.wire_of(splitter.component))];
  for (const auto t : {v.elements[at(wire.element)].a, v.elements[at(wire.element)].b})
    if (v.terminals[at(t)].zone != vehicle::none)
      step.zones_to_open.push_back(v.terminals[at(t)].zone);
  step.isolated = true;
  json list = cautions_json(*context_, step);
  if (splitter.isolated) return list;
  step.isolated = false;
  step.state = v.run_state;
  for (auto& caution : cautions_json(*context_, step))
    if (std::find(list.begin(), list.end(), caution) == list.end())
      list.push_back(std::move(caution));
  const auto rank = [](const json& caution) {
    constexpr std::string_view words[] = {"DANGER", "WARNING", "CAUTION", "NOTICE"};
    return std::find(std::begin(words), std::end(words),
                     caution["signal_word"].get<std::string>()) -
           std::begin(words);
  };
  std::vector<json> sorted(list.begin(), list.end());
  std::stable_sort(sorted.begin(), sorted.end(),
                   [&](const json& x, const json& y) { return rank(x) < rank(y); });
  return sorted;
}

json ReachWriter::splitter(const Splitter& splitter) const {
  const auto& v = context_->vehicle;
  json item{{"separated", splitter.separated}, {"parts", parts(splitter)}};
  advice::Step step;
  switch (splitter.type) {
    case Splitter::Type::nothing:
      return nullptr;
    case Splitter::Type::look: {
      const auto& c = v.components[at(splitter.component)];
      item["type"] = "look";
      item["component"] = c.id;
      item["text"] = "Look at " + c.id + ", " + c.title;
      step.type = advice::Step::Type::look;
      step.component = splitter.component;
      item["cautions"] = cautions_json(*context_, step);
      break;
    }
    case Splitter::Type::lift: {
      const auto& id = v.components[at(splitter.component)].id;
      item["type"] = "lift";
      item["component"] = id;
      item["isolated"] = splitter.isolated;
      item["text"] = "Isolate the pack, take off one end of " + id +
                     (splitter.isolated ? ", and read ohms again"
                                        : ", put the pack back on, and read volts again");
      item["cautions"] = lift_cautions(splitter);
      break;
    }
    case Splitter::Type::instrument: {
      const auto& i = context_->instruments.instruments[at(splitter.instrument)];
      item["type"] = "instrument";
      item["instrument"] = i.id;
      item["text"] = "Fetch another instrument: " + i.title;
      step.instrument = splitter.instrument;
      step.isolated = i.type == readings::Instrument::Type::ohmmeter ||
                      i.type == readings::Instrument::Type::beeper;
      item["cautions"] = cautions_json(*context_, step);
      break;
    }
    case Splitter::Type::zone: {
      const auto& zone = v.zones[at(splitter.zone)];
      item["type"] = "zone";
      item["zone"] = zone.id;
      item["text"] = "Open " + zone.title;
      step.type = advice::Step::Type::look;
      step.zones_to_open = {splitter.zone};
      item["cautions"] = cautions_json(*context_, step);
      break;
    }
  }
  return item;
}

json ReachWriter::groups(const std::vector<AmbiguityGroup>& all,
                         std::span<const std::size_t> chosen, const Progress& progress) const {
  json list = json::array();
  for (std::size_t k = 0; k < chosen.size(); ++k) {
    const auto& group = all[chosen[k]];
    const double from = static_cast<double>(k) / static_cast<double>(chosen.size());
    const double to = static_cast<double>(k + 1) / static_cast<double>(chosen.size());
    const auto best = advice::best_splitter(*space_, context_->instruments, *reach_, group,
                                            probabilities_, part_of(progress, from, to));
    list.push_back({{"probability", at_least_one(group.weight)},
                    {"share", total_ > 0 ? group.weight / total_ : 0.0},
                    {"things", things(group)},
                    {"shows_nothing", group.shows_nothing},
                    {"like_no_fault", group.like_no_fault},
                    {"intermittent", group.intermittent},
                    {"splitter", splitter(best)}});
  }
  return list;
}

/// The likeliest faults, by number.
std::vector<std::int32_t> suspects(std::span<const double> probabilities) {
  std::vector<std::int32_t> order(probabilities.size());
  std::iota(order.begin(), order.end(), 0);
  std::stable_sort(order.begin(), order.end(), [&](std::int32_t x, std::int32_t y) {
    return probabilities[at(x)] > probabilities[at(y)];
  });
  const double all = std::accumulate(probabilities.begin(), probabilities.end(), 0.0);
  double sum = 0;
  std::size_t count = 0;
  while (count < std::min(order.size(), most_suspects) && sum < suspects_share * all)
    sum += probabilities[at(order[count++])];
  order.resize(count);
  return order;
}

}  // namespace

json ambiguity_of(const AnswerContext& context, const belief::FaultSpace& space,
                  const ReachOptions& options, std::span<const double> probabilities,
                  const Progress& progress) {
  const auto faults = suspects(probabilities);
  double total = 0;
  for (const auto f : faults) total += probabilities[at(f)];
  circuit::Solver solver(space.circuit());
  const auto groups = advice::ambiguity_groups(space, solver, context.instruments, options.reach,
                                               faults, probabilities, part_of(progress, 0, 0.6));
  double alone = 0;
  std::vector<std::size_t> chosen;
  for (std::size_t g = 0; g < groups.size(); ++g) {
    if (groups[g].variables.size() < 2)
      alone += groups[g].weight;
    else
      chosen.push_back(g);
  }
  const auto count = chosen.size();
  chosen.resize(std::min(count, options.top));
  const ReachWriter writer(context, space, options.reach, probabilities, total);
  json answer = heading("faultloom.ambiguity", context);
  answer["reach"] = writer.reach();
  answer["suspects"] = faults.size();
  answer["isolated_to_one"] = total > 0 ? alone / total : 1.0;
  answer["group_count"] = count;
  answer["groups"] = writer.groups(groups, chosen, part_of(progress, 0.6, 1));
  return answer;
}

json testability_of(const AnswerContext& context, const belief::FaultSpace& space,
                    const ReachOptions& options, std::span<const double> probabilities,
                    const Progress& progress) {
  circuit::Solver solver(space.circuit());
  const auto figures = advice::testability(space, solver, context.instruments, options.reach,
                                           probabilities, part_of(progress, 0, 0.7));
  const std::span<const std::size_t> worst(figures.worst.data(),
                                           std::min(figures.worst.size(), options.top));
  const ReachWriter writer(context, space, options.reach, probabilities, figures.weight);
  json answer{{"format", "faultloom.testability"},
              {"version", "1.0"},
              {"library", library_version},
              {"vehicle", context.vehicle.id}};
  answer["reach"] = writer.reach();
  answer["faults"] = space.faults().size();
  answer["detected"] = figures.detected;
  answer["isolated_to_one"] = figures.isolated_to_one;
  answer["isolated_to_two"] = figures.isolated_to_two;
  answer["mean_group_size"] = figures.mean_group_size;
  answer["tests"] = figures.tests;
  answer["distinct_tests"] = figures.distinct_tests;
  answer["group_count"] = figures.worst.size();
  answer["groups"] = writer.groups(figures.groups, worst, part_of(progress, 0.7, 1));
  return answer;
}

}  // namespace faultloom::documents

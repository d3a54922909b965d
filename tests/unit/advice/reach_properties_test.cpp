// What must hold of ambiguity groups and figures whatever the vehicle: by definition, no outside source.
#include "unit/advice/toy.hpp"
#include "unit/circuit/shipped.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <memory>
#include <numeric>
#include <random>
#include <set>

namespace faultloom::advice {
namespace {

/// A part or wire of a random circuit.
struct Piece {
  std::string id;
  std::string a;
  std::string b;
  double ohm = 0;
  enum class Type { part, control_wire, power_wire } type = Type::part;
};

struct Sketch {
  std::vector<Piece> pieces;
  std::vector<std::string> hidden;
  std::vector<std::string> in_box;  ///< terminals in the zone "box"
};

std::string node(std::size_t n) { return n == 0 ? "P" : n == 1 ? "N" : "M" + std::to_string(n); }

/// Six to ten pieces between the pack and three or four more points, every point on a way from pole to
/// pole.
Sketch random_sketch(std::mt19937& random) {
  const auto draw = [&](std::size_t below) { return static_cast<std::size_t>(random() % below); };
  Sketch sketch;
  const auto points = 5 + draw(2);
  const auto add = [&](std::size_t a, std::size_t b) {
    constexpr double ohms[] = {0.01, 0.02, 5, 20, 200};
    const auto type = static_cast<Piece::Type>(draw(3));
    const double ohm = type == Piece::Type::part ? ohms[draw(5)] : 0.01;
    const auto number = sketch.pieces.size();
    sketch.pieces.push_back({"C" + std::to_string(number), node(a), node(b), ohm, type});
  };
  std::size_t last = 0;
  for (std::size_t p = 2; p < points; ++p) add(std::exchange(last, p), p);
  add(last, 1);
  const auto more = 2 + draw(4);
  for (std::size_t k = 0; k < more; ++k) {
    const auto a = draw(points);
    const auto b = (a + 1 + draw(points - 1)) % points;
    if (std::min(a, b) == 0 && std::max(a, b) == 1) continue;
    add(a, b);
  }
  for (std::size_t p = 2; p < points; ++p) {
    if (draw(3) == 0) sketch.hidden.push_back(node(p));
    if (draw(3) == 0) sketch.in_box.push_back(node(p));
  }
  return sketch;
}

std::unique_ptr<Running> build(const Sketch& sketch) {
  Toy toy;
  for (const auto& piece : sketch.pieces) {
    const auto element = toy.part(piece.id, piece.a, piece.b, piece.ohm);
    if (piece.type != Piece::Type::part)
      toy.make_wire(element, piece.type == Piece::Type::power_wire);
  }
  toy.v.zones.push_back({"box", "Box", 0, 0, {}});
  for (const auto& name : sketch.hidden) toy.hide(name);
  for (const auto& name : sketch.in_box) toy.v.terminals[at(toy.terminal(name))].zone = 0;
  return std::make_unique<Running>(std::move(toy.v));
}

using Group = std::set<std::string>;

std::set<Group> named(const Running& r, const std::vector<AmbiguityGroup>& groups) {
  std::set<Group> all;
  for (const auto& group : groups) {
    Group names;
    for (const auto f : group.faults)
      for (const auto m : r.space.fault(f).modes) names.insert(vehicle::mode_name(r.v, m));
    all.insert(std::move(names));
  }
  return all;
}

/// Every fault in exactly one group, and the weights add up.
void expect_partition(const Running& r, const std::vector<AmbiguityGroup>& groups,
                      const std::vector<std::int32_t>& faults, const std::vector<double>& weights) {
  std::vector<std::int32_t> listed;
  double sum = 0;
  for (const auto& group : groups) {
    EXPECT_FALSE(group.faults.empty());
    double own = 0;
    for (const auto f : group.faults) own += weights.empty() ? 1 : weights[at(f)];
    EXPECT_NEAR(group.weight, own, 1e-12);
    sum += group.weight;
    listed.insert(listed.end(), group.faults.begin(), group.faults.end());
  }
  std::sort(listed.begin(), listed.end());
  EXPECT_EQ(listed, faults);
  double total = 0;
  for (const auto f : faults) total += weights.empty() ? 1 : weights[at(f)];
  EXPECT_NEAR(sum, total, 1e-9);
  EXPECT_LE(groups.size(), r.space.faults().size());
}

std::vector<std::int32_t> all_faults(const Running& r) {
  std::vector<std::int32_t> faults(r.space.faults().size());
  std::iota(faults.begin(), faults.end(), 0);
  return faults;
}

/// Some instruments, a zone that may be closed, and perhaps more.
Reach random_reach(const Running& r, std::mt19937& random) {
  Reach reach;
  const auto count = static_cast<int>(r.set.instruments.size());
  for (int i = 0; i < count; ++i)
    if (random() % 3 == 0) reach.instruments.push_back(i);
  if (reach.instruments.empty()) reach.instruments.push_back(r.set.find("meter"));
  if (random() % 2 == 0) reach.closed_zones = {0};
  reach.allow_live = random() % 4 != 0;
  reach.looks = random() % 4 == 0;
  reach.lifting = random() % 2 == 0;
  return reach;
}

/// The same and something more.
Reach widened(const Running& r, Reach reach, std::mt19937& random) {
  const auto count = r.set.instruments.size();
  switch (random() % 4) {
    case 0:
      reach.lifting = true;
      break;
    case 1:
      reach.closed_zones.clear();
      break;
    case 2:
      reach.allow_live = true;
      break;
    default:
      break;
  }
  reach.instruments.push_back(static_cast<int>(random() % count));
  return reach;
}

void expect_no_worse(Running& r, const Reach& narrow, const Reach& wide,
                     const std::vector<double>& weights) {
  const auto one = testability(r.space, r.solver, r.set, narrow, weights);
  const auto two = testability(r.space, r.solver, r.set, wide, weights);
  EXPECT_GE(two.detected, one.detected - 1e-12);
  EXPECT_GE(two.isolated_to_one, one.isolated_to_one - 1e-12);
  EXPECT_GE(two.isolated_to_two, one.isolated_to_two - 1e-12);
  EXPECT_LE(two.mean_group_size, one.mean_group_size + 1e-12);
  const auto coarse = named(r, one.groups);
  for (const auto& group : named(r, two.groups))
    EXPECT_TRUE(std::any_of(coarse.begin(), coarse.end(), [&](const Group& g) {
      return std::includes(g.begin(), g.end(), group.begin(), group.end());
    }));
}

TEST(ReachProperties, GroupsPartitionTheFaults) {
  std::mt19937 random(11);
  for (int round = 0; round < 60; ++round) {
    const auto r = build(random_sketch(random));
    const auto reach = random_reach(*r, random);
    const auto faults = all_faults(*r);
    expect_partition(*r, ambiguity_groups(r->space, r->solver, r->set, reach), faults, {});
    std::vector<std::int32_t> some;
    for (const auto f : faults)
      if (random() % 2 == 0) some.push_back(f);
    if (some.empty()) continue;
    std::vector<double> weights(faults.size());
    for (auto& w : weights) w = static_cast<double>(random() % 1000) / 1000;
    expect_partition(*r, ambiguity_groups(r->space, r->solver, r->set, reach, some, weights), some,
                     weights);
  }
}

TEST(ReachProperties, MoreMeansNeverLowerTheFigures) {
  std::mt19937 random(12);
  int lifted = 0;
  for (int round = 0; round < 150; ++round) {
    SCOPED_TRACE(round);
    const auto r = build(random_sketch(random));
    const auto narrow = random_reach(*r, random);
    const auto wide = widened(*r, narrow, random);
    expect_no_worse(*r, narrow, wide, {});
    lifted += wide.lifting ? 1 : 0;
  }
  EXPECT_GT(lifted, 50);
}

TEST(ReachProperties, MoreMeansNeverLowerTheFiguresOfAShippedVehicle) {
  Running r(shipped::read("mulch-tug"));
  const auto weights = priors(r);
  Reach reach{.instruments = {r.set.find("clamp")}, .closed_zones = {0}, .signs = false};
  for (const auto& widen : std::vector<void (*)(Running&, Reach&)>{
           [](Running&running, Reach&x) { x.instruments.push_back(running.set.find("meter")); },
           [](Running&, Reach&x) { x.lifting = true; },
           [](Running&running, Reach&x) { x.instruments.push_back(running.set.find("ohmmeter")); },
           [](Running&, Reach&x) { x.closed_zones.clear(); },
           [](Running&, Reach&x) { x.signs = x.looks = true; }}) {
    auto wider = reach;
    widen(r, wider);
    expect_no_worse(r, reach, wider, weights);
    reach = wider;
  }
}

TEST(ReachProperties, NamesAndOrderMeanNothing) {
  std::mt19937 random(13);
  for (int round = 0; round < 60; ++round) {
    SCOPED_TRACE(round);
    auto sketch = random_sketch(random);
    const auto r = build(sketch);
    const auto reach = random_reach(*r, random);
    const auto before = ambiguity_groups(r->space, r->solver, r->set, reach);

    std::map<std::string, std::string> renamed;
    std::vector<std::size_t> numbers(sketch.pieces.size());
    std::iota(numbers.begin(), numbers.end(), std::size_t{0});
    std::shuffle(numbers.begin(), numbers.end(), random);
    for (std::size_t k = 0; k < numbers.size(); ++k)
      renamed[sketch.pieces[k].id] = "Z" + std::to_string(numbers[k]);
    for (auto& piece : sketch.pieces) piece.id = renamed[piece.id];
    std::shuffle(sketch.pieces.begin(), sketch.pieces.end(), random);
    const auto again = build(sketch);
    const auto after = ambiguity_groups(again->space, again->solver, again->set, reach);

    std::set<Group> expected;
    for (const auto& group : named(*r, before)) {
      Group names;
      for (const auto& name : group)
        names.insert(renamed.at(name.substr(0, name.find('/'))) + name.substr(name.find('/')));
      expected.insert(std::move(names));
    }
    EXPECT_EQ(named(*again, after), expected);
  }
}

}  // namespace
}  // namespace faultloom::advice

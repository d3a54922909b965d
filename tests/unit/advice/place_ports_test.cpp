#include <faultloom/advice/place_ports.hpp>

#include "unit/advice/toy.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>
#include <set>

namespace faultloom::advice {
namespace {

/// A battery behind two contacts and a load; every part may be open.
struct Fixture {
  static vehicle::Vehicle series() {
    Toy toy;
    toy.part("S1", "P", "M1", 0.02);
    toy.part("S2", "M1", "M2", 0.02);
    toy.part("L1", "M2", "N", 20);
    return toy.v;
  }

  Fixture() : running(series()), belief(running.space, running.set, rates()), store(belief) {
    for (std::size_t f = 0; f < running.space.faults().size(); ++f)
      candidates.push_back({{static_cast<std::int32_t>(f)}});
    for (const auto* row : store.rows(belief.solver(), candidates))
      ports.push_back(row->networks.front().ports.data());
  }

  static rates::Rates rates() {
    return documents::read_rates(documents::embedded_document("rates"));
  }

  Running running;
  belief::Belief belief;
  PredictionStore store;
  std::vector<belief::Candidate> candidates;
  std::vector<const std::uint32_t*> ports;
};

TEST(PlacePorts, ReadsWhatTheStoreSaysOfEachCandidate) {
  Fixture f;
  PlacePorts at_place;
  std::vector<std::int32_t> codes;
  std::size_t told = 0;
  for (std::size_t p = 0; p < f.store.places().size(); ++p) {
    at_place.find(f.ports, p);
    for (std::size_t i = 0; i < f.running.set.instruments.size(); ++i) {
      std::vector<std::int32_t> expected;
      for (const auto* own : f.ports) expected.push_back(f.store.code(i, own[p]));
      const bool differ = std::any_of(expected.begin(), expected.end(),
                                      [&](std::int32_t c) { return c != expected.front(); });
      EXPECT_EQ(at_place.read(f.store, i), differ);
      at_place.codes_by_candidate(codes);
      EXPECT_EQ(codes, expected);
      EXPECT_TRUE(at_place.equals(expected));
      EXPECT_EQ(at_place.hash(), PlacePorts::hash_of(expected));
      if (!differ) continue;
      ++told;
      std::swap(*std::max_element(expected.begin(), expected.end()),
                *std::min_element(expected.begin(), expected.end()));
      EXPECT_FALSE(at_place.equals(expected));
      EXPECT_NE(at_place.hash(), PlacePorts::hash_of(expected));
    }
  }
  EXPECT_GT(told, 0U);
}

// Sums of port numbers times marks stand for the ports themselves when places are compared.
TEST(PlacePorts, SumsOfMarksTellVectorsOfSmallNumbersApart) {
  std::mt19937_64 draw(1);
  std::set<std::uint64_t> sums;
  std::set<std::vector<std::uint32_t>> vectors;
  for (int n = 0; n < 100000; ++n) {
    std::vector<std::uint32_t> numbers(64, 7);
    for (int k = 0; k < 3; ++k) numbers[draw() % 64] = static_cast<std::uint32_t>(draw() % 16);
    std::uint64_t sum = 0;
    for (std::size_t c = 0; c < numbers.size(); ++c) sum += PlacePorts::mark(c) * numbers[c];
    sums.insert(sum);
    vectors.insert(std::move(numbers));
  }
  EXPECT_EQ(sums.size(), vectors.size());
}

}  // namespace
}  // namespace faultloom::advice

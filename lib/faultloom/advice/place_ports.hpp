#pragma once

#include <algorithm>
#include <cstdint>
#include <faultloom/advice/prediction_store.hpp>
#include <span>
#include <vector>

namespace faultloom::advice {

[[nodiscard]] inline bool all_equal(std::span<const std::int32_t> codes) {
  return std::all_of(codes.begin(), codes.end(),
                     [&](std::int32_t c) { return c == codes.front(); });
}

/// What one place shows to an instrument under each of many candidates: few of its ports differ, so the
/// instrument is asked about these only.
class PlacePorts {
 public:
  /// Starts with a place. O(candidates * ports that differ) at worst; neighbours mostly show the same.
  /// @param ports  by candidate: numbers of the store, by place
  void find(std::span<const std::uint32_t* const> ports, std::size_t place);
  /// Asks what the instrument makes of the ports found. False if it shows the same for all of them.
  bool read(PredictionStore& store, std::size_t instrument);

  /// Of what was read last; the same as hash_of() of the codes by candidate.
  [[nodiscard]] std::uint64_t hash() const;
  [[nodiscard]] bool equals(std::span<const std::int32_t> by_candidate) const;
  void codes_by_candidate(std::vector<std::int32_t>& codes) const;

  [[nodiscard]] static std::uint64_t hash_of(std::span<const std::int32_t> by_candidate);
  /// A fixed random factor; sums of numbers times these are the same, for all it matters, only if the
  /// numbers are.
  [[nodiscard]] static std::uint64_t mark(std::size_t candidate);

 private:
  std::vector<std::uint32_t> ports_;
  std::vector<std::uint64_t> marks_;         ///< by port: sum over its candidates
  std::vector<std::uint32_t> which_;         ///< by candidate: place of its port
  std::vector<std::int32_t> codes_;          ///< by port
  std::vector<std::uint64_t> by_candidate_;  ///< mark()
};

}  // namespace faultloom::advice

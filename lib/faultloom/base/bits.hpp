#pragma once

#include <bit>
#include <boost/container/small_vector.hpp>
#include <boost/container_hash/hash.hpp>
#include <cstddef>
#include <cstdint>

namespace faultloom {

/// A small set of indices 0..size-1, kept without heap memory up to 256.
class Bits {
 public:
  Bits() = default;
  explicit Bits(std::size_t size) : words_((size + 63) / 64, 0) {}

  [[nodiscard]] bool test(std::size_t i) const { return ((words_[i / 64] >> (i % 64)) & 1U) != 0; }
  void set(std::size_t i, bool value = true) {
    const std::uint64_t mask = std::uint64_t{1} << (i % 64);
    words_[i / 64] = value ? (words_[i / 64] | mask) : (words_[i / 64] & ~mask);
  }
  void clear() {
    for (auto& word : words_) word = 0;
  }
  [[nodiscard]] std::size_t count() const {
    std::size_t total = 0;
    for (const auto word : words_) total += static_cast<std::size_t>(std::popcount(word));
    return total;
  }
  /// Number of indices in exactly one of the two sets; both must have the same size.
  [[nodiscard]] std::size_t differences(const Bits& other) const {
    std::size_t total = 0;
    for (std::size_t w = 0; w < words_.size(); ++w)
      total += static_cast<std::size_t>(std::popcount(words_[w] ^ other.words_[w]));
    return total;
  }
  Bits& operator|=(const Bits& other) {
    for (std::size_t w = 0; w < words_.size(); ++w) words_[w] |= other.words_[w];
    return *this;
  }
  Bits& operator&=(const Bits& other) {
    for (std::size_t w = 0; w < words_.size(); ++w) words_[w] &= other.words_[w];
    return *this;
  }
  Bits& operator^=(const Bits& other) {
    for (std::size_t w = 0; w < words_.size(); ++w) words_[w] ^= other.words_[w];
    return *this;
  }
  /// Calls visit(index) for each member in ascending order.
  template <typename Visit>
  void for_each(Visit&& visit) const {
    for (std::size_t w = 0; w < words_.size(); ++w)
      for (std::uint64_t rest = words_[w]; rest != 0; rest &= rest - 1)
        visit(w * 64 + static_cast<std::size_t>(std::countr_zero(rest)));
  }
  /// Calls visit(index) for each member in descending order.
  template <typename Visit>
  void for_each_descending(Visit&& visit) const {
    for (std::size_t w = words_.size(); w-- > 0;) {
      std::uint64_t rest = words_[w];
      while (rest != 0) {
        const auto bit = static_cast<std::size_t>(63 - std::countl_zero(rest));
        rest &= ~(std::uint64_t{1} << bit);
        visit(w * 64 + bit);
      }
    }
  }

  friend bool operator==(const Bits& a, const Bits& b) { return a.words_ == b.words_; }
  /// Orders sets as binary numbers of equal length: a fixed, arbitrary but repeatable order.
  friend bool operator<(const Bits& a, const Bits& b) { return a.words_ < b.words_; }
  friend std::size_t hash_value(const Bits& bits) {
    return boost::hash_range(bits.words_.begin(), bits.words_.end());
  }

 private:
  boost::container::small_vector<std::uint64_t, 4> words_;
};

}  // namespace faultloom

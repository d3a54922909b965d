#include <algorithm>
#include <faultloom/advice/place_ports.hpp>
#include <faultloom/base/mix.hpp>

namespace faultloom::advice {
namespace {

std::uint64_t weight_of(std::int32_t code) { return mixed(static_cast<std::uint32_t>(code)); }

}  // namespace

std::uint64_t PlacePorts::mark(std::size_t candidate) { return mixed(candidate) | 1U; }

void PlacePorts::find(std::span<const std::uint32_t* const> ports, std::size_t place) {
  ports_.clear();
  marks_.clear();
  which_.clear();
  while (by_candidate_.size() < ports.size()) by_candidate_.push_back(mark(by_candidate_.size()));
  std::size_t k = 0;
  for (std::size_t c = 0; c < ports.size(); ++c) {
    const auto port = ports[c][place];
    if (c == 0 || ports_[k] != port) {
      const auto found = std::find(ports_.begin(), ports_.end(), port);
      k = static_cast<std::size_t>(found - ports_.begin());
      if (found == ports_.end()) {
        ports_.push_back(port);
        marks_.push_back(0);
      }
    }
    marks_[k] += by_candidate_[c];
    which_.push_back(static_cast<std::uint32_t>(k));
  }
}

bool PlacePorts::read(PredictionStore& store, std::size_t instrument) {
  codes_.clear();
  for (const auto port : ports_) codes_.push_back(store.code(instrument, port));
  return !all_equal(codes_);
}

std::uint64_t PlacePorts::hash() const {
  std::uint64_t sum = 0;
  for (std::size_t k = 0; k < codes_.size(); ++k) sum += marks_[k] * weight_of(codes_[k]);
  return sum;
}

std::uint64_t PlacePorts::hash_of(std::span<const std::int32_t> by_candidate) {
  std::uint64_t sum = 0;
  for (std::size_t c = 0; c < by_candidate.size(); ++c) sum += mark(c) * weight_of(by_candidate[c]);
  return sum;
}

bool PlacePorts::equals(std::span<const std::int32_t> by_candidate) const {
  return std::equal(by_candidate.begin(), by_candidate.end(), which_.begin(), which_.end(),
                    [&](std::int32_t code, std::uint32_t k) { return code == codes_[k]; });
}

void PlacePorts::codes_by_candidate(std::vector<std::int32_t>& codes) const {
  codes.clear();
  for (const auto k : which_) codes.push_back(codes_[k]);
}

}  // namespace faultloom::advice

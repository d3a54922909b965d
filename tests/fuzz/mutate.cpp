#include "mutate.hpp"

#include "places.hpp"

#include <faultloom/journal/journal.hpp>
#include <nlohmann/json.hpp>

#include <algorithm>
#include <random>
#include <vector>

namespace fuzz {
namespace {

using json = Document;
namespace journal = faultloom::journal;

class Random {
 public:
  explicit Random(std::uint64_t seed) : engine_(seed) {}
  std::size_t below(std::size_t count) { return count == 0 ? 0 : engine_() % count; }
  bool one_in(std::size_t count) { return below(count) == 0; }

 private:
  std::mt19937_64 engine_;
};

json odd_value(Random& random) {
  const auto& values = odd_values();
  if (random.one_in(40)) {
    json deep = 1;
    for (auto depth = random.below(80); depth > 0; --depth) deep = json::array({deep});
    return deep;
  }
  return values[random.below(values.size())];
}

void tweak_number(json& value, Random& random) {
  const auto number = value.get<double>();
  switch (random.below(6)) {
    case 0:
      value = -number;
      break;
    case 1:
      value = number * 10;
      break;
    case 2:
      value = number / 10;
      break;
    case 3:
      value = number + 1;
      break;
    case 4:
      value = number * 1e12;
      break;
    default:
      value = static_cast<std::int64_t>(random.below(100));
      break;
  }
}

std::string tweak_text(const std::string& text, Random& random, const ByteMutator& bytes) {
  if (bytes && random.one_in(2)) {
    std::string changed = text;
    const auto most = text.size() + 16;
    changed.resize(most);
    changed.resize(bytes(changed.data(), text.size(), most));
    return changed;
  }
  std::string changed = text;
  const auto at = random.below(text.size() + 1);
  constexpr std::string_view letters = "abzAZ019_-.:/~ \t\n\"\\";
  if (at == text.size() || random.one_in(2)) {
    changed.insert(at, 1, letters[random.below(letters.size())]);
  } else {
    changed.erase(at, 1 + random.below(3));
  }
  return changed;
}

void change_value(json& value, const std::vector<Place>& places, Random& random,
                  const ByteMutator& bytes) {
  if (value.is_number() && random.one_in(2)) {
    tweak_number(value, random);
  } else if (value.is_string() && random.one_in(3)) {
    value = tweak_text(value.get<std::string>(), random, bytes);
  } else if (random.one_in(2)) {
    // Most likely to fit: a value of the same type from elsewhere.
    json other = places[random.below(places.size())].value();
    for (int turn = 0; turn < 8 && other.type() != value.type(); ++turn)
      other = places[random.below(places.size())].value();
    value = other;
  } else {
    value = odd_value(random);
  }
}

void rename(const Place& place, const std::vector<Place>& places, Random& random,
            const ByteMutator& bytes) {
  const auto old = place.key();
  auto name = places[random.below(places.size())].key();
  if (name.empty() || random.one_in(3)) name = tweak_text(old, random, bytes);
  *place.parent = renamed(*place.parent, old, name);
}

void change_once(json& document, Random& random, const ByteMutator& bytes) {
  const auto places = places_of(document);
  if (places.empty()) {
    document = odd_value(random);
    return;
  }
  const auto& place = places[random.below(places.size())];
  switch (random.below(8)) {
    case 0:
      place.parent->erase(place.item());
      break;
    case 1:
      if (place.parent->is_object()) {
        const json value = place.value();
        (*place.parent)[tweak_text(place.key(), random, bytes)] = value;
      } else {
        const json value = place.value();
        for (auto copies = random.one_in(20) ? 300 : 1; copies > 0; --copies)
          place.parent->push_back(value);
      }
      break;
    case 2:
      if (place.parent->is_object()) rename(place, places, random, bytes);
      break;
    case 3:
      if (place.parent->is_array()) {
        std::swap(place.value(), (*place.parent)[random.below(place.parent->size())]);
        break;
      }
      [[fallthrough]];
    default:
      change_value(place.value(), places, random, bytes);
  }
}

json parsed(std::string_view text) { return json::parse(text, nullptr, false); }

/// What is between the number of a record and its end, as encode() takes it.
bool can_be_body(const json& body) { return body.is_object() && !body.empty(); }

}  // namespace

std::string mutate_json(std::string_view text, std::uint64_t seed, const ByteMutator& bytes) {
  auto document = parsed(text);
  if (document.is_discarded()) return {};
  Random random(seed);
  for (auto times = 1 + random.below(4); times > 0; --times) change_once(document, random, bytes);
  return dumped(document);
}

std::string cross_json(std::string_view text, std::string_view other, std::uint64_t seed) {
  auto document = parsed(text);
  auto donor = parsed(other);
  if (document.is_discarded() || donor.is_discarded()) return {};
  Random random(seed);
  const auto places = places_of(document);
  const auto offered = places_of(donor);
  if (places.empty() || offered.empty()) return {};
  const auto& place = places[random.below(places.size())];
  const auto key = place.key();
  const auto start = random.below(offered.size());
  const auto* best = &offered[start];
  for (std::size_t i = 0; i < offered.size() && best->key() != key; ++i)
    best = &offered[(start + i) % offered.size()];
  place.value() = json(best->value());
  return dumped(document);
}

std::string mutate_journal(std::string_view bytes, std::uint64_t seed) {
  auto records = journal::recover(bytes).records;
  if (records.empty()) return {};
  Random random(seed);
  const auto chosen = random.below(records.size());
  auto& body = records[chosen].body;
  switch (random.below(6)) {
    case 0:
      records.erase(records.begin() + static_cast<std::ptrdiff_t>(chosen));
      break;
    case 1:
      records.push_back(records[chosen]);
      break;
    case 2:
      std::swap(records[chosen], records[random.below(records.size())]);
      break;
    default:
      if (const auto changed = mutate_json(body, seed); can_be_body(parsed(changed)))
        body = changed;
  }
  std::string text;
  journal::Link link;
  for (const auto& record : records) {
    if (random.one_in(30)) ++link.number;
    const auto line = journal::encode(link, record.body);
    text += line.text;
    link = line.next;
  }
  if (random.one_in(4)) text.resize(text.size() - random.below(text.size()));
  return text;
}

}  // namespace fuzz

#include "places.hpp"

#include <cstdint>
#include <limits>

namespace fuzz {
namespace {

void collect(Document& value, std::vector<Place>& places) {
  if (!value.is_structured()) return;
  for (std::size_t i = 0; i < value.size(); ++i) {
    places.push_back({&value, i});
    collect(places.back().value(), places);
  }
}

}  // namespace

std::vector<Place> places_of(Document& document) {
  std::vector<Place> places;
  collect(document, places);
  return places;
}

const std::vector<Document>& odd_values() {
  static const std::vector<Document> values = {nullptr,
                                               true,
                                               false,
                                               0,
                                               -0.0,
                                               1,
                                               -1,
                                               2,
                                               0.5,
                                               1e-9,
                                               1e-300,
                                               5e-324,
                                               1e9,
                                               1e15,
                                               1e300,
                                               std::numeric_limits<double>::max(),
                                               -1e300,
                                               2147483647,
                                               2147483648,
                                               -2147483649,
                                               4294967296,
                                               9007199254740993,
                                               std::numeric_limits<std::int64_t>::min(),
                                               std::numeric_limits<std::uint64_t>::max(),
                                               "",
                                               "x",
                                               "x-y",
                                               "A.b",
                                               "W1:from",
                                               "\n",
                                               "\x01",
                                               "/~",
                                               std::string(65, 'a'),
                                               std::string(4096, 'b'),
                                               Document::array(),
                                               Document::object(),
                                               Document::array({1}),
                                               Document::array({nullptr, nullptr}),
                                               Document::object({{"", ""}}),
                                               Document::object({{"a/b~c", 1}})};
  return values;
}

Document renamed(const Document& object, const std::string& old, const std::string& name) {
  Document result = Document::object();
  for (const auto& [key, value] : object.items()) result[key == old ? name : key] = value;
  return result;
}

std::string dumped(const Document& document) {
  return document.dump(-1, ' ', false, Document::error_handler_t::ignore);
}

}  // namespace fuzz

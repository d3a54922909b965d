// The program around the harnesses: picks one, changes its inputs, writes its seeds.
//
//   faultloom_fuzz --harness=NAME [libFuzzer's own arguments]
//   faultloom_fuzz --write=FOLDER    seeds of every harness and a dictionary; ends then
//   faultloom_fuzz --harness=NAME --changes=FOLDER
//                                    each single change of its seeds, 100,000 of them at most; ends then
//   faultloom_fuzz --list            one line for each harness: name, runs, most bytes, whose lines count
#include "harness.hpp"
#include "mutate.hpp"
#include "small.hpp"
#include "sweep.hpp"

#include <nlohmann/json.hpp>

#include <algorithm>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <functional>
#include <random>
#include <set>

extern "C" std::size_t LLVMFuzzerMutate(std::uint8_t* data, std::size_t size, std::size_t most);

namespace {

using fuzz::Harness;
using fuzz::Shape;
using nlohmann::json;

const std::vector<Harness>& harnesses() {
  static const std::vector<Harness> all = [] {
    std::vector<Harness> list;
    for (auto* some : {&fuzz::document_harnesses, &fuzz::job_harnesses, &fuzz::journal_harnesses,
                       &fuzz::abi_harnesses})
      for (const auto& harness : some()) list.push_back(harness);
    return list;
  }();
  return all;
}

const Harness*& chosen() {
  static const Harness* harness = nullptr;
  return harness;
}

/// Member names and fixed words of a schema.
void collect_words(const json& schema, std::set<std::string>& words) {
  if (!schema.is_structured()) return;
  for (const auto& [key, value] : schema.items()) {
    if (key == "properties")
      for (const auto& [name, property] : value.items()) words.insert(name);
    if (key == "enum")
      for (const auto& word : value)
        if (word.is_string()) words.insert(word.get<std::string>());
    if (key == "const" && value.is_string()) words.insert(value.get<std::string>());
    collect_words(value, words);
  }
}

std::set<std::string> schema_words() {
  std::set<std::string> words;
  for (const auto& entry :
       std::filesystem::directory_iterator(std::string(FAULTLOOM_DATA_DIR) + "/schema"))
    collect_words(json::parse(fuzz::file_text(entry.path())), words);
  return words;
}

void write_dictionary(const std::filesystem::path& file) {
  std::ofstream out(file);
  for (const char* more :
       {"null", "true", "1e999", "-0", "\\\\u0000", "\\xEF\\xBB\\xBF", "~1", "x-"})
    out << '"' << more << "\"\n";
  for (const auto& word : schema_words()) out << '"' << word << "\"\n";
}

void write_seeds(const std::filesystem::path& folder) {
  for (const auto& harness : harnesses()) {
    const auto place = folder / harness.name;
    std::filesystem::create_directories(place);
    for (const auto& seed : harness.seeds()) std::ofstream(place / seed.name) << seed.text;
  }
  write_dictionary(folder / "words.dict");
}

/// Every n-th change, if there are more than the limit.
void write_changes(const Harness& harness, const std::filesystem::path& folder) {
  constexpr std::size_t limit = 100'000;
  const auto words = schema_words();
  const auto each = [&](const std::function<void(std::string)>& take) {
    for (const auto& seed : harness.seeds()) {
      if (harness.shape == Shape::json) fuzz::each_change(seed.text, words, take);
      if (harness.shape == Shape::journal) fuzz::each_journal_change(seed.text, words, take);
    }
  };
  std::size_t count = 0;
  each([&](const std::string&) { ++count; });
  const auto stride = count / limit + 1;
  std::filesystem::create_directories(folder);
  std::size_t number = 0;
  each([&](const std::string& text) {
    if (number++ % stride == 0 && text.size() <= harness.most_bytes)
      std::ofstream(folder / std::to_string(number), std::ios::binary) << text;
  });
}

/// Copies a mutant if there is one that fits; 0 else.
std::size_t put(const std::string& mutant, std::uint8_t* data, std::size_t most) {
  if (mutant.empty() || mutant.size() > most) return 0;
  std::memcpy(data, mutant.data(), mutant.size());
  return mutant.size();
}

std::string_view text_of(const std::uint8_t* data, std::size_t size) {
  return {reinterpret_cast<const char*>(data), size};
}

[[noreturn]] void finish(int status) {
  std::fflush(nullptr);
  std::_Exit(status);
}

}  // namespace

extern "C" int LLVMFuzzerInitialize(int* count, char*** arguments) {
  for (int i = 1; i < *count; ++i) {
    const std::string argument = (*arguments)[i];
    if (argument == "--list") {
      for (const auto& harness : harnesses())
        std::printf("%s %ld %zu %s\n", harness.name, harness.runs, harness.most_bytes,
                    harness.sources);
      finish(0);
    }
    if (argument.starts_with("--write=")) {
      write_seeds(argument.substr(std::strlen("--write=")));
      finish(0);
    }
    if (argument.starts_with("--harness="))
      for (const auto& harness : harnesses())
        if (argument.substr(std::strlen("--harness=")) == harness.name) chosen() = &harness;
  }
  if (chosen() == nullptr) {
    std::fprintf(stderr, "Give --harness=NAME, one of --list\n");
    finish(2);
  }
  for (int i = 1; i < *count; ++i) {
    const std::string argument = (*arguments)[i];
    if (argument.starts_with("--changes=")) {
      write_changes(*chosen(), argument.substr(std::strlen("--changes=")));
      finish(0);
    }
  }
  return 0;
}

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  // A copy of just this size, so that a read beyond the end is seen.
  const std::vector<char> input(data, data + size);
  static const char nothing = 0;
  chosen()->run({input.empty() ? &nothing : input.data(), size});
  return 0;
}

extern "C" std::size_t LLVMFuzzerCustomMutator(std::uint8_t* data, std::size_t size,
                                               std::size_t most, unsigned seed) {
  const auto bytes = [](char* text, std::size_t length, std::size_t room) {
    return LLVMFuzzerMutate(reinterpret_cast<std::uint8_t*>(text), length, room);
  };
  std::minstd_rand random(seed);
  const auto shape = chosen()->shape;
  const bool by_value = shape != Shape::bytes && random() % 8 != 0;
  if (by_value && shape == Shape::journal)
    if (const auto length = put(fuzz::mutate_journal(text_of(data, size), seed), data, most))
      return length;
  if (by_value)
    if (const auto length = put(fuzz::mutate_json(text_of(data, size), seed, bytes), data, most))
      return length;
  return LLVMFuzzerMutate(data, size, most);
}

extern "C" std::size_t LLVMFuzzerCustomCrossOver(const std::uint8_t* one, std::size_t one_size,
                                                 const std::uint8_t* two, std::size_t two_size,
                                                 std::uint8_t* out, std::size_t most,
                                                 unsigned seed) {
  if (chosen()->shape == Shape::json)
    if (const auto length =
            put(fuzz::cross_json(text_of(one, one_size), text_of(two, two_size), seed), out, most))
      return length;
  // The beginning of one, the end of the other.
  std::minstd_rand random(seed);
  const auto head = std::min<std::size_t>(random() % (one_size + 1), most);
  const auto tail = std::min<std::size_t>(random() % (two_size + 1), most - head);
  std::memcpy(out, one, head);
  std::memcpy(out + head, two + (two_size - tail), tail);
  return head + tail;
}

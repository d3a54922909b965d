// Jobs as documents and as they grow, and every question about them.
#include "check.hpp"
#include "harness.hpp"
#include "small.hpp"

#include <faultloom/documents/job_book.hpp>
#include <faultloom/documents/job_reader.hpp>
#include <faultloom/documents/learning.hpp>
#include <faultloom/documents/model_parts.hpp>
#include <nlohmann/json.hpp>

#include <string>

namespace fuzz {
namespace {

using namespace faultloom;
using documents::JobBook;
using nlohmann::json;

JobBook small_book() { return JobBook(small_job(), small_model()); }

/// What a book says is a job that can be taken up again, and is then the same.
void check_book(const JobBook& book) {
  const auto text = book.text();
  require(documents::JobBook(text, small_model()).text() == text, "a job changed by reading it",
          text);
  require(book.difference(text) == "{}", "a job that differs from itself", text);
  static_cast<void>(small_model().parts().job(text));
}

void read_job(std::string_view input) {
  documents::Job job;
  const bool readable = accepted([&] { job = small_model().parts().job(input); }, input);
  std::string text;
  const bool taken = accepted(
      [&] {
        const JobBook book(input, small_model());
        text = book.text();
        check_book(book);
      },
      input);
  require(readable == taken, "read as a job, but not taken up, or the other way round");
  if (!readable) return;
  const auto again = small_model().parts().job(text);
  require(again.entries.size() == job.entries.size() && again.entry_texts == job.entry_texts &&
              again.verdict == job.verdict,
          "a job that lost something", text);
}

/// Makes a change; a refused one leaves the book as it was.
template <typename Prepare>
void change(JobBook& book, std::string_view input, Prepare&& prepare) {
  const auto before = book.text();
  if (accepted([&] { book.commit(prepare()); }, input)) {
    check_book(book);
  } else {
    require(book.text() == before, "a refused change left a trace", input);
  }
}

void change_job(std::string_view input) {
  auto book = small_book();
  change(book, input, [&] { return book.prepare(input); });
  change(book, input, [&] { return book.prepare(input); });
  change(book, "", [&] { return book.prepare(small_changes().front()); });
}

void add_entry(std::string_view input) {
  auto book = small_book();
  change(book, input, [&] { return book.prepare_entry(input); });
}

void set_members(std::string_view input) {
  auto book = small_book();
  change(book, input, [&] { return book.prepare_members(input); });
}

void update_job(std::string_view input) {
  auto book = small_book();
  std::string difference;
  if (!accepted([&] { difference = book.difference(input); }, input)) return;
  change(book, "", [&] { return book.prepare(difference); });
}

/// Probabilities of an answer, wherever they stand. A null is a number that is none; only a group without a
/// splitter has one.
void check_probabilities(const json& answer) {
  if (answer.is_structured())
    for (const auto& [key, value] : answer.items()) {
      require(!value.is_null() || key == "splitter", "no number", key);
      if (value.is_number() && (key == "probability" || key == "bound"))
        require(value.get<double>() >= 0 && value.get<double>() <= 1, "no probability",
                value.dump());
      check_probabilities(value);
    }
}

void ask(std::string_view input) {
  const auto& model = small_model();
  if (!accepted([&] { static_cast<void>(model.parts().job(input)); }, input)) return;
  const auto check = [&](auto&& question) {
    std::string answer;
    if (accepted([&] { answer = question(); })) check_probabilities(json::parse(answer));
  };
  const auto& options = small_options();
  check([&] { return model.rank_json(input, options[0]); });
  check([&] { return model.next_json(input, options[1]); });
  check([&] { return model.plan_json(input, options[2]); });
  check([&] { return model.explain_json(input, options[7]); });
  check([&] { return model.ambiguity_json(input, options[3]); });
  check([&] { return documents::sensitivity(model, input, options[7]); });
}

std::vector<Seed> jobs() {
  auto closed = json::parse(small_job());
  closed["closing"] = {{"verdict", "not_repaired"}, {"by", "word"}, {"reported", {"S1"}}};
  auto empty = json::parse(small_job());
  empty["entries"] = json::array();
  empty["withdrawn"] = json::array();
  // So old that several faults are there at once, also of a wire that was repaired.
  auto worn_out = empty;
  worn_out["exposure_hours"] = 1e6;
  worn_out["entries"] = json::parse(R"([
    {"id":"n1","type":"reading","instrument":"clamp","wire":"W6","amps":0,"state":{"pedal":"down"}},
    {"id":"n2","type":"reading","instrument":"filament_lamp_5w","red":"K1.line","black":"X1-1.plug","outcome":"dark",
     "state":{"key":"start"}},
    {"id":"n3","type":"repair","component":"W5:from"},
    {"id":"n4","type":"sign","part":"K1","sign":"click","state":{"key":"on"},"outcome":"no"}])");
  // Against all odds, by more than any number is small.
  auto unbelievable = empty;
  unbelievable["entries"] = json::parse(R"([
    {"id":"n1","type":"sign","part":"M1","sign":"turns","tries":{"yes":1000,"chatters":1000}}])");
  return numbered({small_job(), closed.dump(), empty.dump(), tests_text("journals/job-1.0.json"),
                   worn_out.dump(), unbelievable.dump()});
}

/// Changes of every sort, and one that adds for each type of entry.
std::vector<Seed> changes() {
  auto texts = small_changes();
  for (const auto& entry : small_entries()) texts.push_back(R"({"add":[)" + entry + "]}");
  return numbered(texts);
}

std::vector<Seed> members() {
  std::vector<std::string> texts;
  for (const auto& text : small_changes())
    if (const auto change = json::parse(text); change.contains("set"))
      texts.push_back(change["set"].dump());
  return numbered(texts);
}

}  // namespace

std::vector<Harness> job_harnesses() {
  return {
      {"job", Shape::json, 60, 16384, read_job, jobs},
      {"change", Shape::json, 25, 8192, change_job, changes},
      {"entry", Shape::json, 50, 4096, add_entry, [] { return numbered(small_entries()); }},
      {"members", Shape::json, 50, 4096, set_members, members},
      {"update", Shape::json, 50, 16384, update_job, jobs},
      {"answers", Shape::json, 12, 16384, ask, jobs},
  };
}

}  // namespace fuzz

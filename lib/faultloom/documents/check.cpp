#include <faultloom/base/one_line.hpp>
#include <faultloom/documents/answers.hpp>
#include <faultloom/documents/embedded.hpp>
#include <faultloom/documents/findings.hpp>
#include <faultloom/documents/history_reader.hpp>
#include <faultloom/documents/instruments_reader.hpp>
#include <faultloom/documents/job_journal.hpp>
#include <faultloom/documents/kinds.hpp>
#include <faultloom/documents/model.hpp>
#include <faultloom/documents/rates_reader.hpp>
#include <faultloom/documents/references.hpp>
#include <faultloom/documents/schema.hpp>
#include <faultloom/documents/text.hpp>
#include <faultloom/documents/vehicle_reader.hpp>
#include <nlohmann/json.hpp>

namespace faultloom::documents {
namespace {

std::string format_of(std::string_view text) {
  const auto document = parse_text(text);
  if (document.is_object() && document.contains("format") && document["format"].is_string())
    return document["format"].get<std::string>();
  return "";
}

KindCatalog kinds_from(std::string_view kinds) {
  return kinds.empty() ? default_kinds() : read_kinds(kinds);
}

/// A vehicle with everything the library ships, so that lint can look at the circuit too.
std::vector<Problem> check_vehicle(std::string_view text, std::string_view kinds) {
  ModelSources sources;
  sources.vehicle = text;
  sources.kinds = kinds;
  return Model(sources).lint();
}

std::vector<Problem> check_known(std::string_view text, std::string_view kinds,
                                 const std::string& format) {
  std::vector<Problem> problems;
  if (format == "faultloom.vehicle") return check_vehicle(text, kinds);
  if (format == "faultloom.kinds") {
    static_cast<void>(read_kinds(text));
  } else if (format == "faultloom.rates") {
    check_rates(read_rates(text), kinds_from(kinds), problems);
  } else if (format == "faultloom.instruments") {
    static_cast<void>(read_instruments(text));
  } else if (format == "faultloom.cautions") {
    static_cast<void>(read_cautions(text));
  } else if (format == "faultloom.job") {
    // Names are resolved against the vehicle when the job is ranked; alone, its form can be checked.
    check_schema(parse_text(text), "job", problems);
  } else if (format == "faultloom.history") {
    check_history(text, problems);
  } else {
    problems.push_back({Code::schema,
                        format.empty()
                            ? "The document does not say what it is; give it a \"format\" such as "
                              "\"faultloom.vehicle\""
                            : "Unknown format '" + format +
                                  "'; use faultloom.vehicle, kinds, rates, "
                                  "instruments, cautions, job or history",
                        "/format"});
  }
  return problems;
}

/// What is wrong with a journal itself, then with the job in it.
std::vector<Problem> check_journal(std::string_view bytes) {
  const auto read = read_journal(bytes);
  std::vector<Problem> problems;
  for (const auto& damage : read.damage) problems.push_back({Code::damaged, damage.message, ""});
  check_schema(parse_text(read.document), "job", problems);
  return problems;
}

}  // namespace

std::vector<Problem> check_document(std::string_view text, std::string_view kinds) {
  try {
    auto problems = journal::looks_like_journal(text) ? check_journal(text)
                                                      : check_known(text, kinds, format_of(text));
    keep_to_one_line(problems);
    remove_repeats(problems);
    cap(problems);
    return problems;
  } catch (const Error& error) {
    return error.problems();
  }
}

}  // namespace faultloom::documents

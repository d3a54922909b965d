#include <faultloom/documents/schema.hpp>

#include <faultloom/base/one_line.hpp>
#include <faultloom/documents/embedded.hpp>
#include <faultloom/documents/findings.hpp>
#include <faultloom/documents/schema_explainer.hpp>
#include <faultloom/documents/text.hpp>

#include <fmt/format.h>
#include <nlohmann/json.hpp>
#include <valijson/adapters/nlohmann_json_adapter.hpp>
#include <valijson/schema.hpp>
#include <valijson/schema_parser.hpp>
#include <valijson/validator.hpp>

#include <memory>
#include <mutex>
#include <string>
#include <utility>
#include <vector>

namespace faultloom::documents {
namespace {

using nlohmann::json;
using Adapter = valijson::adapters::NlohmannJsonAdapter;

/// The validator's own words, for what explain() has no words for.
std::vector<Problem> raw_problems(const valijson::Schema& schema, const json& document) {
  valijson::Validator validator(valijson::Validator::kStrongTypes);
  valijson::ValidationResults results;
  validator.validate(schema, Adapter(document), &results);
  std::size_t deepest = 0;
  for (const auto& error : results) deepest = std::max(deepest, error.context.size());
  std::vector<Problem> problems;
  for (const auto& error : results) {
    if (error.context.size() != deepest) continue;
    std::string pointer;
    for (std::size_t i = 1; i < error.context.size(); ++i) {
      // The validator writes a step as ["key"] or [3].
      std::string_view step = error.context[i];
      if (step.starts_with('[')) step = step.substr(1, step.size() - 2);
      if (step.starts_with('"')) step = step.substr(1, step.size() - 2);
      pointer += "/" + pointer_token(step);
    }
    problems.push_back({Code::schema, error.description, pointer});
  }
  return problems;
}

}  // namespace

struct Schema::Parsed {
  /// What is made while checking and good for the next document; for one thread at a time.
  struct Checker {
    valijson::Validator validator{valijson::Validator::kStrongTypes};  // keeps its patterns, too
    Patterns patterns;
  };

  [[nodiscard]] std::unique_ptr<Checker> take() const {
    const std::scoped_lock guard(lock);
    if (idle.empty()) return std::make_unique<Checker>();
    auto checker = std::move(idle.back());
    idle.pop_back();
    return checker;
  }
  void give_back(std::unique_ptr<Checker> checker) const {
    const std::scoped_lock guard(lock);
    if (idle.size() < most_idle) idle.push_back(std::move(checker));
  }

  static constexpr std::size_t most_idle = 8;
  std::string kind;
  json text;
  valijson::Schema schema;
  mutable std::mutex lock;
  mutable std::vector<std::unique_ptr<Checker>> idle;
};

Schema::Schema(std::string_view document_kind) {
  const auto text = embedded_document("schema/" + std::string(document_kind));
  if (text.empty())
    throw Error(Code::internal,
                fmt::format("There is no schema for documents of kind '{}'", document_kind));
  auto parsed = std::make_unique<Parsed>();
  parsed->kind = document_kind;
  parsed->text = parse_text(text);
  valijson::SchemaParser(valijson::SchemaParser::kDraft7)
      .populateSchema(Adapter(parsed->text), parsed->schema);
  parsed_ = std::move(parsed);
}

Schema::Schema(Schema&&) noexcept = default;
Schema& Schema::operator=(Schema&&) noexcept = default;
Schema::~Schema() = default;

void Schema::check(const json& document, std::vector<Problem>& problems) const {
  auto checker = parsed_->take();
  const bool good = checker->validator.validate(parsed_->schema, Adapter(document), nullptr);
  std::vector<Problem> found;
  if (!good) found = explain(parsed_->text, document, checker->patterns);
  parsed_->give_back(std::move(checker));
  if (good) return;
  if (found.empty()) found = raw_problems(parsed_->schema, document);
  if (found.empty())
    found.push_back({Code::schema, fmt::format("Not a {} document", parsed_->kind), ""});
  keep_to_one_line(found);
  remove_repeats(found);
  cap(found);
  problems.insert(problems.end(), std::make_move_iterator(found.begin()),
                  std::make_move_iterator(found.end()));
}

void check_schema(const json& document, std::string_view document_kind,
                  std::vector<Problem>& problems) {
  Schema(document_kind).check(document, problems);
}

}  // namespace faultloom::documents

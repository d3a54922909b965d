#include <faultloom/documents/cautions_reader.hpp>

#include <faultloom/documents/access.hpp>
#include <faultloom/documents/findings.hpp>
#include <faultloom/documents/schema.hpp>
#include <faultloom/documents/text.hpp>

namespace faultloom::documents {

Cautions read_cautions(std::string_view text) {
  const auto document = parse_text(text);
  std::vector<Problem> problems;
  check_schema(document, "cautions", problems);
  throw_if_any(std::move(problems));
  Cautions cautions;
  for_members(document, "cautions", [&](const std::string& id, const nlohmann::json& value) {
    cautions.emplace(id, Caution{text_or(value, "signal_word"), text_or(value, "text")});
  });
  return cautions;
}

}  // namespace faultloom::documents

#include <faultloom/documents/text.hpp>

#include <faultloom/base/error.hpp>
#include <faultloom/documents/findings.hpp>
#include <faultloom/documents/ordered_members.hpp>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include <algorithm>
#include <string>
#include <utility>
#include <vector>

namespace faultloom::documents {
namespace {

using nlohmann::json;

/// "line 3, column 7" of a byte offset; columns count bytes, as editors do for plain ASCII.
std::string place_of(std::string_view text, std::size_t offset) {
  const auto before = text.substr(0, offset);
  const auto line = 1 + std::count(before.begin(), before.end(), '\n');
  const auto start = before.rfind('\n');
  const auto column = start == std::string_view::npos ? before.size() : before.size() - start - 1;
  return fmt::format("line {}, column {}", line, std::max<std::size_t>(column, 1));
}

/// The parser's reason without its own bookkeeping of place and exception number.
std::string reason_of(std::string_view what) {
  if (const auto bracket = what.find("] "); bracket != std::string_view::npos)
    what.remove_prefix(bracket + 2);
  if (const auto place = what.find(": ");
      what.starts_with("parse error") && place != std::string_view::npos)
    what.remove_prefix(place + 2);
  if (const auto value = what.find(" - ");
      what.starts_with("syntax error") && value != std::string_view::npos)
    what.remove_prefix(value + 3);
  // What was read last may be long, or bytes that are no text; the place says enough.
  constexpr std::string_view read = "; last read: '";
  constexpr std::string_view expected = "'; expected ";
  std::string reason(what.substr(0, what.find(read)));
  if (const auto end = what.rfind(expected);
      reason.size() < what.size() && end != std::string_view::npos)
    reason += what.substr(end + 1);
  constexpr std::size_t longest = 120;  // a number may have as many digits as the text has room for
  if (reason.size() > longest) reason = reason.substr(0, longest) + "...";
  return reason;
}

/// Whether the parser stopped in one of the words that some programs write for numbers that are
/// none.
bool at_no_number(std::string_view text, std::size_t offset) {
  const auto word = text.substr(std::min(offset == 0 ? 0 : offset - 1, text.size()));
  return word.starts_with("N") || word.starts_with("I") || word.starts_with("nan") ||
         word.starts_with("inf");
}

/// Builds the value from the parser's events and stops it at the first broken limit.
class Handler {
 public:
  using number_integer_t = json::number_integer_t;
  using number_unsigned_t = json::number_unsigned_t;
  using number_float_t = json::number_float_t;
  using string_t = json::string_t;
  using binary_t = json::binary_t;

  explicit Handler(std::string_view text) : text_(text) {}

  bool null() { return put(nullptr); }
  bool boolean(bool value) { return put(value); }
  bool number_integer(number_integer_t value) { return put(value); }
  bool number_unsigned(number_unsigned_t value) { return put(value); }
  bool number_float(number_float_t value, const string_t&) { return put(value); }
  bool string(string_t& value) { return fits(value) && put(std::move(value)); }
  bool binary(binary_t&) { return false; }

  bool start_object(std::size_t) { return open(json::object()); }
  bool end_object() { return close(); }
  bool start_array(std::size_t) { return open(json::array()); }
  bool end_array() { return close(); }

  bool key(string_t& name) {
    if (!fits(name)) return false;
    auto& object = *stack_.back();
    key_ = std::move(name);
    if (object.contains(key_) && problems.size() < max_problems)
      problems.push_back({Code::duplicate,
                          fmt::format("Key '{}' is given twice; keep one of them", key_),
                          pointer() + "/" + pointer_token(key_)});
    return true;
  }

  template <typename Exception>
  bool parse_error(std::size_t position, const std::string&, const Exception& problem) {
    auto reason = reason_of(problem.what());
    if (at_no_number(text_, position))
      reason += "; JSON has no NaN or Infinity, leave the key out if the value is unknown";
    const auto where = std::min(position, text_.size());
    problems.push_back({Code::syntax,
                        fmt::format("Not JSON at {}: {}", place_of(text_, where), reason),
                        pointer()});
    return false;
  }

  json result;
  std::vector<Problem> problems;

 private:
  bool fits(const std::string& value) {
    if (value.size() <= max_string_bytes) return true;
    problems.push_back({Code::limit,
                        fmt::format("A text of {} bytes is too long; the limit is {}", value.size(),
                                    max_string_bytes),
                        pointer()});
    return false;
  }

  json* place(json&& value) {
    if (stack_.empty()) {
      result = std::move(value);
      return &result;
    }
    auto& parent = *stack_.back();
    if (parent.is_array()) {
      parent.push_back(std::move(value));
      return &parent.back();
    }
    return &(parent[key_] = std::move(value));
  }

  template <typename Value>
  bool put(Value&& value) {
    place(json(std::forward<Value>(value)));
    return true;
  }

  bool open(json&& value) {
    if (stack_.size() >= max_depth) {
      problems.push_back({Code::limit,
                          fmt::format("The document is nested deeper than {} levels", max_depth),
                          pointer()});
      return false;
    }
    names_.push_back(stack_.empty() ? "" : step());
    stack_.push_back(place(std::move(value)));
    return true;
  }

  bool close() {
    stack_.pop_back();
    names_.pop_back();
    return true;
  }

  /// Reference token, with its slash, of what is about to be placed.
  [[nodiscard]] std::string step() const {
    const auto& parent = *stack_.back();
    return "/" + (parent.is_array() ? std::to_string(parent.size()) : pointer_token(key_));
  }

  [[nodiscard]] std::string pointer() const {
    std::string path;
    for (const auto& name : names_) path += name;
    return path;
  }

  std::string_view text_;
  std::vector<json*> stack_;
  std::vector<std::string> names_;
  std::string key_;
};

/// Builds a value with its members in order, of a text that parse_text() accepted.
class OrderedBuilder {
 public:
  using ordered = nlohmann::ordered_json;
  using number_integer_t = ordered::number_integer_t;
  using number_unsigned_t = ordered::number_unsigned_t;
  using number_float_t = ordered::number_float_t;
  using string_t = ordered::string_t;
  using binary_t = ordered::binary_t;

  bool null() { return put(nullptr); }
  bool boolean(bool value) { return put(value); }
  bool number_integer(number_integer_t value) { return put(value); }
  bool number_unsigned(number_unsigned_t value) { return put(value); }
  bool number_float(number_float_t value, const string_t&) { return put(value); }
  bool string(string_t& value) { return put(std::move(value)); }
  bool binary(binary_t&) { return false; }
  bool start_object(std::size_t) { return open(ordered::object()); }
  bool end_object() { return close(); }
  bool start_array(std::size_t) { return open(ordered::array()); }
  bool end_array() { return close(); }
  bool key(string_t& name) {
    key_ = std::move(name);
    return true;
  }
  template <typename Exception>
  bool parse_error(std::size_t, const std::string&, const Exception&) {
    return false;
  }

  ordered result;

 private:
  ordered& place(ordered&& value) {
    if (stack_.empty()) return result = std::move(value);
    auto& parent = *stack_.back();
    if (parent.is_array()) return parent.emplace_back(std::move(value));
    append_member(parent, key_, std::move(value));
    return parent.get_ref<ordered::object_t&>().back().second;
  }
  template <typename Value>
  bool put(Value&& value) {
    place(ordered(std::forward<Value>(value)));
    return true;
  }
  bool open(ordered&& value) {
    stack_.push_back(&place(std::move(value)));
    return true;
  }
  bool close() {
    stack_.pop_back();
    return true;
  }

  std::vector<ordered*> stack_;
  std::string key_;
};

}  // namespace

nlohmann::ordered_json parse_ordered(std::string_view text) {
  (void)parse_text(text);
  OrderedBuilder builder;
  if (!nlohmann::ordered_json::sax_parse(text, &builder))
    throw Error(Code::internal, "A text was read once and not again");
  return std::move(builder.result);
}

nlohmann::json parse_text(std::string_view text) {
  if (text.size() > max_text_bytes)
    throw Error(Code::limit, fmt::format("The document has {} bytes; the limit is {}", text.size(),
                                         max_text_bytes));
  Handler handler(text);
  const bool whole = json::sax_parse(text, &handler);
  if (handler.problems.empty() && !whole)
    throw Error(Code::internal, "The JSON parser stopped without a reason");
  throw_if_any(std::move(handler.problems));
  return std::move(handler.result);
}

}  // namespace faultloom::documents

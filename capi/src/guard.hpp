#pragma once

#include "handles.hpp"

#include <exception>
#include <faultloom/base/error.hpp>
#include <new>
#include <string>
#include <type_traits>
#include <utility>
#include <vector>

/// The firewall: whatever is thrown inside a call leaves it as a status and an error object.
namespace faultloom::capi {

/// Handed out when there is no memory to describe what happened.
inline constexpr faultloom_error out_of_memory{
    {},
    FAULTLOOM_E_MEMORY,
    "Out of memory",
    "",
    R"([{"code":"memory","number":902,"message":"Out of memory","pointer":""}])"};

/// Handed out when describing what happened fails for a reason other than memory.
inline constexpr faultloom_error indescribable{
    {},
    FAULTLOOM_E_INTERNAL,
    "A problem could not be described",
    "",
    R"([{"code":"internal","number":999,"message":"A problem could not be described","pointer":""}])"};

/// An error that owns its texts.
struct OwnedError : faultloom_error {
  std::string message_text;
  std::string pointer_text;
  std::string details_text;

  explicit OwnedError(const std::vector<Problem>& problems)
      : faultloom_error{}, details_text(documents::problems_json(problems)) {
    const Problem first =
        problems.empty() ? Problem{Code::internal, "Unspecified problem", ""} : problems.front();
    message_text = first.message;
    pointer_text = first.pointer;
    code = static_cast<faultloom_status>(first.code);
    message = message_text.c_str();
    pointer = pointer_text.c_str();
    details = details_text.c_str();
  }
  OwnedError(const OwnedError&) = delete;  // the pointers of the base look into this object
  OwnedError& operator=(const OwnedError&) = delete;
};

/// Frees an error made here; the constants above are left alone.
inline void release(faultloom_error* error) noexcept {
  if (error == nullptr || error == &out_of_memory || error == &indescribable) return;
  if (!is_kind(error)) return;
  delete static_cast<OwnedError*>(error);
}

/// Makes an error. A message may quote bytes of the input that are not UTF-8, which JSON can't carry; they
/// are replaced then, so that code and place still reach the caller.
inline faultloom_error* describe(const std::vector<Problem>& problems) {
  try {
    return new OwnedError(problems);
  } catch (const std::bad_alloc&) {
    throw;
  } catch (const std::exception&) {
    auto plain = problems;
    for (Problem& problem : plain)
      for (std::string* text : {&problem.message, &problem.pointer})
        for (char& c : *text)
          if (static_cast<unsigned char>(c) >= 0x80) c = '?';
    return new OwnedError(plain);
  }
}

/// The caller may read and free the constant like any other error, and has no means to change it.
inline faultloom_status hand_out(const faultloom_error& fixed, faultloom_error** error) noexcept {
  if (error != nullptr) *error = const_cast<faultloom_error*>(&fixed);
  return fixed.code;
}

inline faultloom_status hand_out(const std::vector<Problem>& problems,
                                 faultloom_error** error) noexcept {
  if (error == nullptr)
    return static_cast<faultloom_status>(problems.empty() ? Code::internal : problems.front().code);
  try {
    *error = describe(problems);
    return (*error)->code;
  } catch (const std::bad_alloc&) {
    return hand_out(out_of_memory, error);
  } catch (...) {
    return hand_out(indescribable, error);
  }
}

inline faultloom_status hand_out_defect(const char* what, faultloom_error** error) noexcept {
  try {
    return hand_out({{Code::internal, std::string("Unexpected exception: ") + what, ""}}, error);
  } catch (...) {
    return hand_out(out_of_memory, error);
  }
}

/// Turns the exception being handled into a status and an error; callable from a handler only.
inline faultloom_status translate(faultloom_error** error) noexcept {
  try {
    throw;
  } catch (const Error& problem) {
    return hand_out(problem.problems(), error);
  } catch (const std::bad_alloc&) {
    return hand_out(out_of_memory, error);
  } catch (const std::exception& defect) {
    return hand_out_defect(defect.what(), error);
  } catch (...) {
    return hand_out_defect("not a std::exception", error);
  }
}

/// Runs the work of one call; `error` may be null.
template <typename Work>
faultloom_status guard(faultloom_error** error, Work&& work) noexcept {
  if (error != nullptr) *error = nullptr;
  try {
    std::forward<Work>(work)();
    return FAULTLOOM_OK;
  } catch (...) {
    return translate(error);
  }
}

}  // namespace faultloom::capi

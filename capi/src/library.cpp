#include <faultloom.h>

#include "guard.hpp"

#include <array>
#include <cstddef>
#include <faultloom/base/error.hpp>
#include <string_view>

#ifndef FAULTLOOM_COMPILER
#define FAULTLOOM_COMPILER "unknown"
#endif
#ifndef FAULTLOOM_BUILD_TYPE
#define FAULTLOOM_BUILD_TYPE "unknown"
#endif
#define FAULTLOOM_QUOTE(x) #x
#define FAULTLOOM_QUOTE_VALUE(x) FAULTLOOM_QUOTE(x)

namespace faultloom::capi {
namespace {

// The header spells the codes out for its readers. Here each is held against the library's own table, in
// both directions, so that neither list can grow or change alone.
struct NamedCode {
  std::string_view name;
  int number;
};

#define FAULTLOOM_LISTED(name) \
  NamedCode { #name, FAULTLOOM_E_##name }
constexpr std::array header_codes{
    FAULTLOOM_LISTED(SYNTAX),     FAULTLOOM_LISTED(SCHEMA),       FAULTLOOM_LISTED(REFERENCE),
    FAULTLOOM_LISTED(VALUE),      FAULTLOOM_LISTED(LOOP),         FAULTLOOM_LISTED(LIMIT),
    FAULTLOOM_LISTED(DUPLICATE),  FAULTLOOM_LISTED(DAMAGED),      FAULTLOOM_LISTED(DANGLING),
    FAULTLOOM_LISTED(ISLAND),     FAULTLOOM_LISTED(IDLE_CONTROL), FAULTLOOM_LISTED(UNREACHABLE),
    FAULTLOOM_LISTED(SHARED_PIN), FAULTLOOM_LISTED(SILENT_MODE),  FAULTLOOM_LISTED(READING),
    FAULTLOOM_LISTED(NO_STEP),    FAULTLOOM_LISTED(NOT_VERIFIED), FAULTLOOM_LISTED(STORAGE),
    FAULTLOOM_LISTED(IN_USE),     FAULTLOOM_LISTED(CHANGED),      FAULTLOOM_LISTED(ARGUMENT),
    FAULTLOOM_LISTED(MEMORY),     FAULTLOOM_LISTED(CANCELLED),    FAULTLOOM_LISTED(INTERNAL)};
#undef FAULTLOOM_LISTED

constexpr bool same_name(std::string_view upper, std::string_view lower) {
  if (upper.size() != lower.size()) return false;
  for (std::size_t i = 0; i < upper.size(); ++i) {
    const char c = lower[i];
    if (upper[i] != (c >= 'a' && c <= 'z' ? static_cast<char>(c - 'a' + 'A') : c)) return false;
  }
  return true;
}

constexpr int number_in_header(std::string_view name) {
  for (const NamedCode& code : header_codes)
    if (same_name(code.name, name)) return code.number;
  return -1;
}

#define FAULTLOOM_CODE(name, number, meaning) \
  static_assert(number_in_header(#name) == (number), "faultloom.h and codes.def differ: " #name);
#include <faultloom/base/codes.def>
#undef FAULTLOOM_CODE

#define FAULTLOOM_CODE(name, number, meaning) +1
constexpr std::size_t code_count = 0
#include <faultloom/base/codes.def>
    ;
#undef FAULTLOOM_CODE
static_assert(header_codes.size() == code_count, "faultloom.h and codes.def have different codes");
static_assert(FAULTLOOM_OK == static_cast<int>(Code::ok));

// Functions that can't fail answer for a handle of another kind what they answer for NULL.
bool is_error(const faultloom_error* error) noexcept { return error != nullptr && is_kind(error); }
bool is_text(const faultloom_text* text) noexcept { return text != nullptr && is_kind(text); }

}  // namespace
}  // namespace faultloom::capi

namespace capi = faultloom::capi;
using capi::is_error;
using capi::is_text;

uint32_t faultloom_abi_version(void) { return FAULTLOOM_ABI_VERSION; }

const char* faultloom_version(void) { return FAULTLOOM_VERSION; }

const char* faultloom_build_info(void) {
  return "{\"version\":\"" FAULTLOOM_VERSION "\",\"abi\":" FAULTLOOM_QUOTE_VALUE(
      FAULTLOOM_ABI_VERSION) ",\"compiler\":\"" FAULTLOOM_COMPILER
                             "\",\"build_type\":\"" FAULTLOOM_BUILD_TYPE "\"}";
}

// Both views are of string literals, so a NUL follows them.
const char* faultloom_status_name(faultloom_status status) {
  return faultloom::name_of(static_cast<faultloom::Code>(status)).data();
}

const char* faultloom_status_meaning(faultloom_status status) {
  return faultloom::meaning_of(static_cast<faultloom::Code>(status)).data();
}

faultloom_status faultloom_error_code(const faultloom_error* error) {
  return is_error(error) ? error->code : faultloom_status{FAULTLOOM_OK};
}

const char* faultloom_error_message(const faultloom_error* error) {
  return is_error(error) ? error->message : "";
}

const char* faultloom_error_pointer(const faultloom_error* error) {
  return is_error(error) ? error->pointer : "";
}

const char* faultloom_error_details(const faultloom_error* error) {
  return is_error(error) ? error->details : "[]";
}

void faultloom_error_free(faultloom_error* error) { capi::release(error); }

const char* faultloom_text_data(const faultloom_text* text) {
  return is_text(text) ? text->value.c_str() : "";
}

size_t faultloom_text_size(const faultloom_text* text) {
  return is_text(text) ? text->value.size() : 0;
}

void faultloom_text_free(faultloom_text* text) {
  if (is_text(text)) delete text;
}

#pragma once

#include <faultloom.h>
#include <cstdint>
#include <cstring>
#include <faultloom/documents/job_journal.hpp>
#include <faultloom/documents/model.hpp>
#include <string>
#include <vector>

/// What stands behind the opaque types of the C interface.

namespace faultloom::capi {

/// First member of every handle, so that one kind can be told from another. The numbers spell a word.
template <std::uint64_t kind>
struct Stamp {
  static constexpr std::uint64_t number = kind;
  std::uint64_t value = number;
};

/// Whether a pointer that callers handed in as a Handle is one. It may point to a handle of any kind, so
/// only bytes are looked at. One that was freed can't be told for sure.
template <typename Handle>
bool is_kind(const Handle* handle) noexcept {
  std::uint64_t found = 0;
  std::memcpy(&found, static_cast<const void*>(handle), sizeof found);
  return found == decltype(handle->stamp)::number;
}

}  // namespace faultloom::capi

/// The names are kept beside the model so that a caller can borrow them and asking for one is O(1).
struct faultloom_model {
  faultloom::capi::Stamp<0x6c65646f6d6c66> stamp;  // flmodel
  faultloom::documents::Model model;
  std::vector<std::string> terminals;
  std::vector<std::string> modes;
};

struct faultloom_job {
  faultloom::capi::Stamp<0x626f6a6c66> stamp;  // fljob
  faultloom::documents::JobBook book;
};

struct faultloom_journal {
  faultloom::capi::Stamp<0x6e72756f6a6c66> stamp;  // fljourn
  faultloom::documents::JobJournal journal;
};

struct faultloom_text {
  faultloom::capi::Stamp<0x747865746c66> stamp;  // fltext
  std::string value;
};

/// Plain pointers, so that an error can also be a constant that needs no memory.
struct faultloom_error {
  faultloom::capi::Stamp<0x726f7272656c66> stamp;  // flerror
  faultloom_status code;
  const char* message;
  const char* pointer;
  const char* details;
};

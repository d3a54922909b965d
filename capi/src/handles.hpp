#pragma once

#include <faultloom.h>
#include <faultloom/documents/job_journal.hpp>
#include <faultloom/documents/model.hpp>
#include <string>
#include <vector>

/// What stands behind the opaque types of the C interface.

/// The names are kept beside the model so that a caller can borrow them and asking for one is O(1).
struct faultloom_model {
  faultloom::documents::Model model;
  std::vector<std::string> terminals;
  std::vector<std::string> modes;
};

struct faultloom_job {
  faultloom::documents::JobBook book;
};

struct faultloom_journal {
  faultloom::documents::JobJournal journal;
};

struct faultloom_text {
  std::string value;
};

/// Plain pointers, so that an error can also be a constant that needs no memory.
struct faultloom_error {
  faultloom_status code;
  const char* message;
  const char* pointer;
  const char* details;
};

#pragma once

#include <cstddef>

/// A disk that fails when told to. The test program brings the calls of the operating system that write, which
/// the library then uses too; they do what they always do until something is set here.
namespace failing_disk {

struct Faults {
  long bytes_left = -1;  ///< so many more bytes are taken, then `write_error`; negative: any number
  int write_error = 0;   ///< error number; 0: short writes only
  std::size_t most_bytes = 0;  ///< most bytes in one write, 0: no limit
  int interruptions = 0;       ///< so many writes are interrupted first
  int sync_error = 0;          ///< of fdatasync and fsync
  bool truncate_fails = false;
  bool no_sync = false;  ///< fdatasync and fsync do nothing, for tests with very many files
};

/// Sets faults for this thread as long as it lives.
class Injected {
 public:
  explicit Injected(const Faults& faults);
  ~Injected();
  Injected(const Injected&) = delete;
  Injected& operator=(const Injected&) = delete;
};

}  // namespace failing_disk

#include "failing_disk.hpp"

#include <sys/syscall.h>
#include <sys/types.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>

namespace failing_disk {
namespace {

thread_local Faults faults;

}  // namespace

Injected::Injected(const Faults& wanted) { faults = wanted; }
Injected::~Injected() { faults = {}; }

namespace {

ssize_t write_at(int file, const void* bytes, std::size_t count, off_t at) {
  if (faults.interruptions > 0) {
    --faults.interruptions;
    errno = EINTR;
    return -1;
  }
  if (faults.most_bytes > 0) count = std::min(count, faults.most_bytes);
  if (faults.bytes_left >= 0) {
    if (faults.bytes_left == 0 && count > 0) {
      errno = faults.write_error;
      return -1;
    }
    count = std::min(count, static_cast<std::size_t>(faults.bytes_left));
    faults.bytes_left -= static_cast<long>(count);
  }
  return static_cast<ssize_t>(syscall(SYS_pwrite64, file, bytes, count, at));
}

int synced(long number, int file) {
  if (faults.sync_error != 0) {
    errno = faults.sync_error;
    return -1;
  }
  return faults.no_sync ? 0 : static_cast<int>(syscall(number, file));
}

}  // namespace
}  // namespace failing_disk

extern "C" {

ssize_t pwrite(int file, const void* bytes, std::size_t count, off_t at) {
  return failing_disk::write_at(file, bytes, count, at);
}
ssize_t pwrite64(int file, const void* bytes, std::size_t count, off_t at) {
  return failing_disk::write_at(file, bytes, count, at);
}
int fdatasync(int file) { return failing_disk::synced(SYS_fdatasync, file); }
int fsync(int file) { return failing_disk::synced(SYS_fsync, file); }
int ftruncate(int file, off_t length) noexcept {
  if (failing_disk::faults.truncate_fails) {
    errno = EIO;
    return -1;
  }
  return static_cast<int>(syscall(SYS_ftruncate, file, length));
}

}  // extern "C"

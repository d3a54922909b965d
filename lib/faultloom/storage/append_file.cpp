#include <faultloom/storage/append_file.hpp>

#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <climits>
#include <cstdlib>
#include <faultloom/base/error.hpp>
#include <memory>
#include <new>
#include <optional>
#include <system_error>

namespace faultloom::storage {
namespace {

constexpr mode_t new_mode = 0666;
constexpr int tries = 16;
constexpr int most_side_files = 9999;

/// A descriptor that is closed when it is not handed on.
class Descriptor {
 public:
  explicit Descriptor(int value) : value_(value) {}
  Descriptor(Descriptor&& other) noexcept : value_(std::exchange(other.value_, -1)) {}
  Descriptor& operator=(Descriptor&&) = delete;
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
  ~Descriptor() {
    if (value_ >= 0) ::close(value_);
  }
  [[nodiscard]] int get() const { return value_; }
  [[nodiscard]] int release() { return std::exchange(value_, -1); }

 private:
  int value_;
};

[[noreturn]] void refuse(const std::string& path, const std::string& what, int number,
                         const std::string& advice) {
  // The C++ library gives the words without touching anything shared.
  const auto words = std::generic_category().message(number);
  throw Error(Code::storage, "File '" + path + "' can't be " + what + ": " + words + "; " + advice);
}

[[noreturn]] void refuse_in_use(const std::string& path) {
  throw Error(Code::in_use,
              "File '" + path + "' is held by another writer; end that one first, or only read it");
}

[[noreturn]] void refuse_changed(const std::string& path) {
  throw Error(Code::changed, "File '" + path +
                                 "' was changed by something else meanwhile; open it again to go "
                                 "on from what it holds now");
}

std::string folder_of(const std::string& path) {
  const auto slash = path.rfind('/');
  return slash == 0 ? "/" : path.substr(0, slash);
}

std::string name_of(const std::string& path) { return path.substr(path.rfind('/') + 1); }

std::string new_path(const std::string& path) {
  return folder_of(path) + "/." + name_of(path) + ".new";
}

/// realpath(3), or nothing and errno.
std::optional<std::string> real_path(const std::string& path) {
  const std::unique_ptr<char, decltype(&std::free)> found(::realpath(path.c_str(), nullptr),
                                                          &std::free);
  if (!found) {
    if (errno == ENOMEM) throw std::bad_alloc();
    return std::nullopt;
  }
  return std::string(found.get());
}

/// Absolute path of a file that need not be there; its folder must be.
std::string place_of(const std::string& path) {
  if (path.empty() || path.find('\0') != std::string::npos)
    throw Error(Code::argument, "The path of a journal is empty or has a NUL in it");
  if (auto whole = real_path(path)) return *whole;
  const auto slash = path.rfind('/');
  const auto folder = slash == std::string::npos ? std::string(".") : path.substr(0, slash + 1);
  const auto name = slash == std::string::npos ? path : path.substr(slash + 1);
  const auto real = real_path(folder);
  if (!real || name.empty() || name == "." || name == "..")
    refuse(path, "reached", real ? EISDIR : errno, "name a file in a folder that is there");
  return (*real == "/" ? "" : *real) + "/" + name;
}

/// Writes all bytes at a place of a file; an error number, 0 if all went well.
int write_all(int descriptor, std::string_view bytes, std::size_t at) {
  while (!bytes.empty()) {
    const auto count = ::pwrite(descriptor, bytes.data(), bytes.size(), static_cast<off_t>(at));
    if (count < 0) {
      if (errno == EINTR) continue;
      return errno;
    }
    // A write of nothing would be tried for ever.
    if (count == 0) return ENOSPC;
    bytes.remove_prefix(static_cast<std::size_t>(count));
    at += static_cast<std::size_t>(count);
  }
  return 0;
}

/// Puts names on the disk too. Some file systems have no such call for folders and need none.
int sync_folder(const std::string& path) {
  const Descriptor folder(::open(folder_of(path).c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
  if (folder.get() < 0) return errno == EACCES ? 0 : errno;
  if (::fsync(folder.get()) == 0 || errno == EINVAL || errno == ENOTSUP) return 0;
  return errno;
}

/// Whether a path leads to the file that a descriptor is open on.
bool is_at(int descriptor, const std::string& path) {
  struct stat open_one {};
  struct stat named_one {};
  return ::fstat(descriptor, &open_one) == 0 && ::stat(path.c_str(), &named_one) == 0 &&
         open_one.st_dev == named_one.st_dev && open_one.st_ino == named_one.st_ino;
}

/// Opens and locks what a path leads to once the lock is there.
Descriptor open_locked(const std::string& path, int more_flags, const std::string& shown) {
  for (int i = 0; i < tries; ++i) {
    Descriptor file(
        ::open(path.c_str(), O_RDWR | O_CLOEXEC | O_NONBLOCK | O_NOCTTY | more_flags, new_mode));
    if (file.get() < 0)
      refuse(shown, "opened for writing", errno, "see that it is there and may be written");
    struct stat about {};
    if (::fstat(file.get(), &about) != 0) refuse(shown, "opened", errno, "try again");
    if (!S_ISREG(about.st_mode)) refuse(shown, "opened", EINVAL, "name an ordinary file");
    if (::flock(file.get(), LOCK_EX | LOCK_NB) != 0) {
      if (errno == EWOULDBLOCK) refuse_in_use(shown);
      refuse(shown, "locked", errno, "keep it on a file system that has locks");
    }
    // Whoever held it may have put another file in its place between the two calls above.
    if (is_at(file.get(), path)) return file;
  }
  refuse_in_use(shown);
}

/// A locked file at `.NAME.new` that holds some bytes, on the disk; removed unless it gets its name.
class Beside {
 public:
  Beside(const std::string& path, std::string_view bytes)
      : place_(new_path(path)), file_(open_locked(place_, O_CREAT, path)) {
    int problem = ::ftruncate(file_.get(), 0) == 0 ? 0 : errno;
    if (problem == 0) problem = write_all(file_.get(), bytes, 0);
    if (problem == 0 && ::fsync(file_.get()) != 0) problem = errno;
    if (problem == 0) return;
    ::unlink(place_.c_str());
    refuse(path, "written", problem, "make room or name another place");
  }
  Beside(const Beside&) = delete;
  Beside& operator=(const Beside&) = delete;
  ~Beside() {
    if (!named_) ::unlink(place_.c_str());
  }

  [[nodiscard]] const std::string& place() const { return place_; }
  [[nodiscard]] int descriptor() const { return file_.get(); }
  /// Says that the file has its name now.
  void keep() { named_ = true; }
  [[nodiscard]] int release() { return file_.release(); }

 private:
  std::string place_;
  Descriptor file_;
  bool named_ = false;
};

/// Gives a file a further name that must be free; an error number, 0 if all went well.
int add_name(const std::string& from, const std::string& to) {
  if (::link(from.c_str(), to.c_str()) == 0) return 0;
  return errno;
}

bool has_no_links(int problem) {
  return problem == EPERM || problem == ENOTSUP || problem == ENOSYS || problem == EMLINK;
}

bool is_empty_file(const std::string& path) {
  struct stat about {};
  return ::stat(path.c_str(), &about) == 0 && S_ISREG(about.st_mode) && about.st_size == 0;
}

/// Gives a file its name unless there is such a file already; an error number, 0 if all went well.
int take_name(Beside& beside, const std::string& path) {
  const int problem = add_name(beside.place(), path);
  if (problem == 0) return 0;  // its first name goes with `beside`
  if (has_no_links(problem)) {
    // The name is taken first, so that two can't get it.
    const Descriptor reserved(::open(path.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600));
    if (reserved.get() < 0 && !(errno == EEXIST && is_empty_file(path))) return errno;
  } else if (!(problem == EEXIST && is_empty_file(path))) {
    return problem;
  }
  if (::rename(beside.place().c_str(), path.c_str()) != 0) return errno;
  beside.keep();
  return 0;
}

std::string numbered(const std::string& path, const std::string& suffix, int number) {
  return path + suffix + "-" + std::to_string(number);
}

/// Writes bytes into a new file NAME.SUFFIX-1 or the next number that is free; they are on the disk then.
std::string write_side_file(const std::string& path, const std::string& suffix,
                            std::string_view bytes) {
  for (int i = 1; i <= most_side_files; ++i) {
    auto side = numbered(path, suffix, i);
    const Descriptor file(::open(side.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, new_mode));
    if (file.get() < 0 && errno == EEXIST) continue;
    int problem = file.get() < 0 ? errno : write_all(file.get(), bytes, 0);
    if (problem == 0 && ::fsync(file.get()) != 0) problem = errno;
    if (problem == 0) problem = sync_folder(side);
    if (problem == 0) return side;
    if (file.get() >= 0) ::unlink(side.c_str());
    refuse(side, "written", problem, "make room, then open the journal again");
  }
  refuse(path + suffix, "written", EEXIST, "move the older ones elsewhere");
}

/// Gives a file a second name NAME.SUFFIX, or with the next number that is free.
std::string keep_as(const std::string& path, const std::string& suffix, const AppendFile& file) {
  for (int i = 0; i <= most_side_files; ++i) {
    auto kept = i == 0 ? path + suffix : numbered(path, suffix, i);
    const int problem = add_name(path, kept);
    if (problem == 0) return kept;
    if (has_no_links(problem)) return write_side_file(path, suffix, file.read());
    if (problem != EEXIST)
      refuse(kept, "written", problem, "make room, then open the journal again");
  }
  refuse(path + suffix, "written", EEXIST, "move the older ones elsewhere");
}

}  // namespace

AppendFile AppendFile::create(const std::string& path, std::string_view first) {
  auto place = place_of(path);
  if (first.size() > max_file_bytes)
    throw Error(Code::limit, "File '" + place + "' would be larger than " +
                                 std::to_string(max_file_bytes) + " bytes; leave something out");
  Beside beside(place, first);
  if (const int problem = take_name(beside, place); problem != 0)
    refuse(place, "made", problem,
           problem == EEXIST ? "open the one that is there, or name a new file"
                             : "name another place");
  if (const int problem = sync_folder(place); problem != 0)
    refuse(place, "put on the disk", problem, "open it again or name another place");
  return {std::move(place), beside.release(), first.size()};
}

AppendFile AppendFile::open(const std::string& path) {
  auto place = place_of(path);
  Descriptor file = open_locked(place, 0, place);
  struct stat about {};
  if (::fstat(file.get(), &about) != 0) refuse(place, "opened", errno, "try again");
  const auto size = static_cast<std::size_t>(about.st_size);
  if (size > max_file_bytes)
    throw Error(Code::limit, "File '" + place + "' has " + std::to_string(size) +
                                 " bytes; the limit is " + std::to_string(max_file_bytes));
  return {std::move(place), file.release(), size};
}

AppendFile& AppendFile::operator=(AppendFile&& other) noexcept {
  std::swap(path_, other.path_);
  std::swap(descriptor_, other.descriptor_);
  std::swap(size_, other.size_);
  std::swap(broken_, other.broken_);
  return *this;
}

AppendFile::~AppendFile() {
  if (descriptor_ >= 0) ::close(descriptor_);
}

std::string AppendFile::read() const {
  std::string bytes(size_, '\0');
  std::size_t done = 0;
  while (done < size_) {
    const auto count =
        ::pread(descriptor_, bytes.data() + done, size_ - done, static_cast<off_t>(done));
    if (count < 0 && errno == EINTR) continue;
    if (count < 0) refuse(path_, "read", errno, "restore it from a copy");
    if (count == 0) refuse_changed(path_);
    done += static_cast<std::size_t>(count);
  }
  return bytes;
}

void AppendFile::require_unchanged() const {
  if (broken_)
    throw Error(Code::storage,
                "File '" + path_ + "' could not be put back after a failed write; open it again");
  struct stat about {};
  if (::fstat(descriptor_, &about) != 0) refuse(path_, "written", errno, "open it again");
  // What is written to a file that was removed or replaced is gone when it is closed.
  if (static_cast<std::size_t>(about.st_size) != size_ || !is_at(descriptor_, path_))
    refuse_changed(path_);
}

void AppendFile::append(std::string_view bytes) {
  require_unchanged();
  if (bytes.size() > max_file_bytes - size_)
    throw Error(Code::limit, "File '" + path_ + "' would be larger than " +
                                 std::to_string(max_file_bytes) +
                                 " bytes; go on in a new one made from the job");
  int problem = write_all(descriptor_, bytes, size_);
  if (problem == 0 && ::fdatasync(descriptor_) != 0) problem = errno;
  if (problem == 0) {
    size_ += bytes.size();
    return;
  }
  if (::ftruncate(descriptor_, static_cast<off_t>(size_)) != 0) broken_ = true;
  refuse(path_, "written", problem, "nothing was added; make room and try again");
}

std::string AppendFile::set_aside(std::size_t from) {
  require_unchanged();
  const auto bytes = read();
  auto side = write_side_file(path_, ".damaged", std::string_view(bytes).substr(from));
  if (::ftruncate(descriptor_, static_cast<off_t>(from)) != 0)
    refuse(path_, "cut to its good part", errno, "open it again");
  size_ = from;
  if (::fsync(descriptor_) != 0) refuse(path_, "written", errno, "open it again");
  return side;
}

std::string AppendFile::replace(std::string_view bytes) {
  require_unchanged();
  Beside beside(path_, bytes);
  struct stat about {};
  // A new file that others may not read where the old one could be is worse than none.
  if (::fstat(descriptor_, &about) != 0 ||
      ::fchmod(beside.descriptor(), about.st_mode & 07777) != 0)
    refuse(path_, "written", errno, "see that its mode may be set");
  auto kept = keep_as(path_, ".before-journal", *this);
  if (::rename(beside.place().c_str(), path_.c_str()) != 0)
    refuse(path_, "replaced", errno, "see that its folder may be written");
  beside.keep();
  ::close(std::exchange(descriptor_, beside.release()));
  size_ = bytes.size();
  if (const int problem = sync_folder(path_); problem != 0)
    refuse(path_, "put on the disk", problem, "open it again");
  return kept;
}

}  // namespace faultloom::storage

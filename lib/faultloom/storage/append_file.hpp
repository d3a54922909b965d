#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <utility>

/// The only place of the library that touches files, and only those whose path the caller gives, with what
/// is written beside them: NAME.damaged-1, NAME.before-journal and, for a moment, .NAME.new.
namespace faultloom::storage {

/// Largest file that is read or written [bytes].
inline constexpr std::size_t max_file_bytes = 64UL * 1024 * 1024;

/// A file that only grows and belongs to one writer as long as this object lives.
///
/// Locked with flock(2), so the lock ends with the process however that ends. Another handle in the same
/// process counts as another writer. One thread at a time.
///
/// All throw Error: storage for what the operating system refuses, with its words; in_use if another writer
/// holds the file; changed if something else wrote, replaced or removed it. Messages name the file.
class AppendFile {
 public:
  /// Makes a file with some first bytes, which appears whole or not at all.
  /// @throws Error storage  also when there is a file of that name that is not empty
  [[nodiscard]] static AppendFile create(const std::string& path, std::string_view first);

  /// Opens a file that is there.
  /// @throws Error storage  also when it is no ordinary file; limit  it is larger than max_file_bytes
  [[nodiscard]] static AppendFile open(const std::string& path);

  AppendFile(AppendFile&& other) noexcept
      : path_(std::move(other.path_)),
        descriptor_(std::exchange(other.descriptor_, -1)),
        size_(other.size_),
        broken_(other.broken_) {}
  AppendFile& operator=(AppendFile&& other) noexcept;
  AppendFile(const AppendFile&) = delete;
  AppendFile& operator=(const AppendFile&) = delete;
  ~AppendFile();

  /// Absolute, symbolic links resolved.
  [[nodiscard]] const std::string& path() const noexcept { return path_; }
  [[nodiscard]] std::size_t size() const noexcept { return size_; }
  /// All bytes of the file. O(n).
  [[nodiscard]] std::string read() const;

  /// Adds bytes at the end. They are on the disk when this returns; when it throws the file has its old
  /// length again. If even that fails, nothing more is taken until the file is opened anew.
  void append(std::string_view bytes);

  /// Moves everything from a byte on into a new file beside this one, NAME.damaged-1 or the next number
  /// that is free, and cuts it off here once that is on the disk.
  /// @returns the path of the new file
  [[nodiscard]] std::string set_aside(std::size_t from);

  /// Puts other bytes in the place of all there are. The old file stays as NAME.before-journal, or
  /// with a number behind it. Whenever it is stopped, one of both is there whole under the old name.
  /// @returns the path of the old file
  [[nodiscard]] std::string replace(std::string_view bytes);

 private:
  AppendFile(std::string path, int descriptor, std::size_t size)
      : path_(std::move(path)), descriptor_(descriptor), size_(size) {}
  void require_unchanged() const;

  std::string path_;
  int descriptor_ = -1;
  std::size_t size_ = 0;
  bool broken_ = false;
};

}  // namespace faultloom::storage

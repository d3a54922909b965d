#pragma once

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

/// A job as a text that only grows: one record a line, each with a checksum and that of the record before.
///
/// A line is {"crc":"XXXXXXXX","prev":"XXXXXXXX","n":N,BODY} and a newline. N counts from 0. `crc` is the
/// CRC-32C of everything from "prev" to the last brace in eight lower-case hexadecimal digits, `prev` the
/// crc of record N-1, of zeros for the first. So a line tells by itself whether it is whole, and together
/// they tell whether any is missing or out of order. Every line is a JSON object (JSON Lines).
///
/// Pure: bytes in, bytes out. Nothing here throws for bad bytes.
namespace faultloom::journal {

inline constexpr std::string_view format_name = "faultloom.journal";
inline constexpr std::string_view format_version = "1.0";

/// CRC-32C (polynomial 0x1EDC6F41, reflected; RFC 3720 section 12.1). O(n).
[[nodiscard]] std::uint32_t checksum(std::string_view bytes);

/// Whether a text starts the way a journal does; it may be damaged all the same. O(1).
[[nodiscard]] bool looks_like_journal(std::string_view bytes) noexcept;

/// Where the next record goes.
struct Link {
  std::uint64_t number = 0;    ///< of the next record
  std::uint32_t previous = 0;  ///< checksum of the last one, 0 before the first
};

/// The line of one record, newline included, and the link behind it.
struct Line {
  std::string text;
  Link next;
};

/// Encodes one record. O(n).
/// @param body  JSON object of at least one member, without a newline; its members follow `n` in the line
[[nodiscard]] Line encode(const Link& link, std::string_view body);

/// One record that is whole.
struct Record {
  std::uint64_t number = 0;
  std::uint32_t crc = 0;
  std::uint32_t previous = 0;
  std::string body;         ///< JSON object as it was given to encode()
  std::size_t at_byte = 0;  ///< where its line starts
};

/// What is wrong with one stretch of the bytes.
struct Damage {
  enum class What {
    unfinished,  ///< the end of the text, broken off within a line: a write that was never reported done
    damaged,        ///< a line, or several, whose bytes are not those that were written
    missing,        ///< records that are not there; `at_byte` is where the next one starts
    out_of_order,   ///< a whole record after one with a higher number; it was put in its place
    repeated,       ///< the same record once more; left out
    contradicting,  ///< another record of a number there was already; left out
    unlinked        ///< a whole record that was not written after the one before it; kept
  };
  What what = What::damaged;
  std::size_t at_byte = 0;
  std::size_t bytes = 0;
  std::size_t line = 0;            ///< from 1, of the first byte
  std::uint64_t first_record = 0;  ///< of the missing ones, or the number of the record
  std::uint64_t last_record = 0;
};

/// Name of a sort of damage as in reports: "unfinished", "out_of_order".
[[nodiscard]] std::string_view name_of(Damage::What what) noexcept;

/// What can be made of some bytes.
struct Recovery {
  std::vector<Record> records;  ///< whole ones, by number, each number once
  std::vector<Damage> damage;  ///< in the order of the bytes; the tail is the last, if there is one
  std::size_t good_bytes = 0;  ///< end of the last whole record; what follows is the tail
  Link next;                   ///< where the next record goes
};

/// Reads a journal as far as it can be read. Records after a damaged stretch are found again.
/// Never throws but for lack of memory. O(n), and O(n log n) if records are out of order.
[[nodiscard]] Recovery recover(std::string_view bytes);

}  // namespace faultloom::journal

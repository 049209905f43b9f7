// SPDX-License-Identifier: MIT
// Text and numbers without a locale: the same bytes on every machine.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace catchfield {

/// Without leading and trailing blanks, tabs, carriage returns and line ends.
std::string_view trim(std::string_view text);

/// ASCII only.
bool same_ignoring_case(std::string_view a, std::string_view b);

/// ASCII only.
std::string lower_case(std::string_view text);

/// Splits at every separator; "a,,b" has three parts, "" has one empty part.
std::vector<std::string> split(std::string_view text, char separator);

/// The whole text as a finite number, or nothing: "12,5", "1e999", "nan", "inf", "3 m" are none.
/// A leading '+' is accepted. Decimal point only.
std::optional<double> parse_number(std::string_view text);

/// The whole text as an integer, or nothing.
std::optional<long long> parse_integer(std::string_view text);

/// Fixed notation with that many decimals, never "-0.00". NaN and infinity give "".
std::string fixed(double value, int decimals);

/// That many significant digits in plain notation (no exponent): 0.0123, 14, 1200.
std::string significant(double value, int digits);

/// The text as valid UTF-8: bytes that are none (and zero bytes) become '?' each.
std::string valid_utf8(std::string_view text);

/// The text on one line, for names and the terminal: control characters (line ends and escape
/// sequences among them) and marks that turn the direction of writing become a blank each; trimmed.
std::string one_line(std::string_view text);

/// Shortest text that reads back as the same double.
std::string shortest(double value);

/// A file name that is safe on every system: letters, digits, '-', '_' and '.' are kept, every
/// other run of bytes becomes one '-'; never empty, never hidden, at most 80 characters. Not unique
/// by itself: see unique_file_stems.
std::string safe_file_stem(std::string_view id);

/// Safe, distinct file stems for the ids, in their order; doubles end in "-2", "-3" (case ignored,
/// because some file systems do). Each is its own safe_file_stem.
std::vector<std::string> unique_file_stems(const std::vector<std::string>& ids);

}  // namespace catchfield

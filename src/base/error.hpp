// SPDX-License-Identifier: MIT
// The one exception type: what failed, where, why, and what to do next.
#pragma once

#include <stdexcept>
#include <string>

namespace catchfield {

enum class ErrorKind {
    usage,     ///< command line or job file wrong; nothing was opened for writing (exit code 2)
    input,     ///< a file cannot be opened or read, or has no usable content
    data,      ///< a file was read, but what it says cannot be right
    output,    ///< something could not be written
    internal,  ///< a mistake of this program
};

/// What an error is about. Empty parts are left out of the message.
struct ErrorContext {
    std::string path{};     ///< file or folder
    std::string layer{};    ///< layer or column
    std::string feature{};  ///< feature id, or line of a table ("line 12")
    std::string hint{};     ///< the next step, one sentence
};

/// Thrown for whatever stops a run (or a field; `plan` turns those into outcomes).
class Error : public std::runtime_error {
  public:
    Error(ErrorKind kind, const std::string& reason, ErrorContext context = {});

    ErrorKind kind() const { return m_kind; }
    const ErrorContext& context() const { return m_context; }
    /// The reason alone, without place and hint. what() has all of it in one line:
    /// `fields.gpkg, layer 'parcels', feature 12: reason. Hint.`
    const std::string& reason() const { return m_reason; }

  private:
    ErrorKind m_kind;
    std::string m_reason;
    ErrorContext m_context;
};

/// Of `known`, the name closest to `wrong` by edit distance, or empty where none is near
/// (more than a third of the letters differ). For "did you mean" messages.
template <typename Range>
std::string nearest_name(const std::string& wrong, const Range& known);

/// Edit distance (insert, delete, replace, swap of neighbours), ASCII case ignored.
std::size_t edit_distance(const std::string& a, const std::string& b);

template <typename Range>
std::string nearest_name(const std::string& wrong, const Range& known) {
    std::string best;
    std::size_t best_distance = wrong.size() / 3 + 2;
    for (const auto& name : known) {
        const std::size_t distance = edit_distance(wrong, std::string(name));
        if (distance < best_distance) {
            best_distance = distance;
            best = std::string(name);
        }
    }
    return best;
}

}  // namespace catchfield

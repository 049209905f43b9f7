// SPDX-License-Identifier: MIT
// Remarks that may repeat for every feature of a file, said once with their places.
#pragma once

#include <string>
#include <utility>
#include <vector>

namespace catchfield::plan {

/// Collects remarks about places ("feature 12") and joins those with the same words, so that a
/// million features with one flaw make one line.
class RepeatedNotes {
  public:
    void add(const std::string& place, const std::string& text);
    /// "feature 3, feature 8 and 40 more: text", in the order of first appearance. `before` is put
    /// in front of each.
    std::vector<std::string> lines(const std::string& before) const;

  private:
    struct Note {
        std::string text;
        std::vector<std::string> places;  ///< the first few
        std::size_t count = 0;
    };
    std::vector<Note> m_notes;
    std::size_t m_others = 0;  ///< of further kinds, beyond what anybody reads
};

}  // namespace catchfield::plan

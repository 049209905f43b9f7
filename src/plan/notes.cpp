// SPDX-License-Identifier: MIT
#include "plan/notes.hpp"

#include <algorithm>

namespace catchfield::plan {

namespace {

constexpr std::size_t most_places = 5;
constexpr std::size_t most_kinds = 200;

}  // namespace

void RepeatedNotes::add(const std::string& place, const std::string& text) {
    auto note = std::find_if(m_notes.begin(), m_notes.end(),
                             [&](const Note& known) { return known.text == text; });
    if (note == m_notes.end()) {
        if (m_notes.size() == most_kinds) {
            ++m_others;
            return;
        }
        note = m_notes.insert(m_notes.end(), {text, {}, 0});
    }
    if (note->places.size() < most_places) note->places.push_back(place);
    ++note->count;
}

std::vector<std::string> RepeatedNotes::lines(const std::string& before) const {
    std::vector<std::string> lines;
    for (const Note& note : m_notes) {
        std::string line = before;
        for (std::size_t i = 0; i < note.places.size(); ++i)
            line += (i == 0 ? "" : ", ") + note.places[i];
        if (note.count > note.places.size())
            line += " and " + std::to_string(note.count - note.places.size()) + " more";
        lines.push_back(line + ": " + note.text);
    }
    if (m_others > 0)
        lines.push_back(before + std::to_string(m_others) + " further remarks of other kinds");
    return lines;
}

}  // namespace catchfield::plan

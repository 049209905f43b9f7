// SPDX-License-Identifier: MIT
// Which fields of a run are finished: what an interrupted run left, and what this one adds.
#pragma once

#include "plan/finished_field.hpp"
#include "plan/journal.hpp"

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace catchfield::plan {

/// A field counts as finished where its record is whole, was made by this version of the program
/// from the same settings, inputs and boundary, and its files are there with the same bytes.
class FinishedFields {
  public:
    /// Opens the journal in `folder` and removes every file there that no finished field claims.
    /// numbers: the fields this run is for, by position in inputs.fields.
    FinishedFields(const Inputs& inputs, const RunHead& head, std::vector<std::size_t> numbers,
                   const std::string& folder);

    /// How many of them were found finished.
    std::size_t found() const { return m_count; }
    /// There were records, but of other settings or inputs.
    bool outdated() const { return m_count == 0 && m_outdated; }
    /// place: in `numbers`. The field, or nothing where it must be planned. From any thread.
    std::optional<FinishedField> load(std::size_t place) const;
    /// To be called once the field's own files are written. From any thread.
    void add(std::size_t place, const FinishedField& field);
    /// Writes down which records count. The journal is then complete for `gather`.
    void seal();

  private:
    /// Where a field's record lies in the journal; no bytes where it has none.
    struct Extent {
        std::uint64_t offset = 0;
        std::uint64_t bytes = 0;
    };
    std::uint64_t key_of(const Inputs& inputs, std::size_t number) const;
    std::optional<Journal::Record> record_of(std::size_t place) const;

    std::string m_folder;
    std::vector<std::size_t> m_numbers;
    std::uint64_t m_shared_key = 0;
    std::vector<std::uint64_t> m_keys;
    std::vector<Extent> m_extents;
    Journal m_journal;
    std::size_t m_count = 0;
    bool m_outdated = false;
};

}  // namespace catchfield::plan

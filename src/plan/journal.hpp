// SPDX-License-Identifier: MIT
// Finished work on disk: checksummed records appended to one file while a run goes on.
#pragma once

#include <cstdint>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace catchfield::plan {

/// Name of the journal in the folder of an unfinished run, and of a share.
inline constexpr const char* journal_name = "fields.journal";

/// A record holds a key, which says what it was made from, and a payload. Where a program is killed
/// the last record may be torn: opening ends at the first record whose head does not fit its
/// checksum or that runs over the end of the file. A payload is checked when it is read. Bytes are
/// written at once but not synced: a killed program loses nothing, a power cut what the system had
/// not written yet.
class Journal {
  public:
    enum class Kind : std::uint32_t {
        head = 1,   ///< what all fields share
        field = 2,  ///< one finished field
        index = 3,  ///< the records that count, written where a share ends
    };
    struct Record {
        Kind kind = Kind::field;
        std::uint64_t key = 0;
        std::uint64_t number = 0;  ///< of the field, from 0 in the order of the boundary file
        std::uint64_t offset = 0;  ///< of the payload
        std::uint64_t bytes = 0;
    };
    enum class Open { append, read };

    /// append: makes the file where it is missing (or is no journal) and cuts a torn end off. read:
    /// throws Error(input) where it is missing or no journal. Throws Error(output).
    Journal(const std::string& path, Open open);
    ~Journal();
    Journal(const Journal&) = delete;
    Journal& operator=(const Journal&) = delete;

    /// What was found on opening, in the order of the file.
    const std::vector<Record>& found() const { return m_found; }
    /// The payload, or nothing where its checksum does not fit. Safe from any thread.
    std::optional<std::string> read(const Record& record) const;
    /// Safe from any thread. Throws Error(output).
    Record append(Kind kind, std::uint64_t key, std::uint64_t number, std::string_view payload);
    /// Forgets all records. Throws Error(output).
    void clear();

  private:
    void scan();
    void cut(std::uint64_t length);

    std::string m_path;
    int m_descriptor = -1;
    std::uint64_t m_end = 0;
    std::vector<Record> m_found;
    std::mutex m_append;
};

/// Payload of an index record, and back. decode throws Damaged (bytes.hpp).
std::string encode(const std::vector<Journal::Record>& records);
std::vector<Journal::Record> decode_index(std::string_view bytes);

}  // namespace catchfield::plan

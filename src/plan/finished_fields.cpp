// SPDX-License-Identifier: MIT
#include "plan/finished_fields.hpp"

#include "base/error.hpp"
#include "gis/companions.hpp"
#include "plan/bytes.hpp"
#include "plan/fingerprint.hpp"

#include <nlohmann/json.hpp>

#include <filesystem>
#include <set>
#include <sys/stat.h>
#include <unordered_map>

namespace catchfield::plan {

namespace {

namespace fs = std::filesystem;

/// All that every field was made from, but the boundaries: each field has its own in its key.
std::uint64_t shared_key_of(const Inputs& inputs, const RunHead& head) {
    nlohmann::json facts = nlohmann::json::parse(head.json + "]}");
    auto& prints = facts.at("inputs");
    for (std::size_t i = prints.size(); i-- > 0;) {
        if (prints[i].at("key") == "field.boundary") prints.erase(i);
    }
    ByteWriter out;
    out.text(facts.dump());
    out.text(head.package_crs.wkt());
    out.text(inputs.boundary_crs.wkt());
    // Where the bytes themselves are not in the fingerprint: large rasters, files beside a file.
    for (const Fingerprint& print : inputs.fingerprints) {
        const bool whole = print.xxh64.size() == 16;
        for (const gis::FileStamp& stamp : gis::files_behind(print.path)) {
            if (whole && stamp.path == print.path) continue;
            if (print.key == "field.boundary") continue;
            out.text(fs::path(stamp.path).filename().string());
            out.whole(stamp.bytes);
            out.whole(stamp.modified_ns);
        }
    }
    return xxh64(out.take());
}

bool sizes_agree(const std::vector<FilePrint>& files, const std::string& folder) {
    for (const FilePrint& file : files) {
        struct stat status {};
        if (::lstat((folder + "/" + file.name).c_str(), &status) != 0 || !S_ISREG(status.st_mode) ||
            static_cast<std::uint64_t>(status.st_size) != file.bytes) {
            return false;
        }
    }
    return true;
}

/// Removes what no finished field claims: files of fields torn in the middle or no longer in the
/// job, temporary files, tables that are written anew.
void remove_unclaimed(const std::string& folder, const std::set<std::uint64_t>& claimed) {
    std::vector<fs::path> unclaimed;
    const auto look = [&](const fs::path& path, const std::string& name) {
        if (!claimed.contains(xxh64(name))) unclaimed.push_back(path);
    };
    for (const auto& entry : fs::directory_iterator(folder)) {
        const std::string name = entry.path().filename().string();
        if (name == journal_name) continue;
        if (!entry.is_directory() || entry.is_symlink()) {
            look(entry.path(), name);
            continue;
        }
        bool used = false;
        for (const auto& inner : fs::directory_iterator(entry.path())) {
            const std::size_t before = unclaimed.size();
            look(inner.path(), name + "/" + inner.path().filename().string());
            used = used || unclaimed.size() == before;
        }
        if (!used) unclaimed.push_back(entry.path());
    }
    for (const fs::path& path : unclaimed) fs::remove_all(path);
}

}  // namespace

FinishedFields::FinishedFields(const Inputs& inputs, const RunHead& head,
                               std::vector<std::size_t> numbers, const std::string& folder)
    : m_folder(folder),
      m_numbers(std::move(numbers)),
      m_shared_key(shared_key_of(inputs, head)),
      m_extents(m_numbers.size()),
      m_journal(folder + "/" + journal_name, Journal::Open::append) {
    m_keys.reserve(m_numbers.size());
    std::unordered_map<std::uint64_t, std::size_t> place_of;
    for (std::size_t place = 0; place < m_numbers.size(); ++place) {
        m_keys.push_back(key_of(inputs, m_numbers[place]));
        place_of.emplace(m_keys.back(), place);
    }
    for (const Journal::Record& record : m_journal.found()) {
        if (record.kind != Journal::Kind::field) continue;
        const auto place = place_of.find(record.key);
        if (place == place_of.end()) {
            m_outdated = true;
        } else {
            m_extents[place->second] = {record.offset, record.bytes};  // the last one counts
        }
    }
    std::set<std::uint64_t> claimed;
    for (std::size_t place = 0; place < m_extents.size(); ++place) {
        const auto record = record_of(place);
        if (!record) continue;
        try {
            const auto payload = m_journal.read(*record);
            if (!payload) throw Damaged{};
            const FinishedField field = decode_finished_field(*payload);
            if (!sizes_agree(field.files, folder)) throw Damaged{};
            for (const FilePrint& file : field.files) claimed.insert(xxh64(file.name));
            ++m_count;
        } catch (const Damaged&) {
            m_extents[place] = {};
        }
    }
    remove_unclaimed(folder, claimed);
    if (m_count == 0) m_journal.clear();
    m_journal.append(Journal::Kind::head, m_shared_key, 0, encode(head));
}

std::uint64_t FinishedFields::key_of(const Inputs& inputs, std::size_t number) const {
    const FieldBoundary field = inputs.fields[number];
    ByteWriter out;
    out.whole(m_shared_key);
    out.whole(number);
    out.text(field.id);
    out.text(field.stem);
    out.whole(static_cast<std::uint64_t>(field.fid));
    for (const Polygon& polygon : field.shape) {
        out.array(polygon.outer);
        for (const Ring& hole : polygon.holes) out.array(hole);
    }
    return xxh64(out.take());
}

std::optional<Journal::Record> FinishedFields::record_of(std::size_t place) const {
    const Extent& extent = m_extents[place];
    if (extent.bytes == 0) return std::nullopt;
    return Journal::Record{Journal::Kind::field, m_keys[place], m_numbers[place], extent.offset,
                           extent.bytes};
}

std::optional<FinishedField> FinishedFields::load(std::size_t place) const {
    const auto record = record_of(place);
    if (!record) return std::nullopt;
    const auto payload = m_journal.read(*record);
    if (!payload) return std::nullopt;
    FinishedField field = decode_finished_field(*payload);
    return files_agree(field.files, m_folder) ? std::optional(std::move(field)) : std::nullopt;
}

void FinishedFields::add(std::size_t place, const FinishedField& field) {
    const Journal::Record record =
        m_journal.append(Journal::Kind::field, m_keys[place], m_numbers[place], encode(field));
    m_extents[place] = {record.offset, record.bytes};
}

void FinishedFields::seal() {
    std::vector<Journal::Record> records;
    for (std::size_t place = 0; place < m_extents.size(); ++place) {
        if (const auto record = record_of(place)) records.push_back(*record);
    }
    m_journal.append(Journal::Kind::index, m_shared_key, 0, encode(records));
}

}  // namespace catchfield::plan

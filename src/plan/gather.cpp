// SPDX-License-Identifier: MIT
#include "plan/gather.hpp"

#include "base/error.hpp"
#include "gis/files.hpp"
#include "gis/start.hpp"
#include "plan/assemble.hpp"
#include "plan/bytes.hpp"
#include "plan/fingerprint.hpp"
#include "plan/journal.hpp"

#include <nlohmann/json.hpp>

#include <filesystem>
#include <map>
#include <memory>
#include <optional>

namespace catchfield::plan {

namespace {

struct Part {
    std::string folder;
    std::unique_ptr<Journal> journal;
    RunHead head;
    std::vector<Journal::Record> records;
};

/// Where a field of the job is.
struct Place {
    const Part* part = nullptr;
    Journal::Record record;
};

std::string of_share(const Part& part) {
    return "share " + share_name(*part.head.share);
}

[[noreturn]] void refuse(const std::string& reason, const std::string& folder,
                         const std::string& hint) {
    throw Error(ErrorKind::data, reason, {.path = folder, .hint = hint});
}

Part open_part(const std::string& folder) {
    Part part;
    part.folder = folder;
    try {
        part.journal = std::make_unique<Journal>(folder + "/" + journal_name, Journal::Open::read);
    } catch (const Error&) {
        throw Error(ErrorKind::input,
                    std::string("this is no share: it has no ") + journal_name + " to read",
                    {.path = folder, .hint = "Give folders that 'catchfield plan --share' made."});
    }
    const Journal::Record* head = nullptr;
    const Journal::Record* index = nullptr;
    for (const Journal::Record& record : part.journal->found()) {
        if (record.kind == Journal::Kind::head) head = &record;
        if (record.kind == Journal::Kind::index) index = &record;
    }
    try {
        const auto head_bytes = head != nullptr ? part.journal->read(*head) : std::nullopt;
        const auto index_bytes = index != nullptr ? part.journal->read(*index) : std::nullopt;
        if (!head_bytes || !index_bytes) throw Damaged{};
        part.head = decode_run_head(*head_bytes);
        if (!part.head.share) throw Damaged{};
        part.records = decode_index(*index_bytes);
    } catch (const Damaged&) {
        refuse(std::string("its ") + journal_name + " is not complete", folder,
               "Copy the folder again, or make the share again.");
    } catch (const Error& error) {
        refuse("it was made by another version of this program (" + error.reason() + ")", folder,
               "Make all shares with one version and gather them with the same.");
    }
    return part;
}

/// The first thing in which two shares differ, in words.
std::string difference(const std::string& a, const std::string& b) {
    const auto left = nlohmann::json::parse(a + "]}");
    const auto right = nlohmann::json::parse(b + "]}");
    const auto text = [](const nlohmann::json& value) {
        return value.is_string() ? "'" + value.get<std::string>() + "'" : value.dump();
    };
    for (const char* key : {"version", "libraries", "settings"}) {
        if (left.at(key) == right.at(key)) continue;
        if (!left.at(key).is_object())
            return std::string(key) + " is " + text(left.at(key)) + " and " + text(right.at(key));
        for (const auto& [name, value] : left.at(key).items()) {
            const auto& other = right.at(key).value(name, nlohmann::json());
            if (value != other) return name + " is " + text(value) + " and " + text(other);
        }
        return std::string(key) + " differ";
    }
    const auto& prints = left.at("inputs");
    const auto& others = right.at("inputs");
    for (std::size_t i = 0; i < prints.size() && i < others.size(); ++i) {
        if (prints[i] != others[i]) {
            return "the file of " + prints[i].at("key").get<std::string>() + " has other bytes (" +
                   prints[i].at("file").get<std::string>() + ")";
        }
    }
    return "their inputs differ";
}

/// "3", "3 and 5", "3, 5 and 7", "3, 5, 7, 8, 9 and 20 more".
std::string listed(const std::vector<std::size_t>& numbers) {
    constexpr std::size_t most = 5;
    std::string text;
    for (std::size_t i = 0; i < numbers.size(); ++i) {
        if (i == most && numbers.size() > most + 1)
            return text + " and " + std::to_string(numbers.size() - most) + " more";
        if (i > 0) text += i + 1 == numbers.size() ? " and " : ", ";
        text += std::to_string(numbers[i]);
    }
    return text;
}

void check_parts(const std::vector<Part>& parts) {
    const Part& first = parts.front();
    std::map<std::size_t, const Part*> seen;
    for (const Part& part : parts) {
        if (part.head.share->count != first.head.share->count) {
            refuse("this is " + of_share(part) + ", and " + first.folder + " is " + of_share(first),
                   part.folder, "Give the shares of one division.");
        }
        if (part.head.json != first.head.json || part.head.fields != first.head.fields) {
            refuse("this is a share of another job than " + first.folder + ": " +
                       difference(first.head.json, part.head.json),
                   part.folder, "Make the shares with the same job, inputs and program.");
        }
        const auto [other, is_new] = seen.emplace(part.head.share->index, &part);
        if (!is_new) {
            refuse(of_share(part) + " is there twice, also as " + other->second->folder,
                   part.folder, "Give every share once.");
        }
    }
    std::vector<std::size_t> missing;
    for (std::size_t index = 1; index <= first.head.share->count; ++index) {
        if (!seen.contains(index)) missing.push_back(index);
    }
    if (!missing.empty()) {
        throw Error(ErrorKind::data,
                    (missing.size() == 1 ? "share " : "shares ") + listed(missing) + " of " +
                        std::to_string(first.head.share->count) +
                        (missing.size() == 1 ? " is missing" : " are missing"),
                    {.hint = "Run 'catchfield plan --share' for what is missing, then gather "
                             "again."});
    }
}

/// Every field of the job exactly once.
std::vector<Place> places_of(const std::vector<Part>& parts) {
    std::vector<Place> places(parts.front().head.fields);
    for (const Part& part : parts) {
        for (const Journal::Record& record : part.records) {
            if (record.number >= places.size())
                refuse("it holds a field that the job does not have", part.folder,
                       "Make the share again.");
            Place& place = places[record.number];
            if (place.part != nullptr) {
                refuse("field number " + std::to_string(record.number + 1) + " is also in " +
                           place.part->folder,
                       part.folder, "Make both shares again with one version of the program.");
            }
            place = {&part, record};
        }
    }
    std::vector<std::size_t> missing;
    for (std::size_t i = 0; i < places.size(); ++i) {
        if (places[i].part == nullptr) missing.push_back(i + 1);
    }
    if (!missing.empty()) {
        throw Error(ErrorKind::data,
                    "field number " + listed(missing) + " of the boundary file is in no share",
                    {.hint = "Make the shares again with one version of the program."});
    }
    return places;
}

/// The field with its files copied.
FinishedField taken(const Place& place, const std::string& folder) {
    const auto payload = place.part->journal->read(place.record);
    if (!payload) {
        refuse(std::string("its ") + journal_name + " is damaged", place.part->folder,
               "Copy the folder again, or make the share again.");
    }
    FinishedField field;
    try {
        field = decode_finished_field(*payload);
    } catch (const Damaged&) {
        refuse("it was made by another version of this program", place.part->folder,
               "Make all shares with one version and gather them with the same.");
    }
    for (const FilePrint& file : field.files) {
        const std::string from = place.part->folder + "/" + file.name;
        const std::string bytes = gis::read_file(from);
        if (bytes.size() != file.bytes || xxh64(bytes) != file.xxh64) {
            throw Error(ErrorKind::data,
                        "it was changed since " + of_share(*place.part) + " was made",
                        {.path = from,
                         .feature = field.record.id,
                         .hint = "Copy the folder again, or make the share again."});
        }
        gis::write_staged_file(folder + "/" + file.name, bytes);
    }
    return field;
}

}  // namespace

RunSummary run_gather(const GatherRequest& request, const Monitor& monitor) {
    gis::start({});
    std::vector<Part> parts;
    for (const std::string& folder : request.shares) parts.push_back(open_part(folder));
    check_parts(parts);
    const std::vector<Place> places = places_of(parts);
    RunHead head = parts.front().head;
    head.share.reset();

    std::optional<ResultStore> store;
    if (request.results) store.emplace(head, request.results);
    gis::StagedFolder folder(request.output, request.overwrite, gis::Staging::lasting);
    if (folder.found()) {
        // What a killed gather left goes; the finished fields of a plan are worth more.
        if (std::filesystem::exists(folder.path() + "/" + journal_name)) {
            folder.keep();
            throw Error(ErrorKind::usage, "an unfinished run of 'catchfield plan' has this name",
                        {.path = request.output,
                         .hint = "Finish it first, or name another output folder."});
        }
        folder.clear();
    }
    AssembleRequest plan;
    plan.fields = places.size();
    plan.threads = request.threads;
    plan.strict = request.strict;
    plan.output = request.output;
    if (store) {
        plan.also = [&](const FinishedField& field) { store->add(field.rows); };
        plan.sealed = [&] { store->finish(); };
    }
    RunSummary summary = assemble(
        head, folder, plan,
        [&](std::size_t number) { return taken(places[number], folder.path()); }, monitor);
    if (store) summary.table += "\nDatabase: " + store->place();
    return summary;
}

}  // namespace catchfield::plan

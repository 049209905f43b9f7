// SPDX-License-Identifier: MIT
#include "plan/journal.hpp"

#include "base/error.hpp"
#include "gis/files.hpp"
#include "plan/bytes.hpp"
#include "plan/fingerprint.hpp"

#include <cerrno>
#include <fcntl.h>
#include <sys/stat.h>
#include <system_error>
#include <unistd.h>

namespace catchfield::plan {

namespace {

constexpr std::string_view signature = "catchfield journal 1\n";
/// Also tells the byte order of the machine that wrote it.
constexpr std::uint32_t record_mark = 0x4346'4A31;

struct Head {
    std::uint32_t mark = record_mark;
    std::uint32_t kind = 0;
    std::uint64_t key = 0, number = 0, bytes = 0, payload_xxh64 = 0, xxh64 = 0;
};
static_assert(sizeof(Head) == 48);

/// Of all members before it.
std::uint64_t checksum(const Head& head) {
    return xxh64({reinterpret_cast<const char*>(&head), sizeof head - sizeof head.xxh64});
}

std::string reason(int error) {
    return std::generic_category().message(error);
}

}  // namespace

Journal::Journal(const std::string& path, Open open) : m_path(path) {
    const int flags = open == Open::append ? O_RDWR | O_CREAT : O_RDONLY;
    m_descriptor = ::open(path.c_str(), flags | O_CLOEXEC | O_NOFOLLOW, 0666);
    if (m_descriptor < 0) {
        throw Error(open == Open::append ? ErrorKind::output : ErrorKind::input,
                    "cannot be opened: " + reason(errno), {.path = path});
    }
    try {
        std::string start(signature.size(), '\0');
        if (gis::read_at(m_descriptor, start.data(), start.size(), 0) && start == signature) {
            scan();
            if (open == Open::append) cut(m_end);
        } else if (open == Open::append) {
            clear();
        } else {
            throw Error(ErrorKind::input, "this is no journal of finished fields", {.path = path});
        }
    } catch (...) {
        ::close(m_descriptor);
        throw;
    }
}

Journal::~Journal() {
    ::close(m_descriptor);
}

void Journal::scan() {
    struct stat status {};
    const std::uint64_t size =
        ::fstat(m_descriptor, &status) == 0 ? static_cast<std::uint64_t>(status.st_size) : 0;
    m_end = signature.size();
    Head head;
    while (size - m_end >= sizeof head && gis::read_at(m_descriptor, &head, sizeof head, m_end)) {
        const bool sound = head.mark == record_mark && head.xxh64 == checksum(head) &&
                           head.bytes <= size - m_end - sizeof head;
        if (!sound) break;
        m_found.push_back(
            {static_cast<Kind>(head.kind), head.key, head.number, m_end + sizeof head, head.bytes});
        m_end += sizeof head + head.bytes;
    }
}

void Journal::cut(std::uint64_t length) {
    if (::ftruncate(m_descriptor, static_cast<off_t>(length)) != 0) {
        throw Error(ErrorKind::output, "cannot be written: " + reason(errno), {.path = m_path});
    }
}

void Journal::clear() {
    cut(0);
    gis::write_at(m_descriptor, m_path, signature, 0);
    m_end = signature.size();
    m_found.clear();
}

std::optional<std::string> Journal::read(const Record& record) const {
    Head head;
    std::string payload(record.bytes, '\0');
    const bool sound = gis::read_at(m_descriptor, &head, sizeof head, record.offset - sizeof head) &&
                       gis::read_at(m_descriptor, payload.data(), payload.size(), record.offset) &&
                       head.payload_xxh64 == xxh64(payload);
    return sound ? std::optional(std::move(payload)) : std::nullopt;
}

Journal::Record Journal::append(Kind kind, std::uint64_t key, std::uint64_t number,
                                std::string_view payload) {
    Head head;
    head.kind = static_cast<std::uint32_t>(kind);
    head.key = key;
    head.number = number;
    head.bytes = payload.size();
    head.payload_xxh64 = xxh64(payload);
    head.xxh64 = checksum(head);
    const std::string_view head_bytes(reinterpret_cast<const char*>(&head), sizeof head);
    const std::lock_guard lock(m_append);
    // A head without its payload runs over the end of the file and is not believed.
    gis::write_at(m_descriptor, m_path, head_bytes, m_end);
    gis::write_at(m_descriptor, m_path, payload, m_end + sizeof head);
    const Record record{kind, key, number, m_end + sizeof head, payload.size()};
    m_end += sizeof head + payload.size();
    return record;
}

std::string encode(const std::vector<Journal::Record>& records) {
    ByteWriter out;
    out.array(records);
    return out.take();
}

std::vector<Journal::Record> decode_index(std::string_view bytes) {
    ByteReader in(bytes);
    auto records = in.array<Journal::Record>();
    in.end();
    return records;
}

}  // namespace catchfield::plan

// SPDX-License-Identifier: MIT
#include "gis/polygon_map.hpp"

#include "base/error.hpp"
#include "gis/files.hpp"

#include <algorithm>
#include <cerrno>
#include <cstdlib>
#include <cstring>
#include <fcntl.h>
#include <filesystem>
#include <system_error>
#include <unistd.h>
#include <utility>

namespace catchfield::gis {

namespace {

constexpr std::size_t flush_bytes = 1u << 20;

void put_count(std::string& bytes, std::size_t count) {
    const std::uint64_t number = count;
    bytes.append(reinterpret_cast<const char*>(&number), sizeof number);
}

void put_ring(std::string& bytes, const Ring& ring) {
    put_count(bytes, ring.size());
    bytes.append(reinterpret_cast<const char*>(ring.data()), ring.size() * sizeof(Point));
}

std::size_t take_count(const char*& at) {
    std::uint64_t number = 0;
    std::memcpy(&number, at, sizeof number);
    at += sizeof number;
    return static_cast<std::size_t>(number);
}

Ring take_ring(const char*& at) {
    Ring ring(take_count(at));
    const std::size_t bytes = ring.size() * sizeof(Point);
    if (bytes > 0) std::memcpy(ring.data(), at, bytes);
    at += bytes;
    return ring;
}

}  // namespace

ShapeFile::ShapeFile() {
    std::error_code failure;
    const std::filesystem::path folder = std::filesystem::temp_directory_path(failure);
    m_folder = failure ? "/tmp" : folder.string();
    std::string pattern = m_folder + "/catchfield-shapes-XXXXXX";
    m_descriptor = ::mkostemp(pattern.data(), O_CLOEXEC);
    if (m_descriptor < 0) {
        throw Error(ErrorKind::output,
                    "no temporary file can be made: " + std::generic_category().message(errno),
                    {.path = m_folder, .hint = "Set TMPDIR to a folder that can be written."});
    }
    ::unlink(pattern.c_str());  // nameless from here on, and gone with the program
}

ShapeFile::~ShapeFile() {
    if (m_descriptor >= 0) ::close(m_descriptor);
}

ShapeFile::ShapeFile(ShapeFile&& other) noexcept
    : m_descriptor(std::exchange(other.m_descriptor, -1)),
      m_folder(std::move(other.m_folder)),
      m_pending(std::move(other.m_pending)),
      m_written(other.m_written),
      m_ends(std::move(other.m_ends)) {}

ShapeFile& ShapeFile::operator=(ShapeFile&& other) noexcept {
    std::swap(m_descriptor, other.m_descriptor);
    m_folder = std::move(other.m_folder);
    m_pending = std::move(other.m_pending);
    m_written = other.m_written;
    m_ends = std::move(other.m_ends);
    return *this;
}

void ShapeFile::add(const MultiPolygon& shape) {
    put_count(m_pending, shape.size());
    for (const Polygon& polygon : shape) {
        put_count(m_pending, polygon.holes.size());
        put_ring(m_pending, polygon.outer);
        for (const Ring& hole : polygon.holes) put_ring(m_pending, hole);
    }
    m_ends.push_back(m_written + m_pending.size());
    if (m_pending.size() >= flush_bytes) flush();
}

void ShapeFile::flush() {
    try {
        write_at(m_descriptor, m_folder, m_pending, m_written);
    } catch (const Error& error) {
        throw Error(error.kind(), "the shapes of a map do not fit here: it " + error.reason(),
                    {.path = m_folder, .hint = "Make room, or set TMPDIR to a folder with more."});
    }
    m_written += m_pending.size();
    m_pending.clear();
}

void ShapeFile::finish() {
    flush();
    m_pending.shrink_to_fit();
    m_ends.shrink_to_fit();
}

MultiPolygon ShapeFile::shape(std::size_t position) const {
    const std::uint64_t begin = position == 0 ? 0 : m_ends.at(position - 1);
    std::string bytes(static_cast<std::size_t>(m_ends.at(position) - begin), '\0');
    if (!read_at(m_descriptor, bytes.data(), bytes.size(), begin)) {
        throw Error(ErrorKind::input, "the temporary file of shapes cannot be read back",
                    {.path = m_folder});
    }
    const char* at = bytes.data();
    MultiPolygon shape(take_count(at));
    for (Polygon& polygon : shape) {
        polygon.holes.resize(take_count(at));
        polygon.outer = take_ring(at);
        for (Ring& hole : polygon.holes) hole = take_ring(at);
    }
    return shape;
}

PolygonMap::PolygonMap(ShapeFile shapes, const std::vector<Box>& boxes, Crs crs)
    : m_shapes(std::move(shapes)), m_crs(std::move(crs)), m_index(boxes) {
    if (boxes.size() != m_shapes.size())
        throw Error(ErrorKind::internal, "a map has other boxes than shapes");
    m_shapes.finish();
}

std::vector<PolygonMap::Hit> PolygonMap::query(const Box& box, const Crs& box_crs) const {
    const Box here = transformer(box_crs, m_crs).apply(box);
    std::vector<std::size_t> found;
    if (here.min_x <= here.max_x) {
        found = m_index.query(here);
    } else {
        // Runs over the antimeridian: both sides, and data whose longitudes run past it.
        found = m_index.query({here.min_x, here.min_y, here.max_x + 360.0, here.max_y});
        for (const std::size_t i :
             m_index.query({here.min_x - 360.0, here.min_y, here.max_x, here.max_y})) {
            found.push_back(i);
        }
        std::sort(found.begin(), found.end());
        found.erase(std::unique(found.begin(), found.end()), found.end());
    }
    const Transformer& move = transformer(m_crs, box_crs);
    std::vector<Hit> hits;
    hits.reserve(found.size());
    for (const std::size_t i : found) hits.push_back({i, move.apply(m_shapes.shape(i))});
    return hits;
}

}  // namespace catchfield::gis

// SPDX-License-Identifier: MIT
// Plain values to bytes and back, for records that only this program reads.
#pragma once

#include <cstdint>
#include <cstring>
#include <string>
#include <string_view>
#include <type_traits>
#include <vector>

namespace catchfield::plan {

/// Thrown where bytes end too early or say what cannot be.
struct Damaged {};

class ByteWriter {
  public:
    ByteWriter() { m_bytes.reserve(std::size_t{1} << 16); }
    /// Seven bits a byte, lowest first: most numbers are small.
    void whole(std::uint64_t value) {
        for (; value >= 0x80; value >>= 7) m_bytes += static_cast<char>(value | 0x80);
        m_bytes += static_cast<char>(value);
    }
    void real(double value) { raw(&value, sizeof value); }
    void text(std::string_view value) {
        whole(value.size());
        m_bytes.append(value);
    }
    void texts(const std::vector<std::string>& values) {
        whole(values.size());
        for (const std::string& value : values) text(value);
    }
    /// A count and the elements as they lie in memory.
    template <typename T>
    void array(const std::vector<T>& values) {
        static_assert(std::is_trivially_copyable_v<T>);
        whole(values.size());
        raw(values.data(), values.size() * sizeof(T));
    }
    std::string take() { return std::move(m_bytes); }

  private:
    void raw(const void* from, std::size_t size) {
        if (size > 0) m_bytes.append(static_cast<const char*>(from), size);
    }
    std::string m_bytes;
};

/// Reads what a ByteWriter wrote, in the same order.
class ByteReader {
  public:
    explicit ByteReader(std::string_view bytes) : m_left(bytes) {}

    std::uint64_t whole() {
        std::uint64_t value = 0;
        for (unsigned shift = 0; shift < 64; shift += 7) {
            if (m_left.empty()) throw Damaged{};
            const auto byte = static_cast<unsigned char>(m_left.front());
            m_left.remove_prefix(1);
            value |= std::uint64_t{byte & 0x7FU} << shift;
            if (byte < 0x80) return value;
        }
        throw Damaged{};
    }
    double real() {
        double value = 0.0;
        raw(&value, sizeof value);
        return value;
    }
    /// A number of elements of at least `bytes_each`.
    std::size_t count(std::size_t bytes_each = 1) {
        const std::uint64_t value = whole();
        if (value > m_left.size() / bytes_each) throw Damaged{};
        return static_cast<std::size_t>(value);
    }
    std::string text() {
        const std::size_t size = count();
        std::string value(m_left.substr(0, size));
        m_left.remove_prefix(size);
        return value;
    }
    std::vector<std::string> texts() {
        std::vector<std::string> values(count());
        for (std::string& value : values) value = text();
        return values;
    }
    template <typename T>
    std::vector<T> array() {
        static_assert(std::is_trivially_copyable_v<T>);
        std::vector<T> values(count(sizeof(T)));
        raw(values.data(), values.size() * sizeof(T));
        return values;
    }
    /// Nothing may be left.
    void end() const {
        if (!m_left.empty()) throw Damaged{};
    }

  private:
    void raw(void* to, std::size_t size) {
        if (size > m_left.size()) throw Damaged{};
        if (size > 0) std::memcpy(to, m_left.data(), size);
        m_left.remove_prefix(size);
    }
    std::string_view m_left;
};

}  // namespace catchfield::plan

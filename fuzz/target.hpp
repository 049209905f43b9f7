// SPDX-License-Identifier: MIT
// What all fuzz targets share: values from bytes, and which errors are fair.
#pragma once

#include "base/error.hpp"

#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <string>
#include <string_view>

/// The entry point that libFuzzer and fuzz/replay.cpp call.
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size);

namespace catchfield::fuzz {

/// Ends the process where a promise of the program does not hold, so that the input is kept.
inline void require(bool holds, const char* promise) {
    if (holds) return;
    std::fprintf(stderr, "broken promise: %s\n", promise);
    std::abort();
}

/// Runs `work`; true where it went through. Errors that say what is wrong with the input are fair;
/// an internal error, or any other exception, is a finding.
template <typename Work>
bool fair(const Work& work) {
    try {
        work();
        return true;
    } catch (const Error& error) {
        if (error.kind() == ErrorKind::internal) std::fprintf(stderr, "%s\n", error.what());
        require(error.kind() != ErrorKind::internal, "input never causes an internal error");
        require(!error.reason().empty(), "an error has a reason");
        return false;
    }
}

/// Eats the input from the front; zeros when it is used up.
class Bytes {
  public:
    Bytes(const std::uint8_t* data, std::size_t size) : m_data(data), m_left(size) {}

    std::size_t left() const { return m_left; }
    std::uint8_t byte() {
        if (m_left == 0) return 0;
        --m_left;
        return *m_data++;
    }
    /// 0 to n - 1.
    int below(int n) { return byte() % n; }
    /// Any bit pattern, so infinities and NaN too.
    double any_real() {
        double value = 0.0;
        const std::size_t count = m_left < sizeof value ? m_left : sizeof value;
        std::memcpy(&value, m_data, count);
        m_data += count;
        m_left -= count;
        return value;
    }
    /// 65536 steps from low to high.
    double real(double low, double high) {
        const int steps = byte() * 256 + byte();
        return low + (high - low) * steps / 65535.0;
    }
    std::string text(std::size_t at_most) {
        std::size_t count = byte();
        if (count > at_most) count = at_most;
        if (count > m_left) count = m_left;
        std::string value(reinterpret_cast<const char*>(m_data), count);
        m_data += count;
        m_left -= count;
        return value;
    }
    std::string_view rest() const { return {reinterpret_cast<const char*>(m_data), m_left}; }

  private:
    const std::uint8_t* m_data;
    std::size_t m_left;
};

}  // namespace catchfield::fuzz

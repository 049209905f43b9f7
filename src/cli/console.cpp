// SPDX-License-Identifier: MIT
#include "cli/console.hpp"

#include "base/error.hpp"

#include <fmt/format.h>

#include <atomic>
#include <cerrno>
#include <csignal>
#include <cstdio>
#include <cstdlib>
#include <fcntl.h>
#include <string_view>
#include <sys/ioctl.h>
#include <system_error>
#include <unistd.h>

namespace catchfield::cli {

namespace {

/// Read by every thread; a handler may write it because it needs no lock.
std::atomic<int> caught = 0;
static_assert(std::atomic<int>::is_always_lock_free);

void on_signal(int signal) {
    if (caught != 0) {
        std::signal(signal, SIG_DFL);
        std::raise(signal);
        return;
    }
    caught = signal;
    if (signal != SIGINT) return;
    static constexpr char message[] =
        "\nstopping as soon as what is in work is done; Ctrl-C again stops at once\n";
    [[maybe_unused]] const ssize_t written = write(STDERR_FILENO, message, sizeof message - 1);
}

void write_all(std::FILE* stream, const std::string& text) {
    std::fwrite(text.data(), 1, text.size(), stream);
}

/// Names and messages come from files: what would steer the terminal (control characters of ASCII
/// and of ISO 8859) becomes '?'. Line ends and tabs stay.
std::string harmless(const std::string& text) {
    std::string safe;
    safe.reserve(text.size());
    for (std::size_t i = 0; i < text.size(); ++i) {
        const auto byte = static_cast<unsigned char>(text[i]);
        const auto next = i + 1 < text.size() ? static_cast<unsigned char>(text[i + 1]) : 0U;
        if (byte == 0xC2U && next >= 0x80U && next < 0xA0U) {
            safe += '?';
            ++i;
        } else {
            const bool control = (byte < 0x20U && byte != '\n' && byte != '\t') || byte == 0x7FU;
            safe += control ? '?' : text[i];
        }
    }
    return safe;
}

/// Messages are coloured on a terminal that can, unless NO_COLOR (no-color.org) or TERM says no.
bool colours() {
    static const bool on = [] {
        const char* none = std::getenv("NO_COLOR");
        const char* term = std::getenv("TERM");
        return isatty(STDERR_FILENO) != 0 && (none == nullptr || *none == '\0') &&
               term != nullptr && std::string_view(term) != "dumb";
    }();
    return on;
}

/// The first word of a message in a colour: red 31, yellow 33.
std::string coloured(const std::string& text, std::size_t word, int colour) {
    if (!colours()) return text;
    return fmt::format("\x1b[{}m{}\x1b[0m{}", colour, text.substr(0, word), text.substr(word));
}

std::size_t terminal_width() {
    winsize size{};
    if (ioctl(STDERR_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col > 20) return size.ws_col;
    return 80;
}

/// At most `width` letters, never half of one.
std::string cut(const std::string& text, std::size_t width) {
    std::size_t letters = 0;
    for (std::size_t i = 0; i < text.size(); ++i) {
        const bool begins = (static_cast<unsigned char>(text[i]) & 0xC0U) != 0x80U;
        if (begins && letters++ == width) return text.substr(0, i);
    }
    return text;
}

}  // namespace

void open_standard_streams() {
    // A stream that was closed would be the number of the next file opened, and messages would end
    // up in it. Opened the wrong way round, it refuses what is written or read.
    for (const int descriptor : {STDIN_FILENO, STDOUT_FILENO, STDERR_FILENO}) {
        if (::fcntl(descriptor, F_GETFD) >= 0) continue;
        const int way = descriptor == STDIN_FILENO ? O_WRONLY : O_RDONLY;
        if (::open("/dev/null", way) != descriptor) std::_Exit(1);
    }
}

void catch_signals() {
    struct sigaction action {};
    action.sa_handler = on_signal;
    action.sa_flags = SA_RESTART;
    sigaction(SIGINT, &action, nullptr);
    sigaction(SIGTERM, &action, nullptr);
    // A reader that goes away is an error of writing, not the end of the program.
    std::signal(SIGPIPE, SIG_IGN);
}

int stop_signal() {
    return caught;
}

void Console::print(const std::string& text) const {
    write_all(stdout, harmless(text));
    if (std::fflush(stdout) != 0 || std::ferror(stdout) != 0) {
        throw Error(ErrorKind::output, "standard output cannot be written: " +
                                           std::generic_category().message(errno));
    }
}

void Console::say(const std::string& text) {
    if (quiet) return;
    clear_bar();
    // Marks of what to look at: "note: ..." of a run, "look at  ..." of start.
    std::size_t word = 0;
    for (const std::string_view mark : {"note:", "look at"}) {
        if (text.starts_with(mark)) word = mark.size();
    }
    write_all(stderr, (word == 0 ? harmless(text) : coloured(harmless(text), word, 33)) + "\n");
}

void Console::detail(const std::string& text) {
    if (!verbose) return;
    clear_bar();
    const std::chrono::duration<double> passed = std::chrono::steady_clock::now() - m_start;
    write_all(stderr, fmt::format("[{:7.3f} s] {}\n", passed.count(), harmless(text)));
}

void Console::error(const std::string& text) {
    clear_bar();
    write_all(stderr, coloured("catchfield: " + harmless(text), 11, 31) + "\n");
}

void Console::clear_bar() {
    if (!m_bar) return;
    write_all(stderr, "\r\x1b[K");
    m_bar = false;
    m_shown_percent = 1000;
}

plan::Monitor Console::monitor() {
    const bool bar = !quiet && !json && isatty(STDERR_FILENO) != 0;
    return {.stop_asked = [] { return stop_signal() != 0; },
            .progress =
                [this, bar](std::size_t done, std::size_t total, const std::string& what) {
                    const std::size_t percent = total == 0 ? 100 : done * 100 / total;
                    if (bar && percent != m_shown_percent) {
                        const std::chrono::duration<double> passed =
                            std::chrono::steady_clock::now() - m_start;
                        const double left = done == 0 ? 0.0
                                                      : passed.count() *
                                                            static_cast<double>(total - done) /
                                                            static_cast<double>(done);
                        // In one line, or the next one would not clear it.
                        const std::string line =
                            fmt::format("{:3}% {}/{} ({:.0f} s left) {}", percent, done, total,
                                        left, harmless(what));
                        write_all(stderr, "\r\x1b[K" + cut(line, terminal_width() - 1));
                        std::fflush(stderr);
                        m_shown_percent = percent;
                        m_bar = true;
                        if (done == total) clear_bar();
                    }
                    return stop_signal() == 0;
                },
            .say = [this](const std::string& text) { say(text); }};
}

}  // namespace catchfield::cli

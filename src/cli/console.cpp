// SPDX-License-Identifier: MIT
#include "cli/console.hpp"

#include <fmt/format.h>

#include <csignal>
#include <cstdio>
#include <unistd.h>

namespace catchfield::cli {

namespace {

volatile std::sig_atomic_t caught = 0;

void on_signal(int signal) {
    if (caught != 0) {
        std::signal(signal, SIG_DFL);
        std::raise(signal);
        return;
    }
    caught = signal;
    if (signal != SIGINT) return;
    static constexpr char message[] =
        "\nstopping: fields in work are finished first; Ctrl-C again stops at once\n";
    [[maybe_unused]] const ssize_t written = write(STDERR_FILENO, message, sizeof message - 1);
}

void write_all(std::FILE* stream, const std::string& text) {
    std::fwrite(text.data(), 1, text.size(), stream);
}

}  // namespace

void catch_signals() {
    struct sigaction action {};
    action.sa_handler = on_signal;
    action.sa_flags = SA_RESTART;
    sigaction(SIGINT, &action, nullptr);
    sigaction(SIGTERM, &action, nullptr);
}

int stop_signal() {
    return caught;
}

void Console::print(const std::string& text) const {
    write_all(stdout, text);
    std::fflush(stdout);
}

void Console::say(const std::string& text) {
    if (quiet) return;
    clear_bar();
    write_all(stderr, text + "\n");
}

void Console::detail(const std::string& text) {
    if (!verbose) return;
    clear_bar();
    const std::chrono::duration<double> passed = std::chrono::steady_clock::now() - m_start;
    write_all(stderr, fmt::format("[{:7.3f} s] {}\n", passed.count(), text));
}

void Console::error(const std::string& text) {
    clear_bar();
    write_all(stderr, "catchfield: " + text + "\n");
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
                        write_all(stderr, fmt::format("\r\x1b[K{:3}% {}/{} {} ({:.0f} s left)",
                                                      percent, done, total, what, left));
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

// SPDX-License-Identifier: MIT
#include "base/dates.hpp"

#include "base/text.hpp"

namespace catchfield {

namespace {

std::chrono::year_month_day calendar(Date date) {
    return std::chrono::year_month_day(date);
}

}  // namespace

std::optional<Date> parse_date(std::string_view text) {
    text = trim(text);
    if (text.size() != 10 || text[4] != '-' || text[7] != '-') return std::nullopt;
    const auto year = parse_integer(text.substr(0, 4));
    const auto month = parse_integer(text.substr(5, 2));
    const auto day = parse_integer(text.substr(8, 2));
    if (!year || !month || !day || *year < 1 || *month < 1 || *day < 1) return std::nullopt;
    const std::chrono::year_month_day date{std::chrono::year(static_cast<int>(*year)),
                                           std::chrono::month(static_cast<unsigned>(*month)),
                                           std::chrono::day(static_cast<unsigned>(*day))};
    if (!date.ok()) return std::nullopt;
    return Date(date);
}

std::string iso_date(Date date) {
    const auto pad = [](int value, std::size_t width) {
        std::string text = std::to_string(value);
        return std::string(width > text.size() ? width - text.size() : 0, '0') + text;
    };
    return pad(year_of(date), 4) + "-" + pad(static_cast<int>(month_of(date)), 2) + "-" +
           pad(static_cast<int>(day_of(date)), 2);
}

Date make_date(int year, unsigned month, unsigned day) {
    return Date(std::chrono::year_month_day{std::chrono::year(year), std::chrono::month(month),
                                            std::chrono::day(day)});
}

int year_of(Date date) {
    return static_cast<int>(calendar(date).year());
}

unsigned month_of(Date date) {
    return static_cast<unsigned>(calendar(date).month());
}

unsigned day_of(Date date) {
    return static_cast<unsigned>(calendar(date).day());
}

int day_of_year(Date date) {
    return days_between(make_date(year_of(date), 1, 1), date) + 1;
}

int half_month_of(Date date) {
    return static_cast<int>(month_of(date) - 1) * 2 + (day_of(date) > 15 ? 1 : 0);
}

Date half_month_start(int year, int index) {
    const int years = index >= 0 ? index / 24 : -((23 - index) / 24);
    const int rest = index - years * 24;
    return make_date(year + years, static_cast<unsigned>(rest / 2 + 1), rest % 2 == 0 ? 1 : 16);
}

std::string half_month_name(int index) {
    static constexpr std::array<const char*, 12> months = {
        "January", "February", "March",     "April",   "May",      "June",
        "July",    "August",   "September", "October", "November", "December"};
    const int wrapped = ((index % 24) + 24) % 24;
    return std::string(wrapped % 2 == 0 ? "early " : "late ") +
           months[static_cast<std::size_t>(wrapped / 2)];
}

}  // namespace catchfield

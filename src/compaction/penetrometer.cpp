// SPDX-License-Identifier: MIT
// Penetrometer tables to stops, layers and ratings.
#include "compaction/penetrometer.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "base/units.hpp"

#include <algorithm>
#include <array>
#include <cctype>
#include <cmath>
#include <map>
#include <utility>

namespace catchfield::compaction {

namespace {

constexpr std::array<std::string_view, 4> moisture_words = {"field-capacity", "dry", "wet",
                                                            "unknown"};
constexpr std::array<std::string_view, 3> strength_units = {"psi", "kpa", "mpa"};
constexpr std::array<std::string_view, 3> depth_units = {"cm", "mm", "in"};

constexpr double deepest_cm = 200.0;
/// A push whose highest reading is below this was hardly taken in the stated unit (7 psi).
constexpr double faint_mpa = 0.05;
/// Pushes of one stop are expected within this distance.
constexpr double stop_spread_m = 10.0;

/// A reading as read, with what is wrong with it.
struct RawRow {
    ProbeRow row;
    std::string problem;
};

std::string list_of(const std::vector<std::string>& lines, std::size_t most) {
    std::string text;
    for (std::size_t i = 0; i < std::min(lines.size(), most); ++i)
        text += (i ? "; " : "") + lines[i];
    if (lines.size() > most) text += "; and " + std::to_string(lines.size() - most) + " more";
    return text;
}

/// The unit that a column's name ends in ("strength_psi"), lower case, or "".
template <std::size_t N>
std::string unit_of_name(std::string_view name, const std::array<std::string_view, N>& units) {
    const std::string lower = lower_case(name);
    for (const std::string_view unit : units) {
        if (lower.size() <= unit.size() || !lower.ends_with(unit)) continue;
        const char before = lower[lower.size() - unit.size() - 1];
        if (before == '_' || before == ' ' || before == '-' || before == '(' ||
            std::isdigit(static_cast<unsigned char>(before)))
            return std::string(unit);
    }
    return "";
}

/// One unit out of everything that states one.
class Unit {
  public:
    Unit(const Table& table, std::string what, std::string accepted)
        : m_table(table), m_what(std::move(what)), m_accepted(std::move(accepted)) {}

    void state(std::string_view unit, const std::string& where) {
        if (unit.empty()) return;
        const std::string lower = lower_case(unit);
        if (!m_unit.empty() && lower != m_unit)
            throw Error(ErrorKind::data,
                        "the " + m_what + " is in " + m_unit + " (" + m_where + ") and in " +
                            lower + " (" + where + ")",
                        {.path = m_table.name(), .hint = "Use one unit for all readings."});
        m_unit = lower;
        m_where = where;
    }

    const std::string& name() const {
        if (m_unit.empty())
            throw Error(ErrorKind::data, "the unit of the " + m_what + " is not stated",
                        {.path = m_table.name(),
                         .hint = "State it as an option or in the column's name; accepted are " +
                                 m_accepted + "."});
        return m_unit;
    }

  private:
    const Table& m_table;
    std::string m_what;
    std::string m_accepted;
    std::string m_unit;
    std::string m_where;
};

double strength_factor(const std::string& unit) {
    return parse_strength_mpa("1 " + unit, "probe strength");
}
double depth_factor(const std::string& unit) {
    return parse_depth_cm("1 " + unit, "probe depth");
}

/// The column called `name` or `name_<unit>`; none where there is none, Error for two.
template <std::size_t N>
std::optional<std::string> find_column(const Table& table, const std::string& name,
                                       const std::array<std::string_view, N>& units) {
    std::vector<std::string> found;
    for (const std::string& column : table.columns()) {
        bool fits = same_ignoring_case(column, name);
        for (const std::string_view unit : units)
            fits = fits || same_ignoring_case(column, name + "_" + std::string(unit));
        if (fits) found.push_back(column);
    }
    if (found.size() > 1)
        throw Error(
            ErrorKind::data, "columns '" + found[0] + "' and '" + found[1] + "' say the same thing",
            {.path = table.name(), .hint = "Keep one of them or name it in probe-columns."});
    if (found.empty()) return std::nullopt;
    return found.front();
}

/// A column of the wide form: "10cm", "d_6_in", "ci_20cm_psi"; with a stated depth unit also "d10".
struct WideColumn {
    std::string column;
    double depth = 0.0;
    std::string depth_unit;
    std::string strength_unit;
};

std::optional<WideColumn> wide_column(const std::string& column, bool unit_stated) {
    const std::string lower = lower_case(column);
    const std::size_t start = lower.find_first_of("0123456789");
    if (start == std::string::npos) return std::nullopt;
    const std::size_t end = std::min(lower.find_first_not_of("0123456789.", start), lower.size());
    const auto depth = parse_number(lower.substr(start, end - start));
    if (!depth) return std::nullopt;
    WideColumn wide{column, *depth, "", unit_of_name(column, strength_units)};
    std::string_view rest = std::string_view(lower).substr(end);
    while (!rest.empty() && (rest.front() == '_' || rest.front() == ' ' || rest.front() == '-'))
        rest.remove_prefix(1);
    for (const std::string_view unit : depth_units) {
        if (!rest.starts_with(unit)) continue;
        const std::string_view after = rest.substr(unit.size());
        if (after.empty() || !std::isalpha(static_cast<unsigned char>(after.front())))
            wide.depth_unit = unit;
    }
    if (!wide.depth_unit.empty()) return wide;
    const std::string prefix = lower.substr(0, start);
    const bool plain = prefix.empty() || prefix == "d" || prefix == "d_" || prefix == "depth" ||
                       prefix == "depth_" || prefix == "ci" || prefix == "ci_";
    if (unit_stated && plain && rest.empty()) return wide;
    return std::nullopt;
}

struct Shared {
    std::optional<std::string> stop, push, x, y, moisture, unit;
};

Shared shared_columns(const Table& table, const ProbeColumns& columns) {
    const auto find = [&table](const std::string& name) -> std::optional<std::string> {
        for (const std::string& column : table.columns())
            if (same_ignoring_case(column, name)) return column;
        return std::nullopt;
    };
    return {find(columns.stop), find(columns.push),     find(columns.x),
            find(columns.y),    find(columns.moisture), find(columns.unit)};
}

/// Stop, push, place and moisture of a table row; problems of the place are noted.
RawRow identity(const Table& table, std::size_t row, const Shared& columns, Moisture moisture,
                bool row_is_stop) {
    RawRow raw;
    ProbeRow& probe = raw.row;
    probe.where = "line " + std::to_string(table.line(row));
    probe.moisture = moisture;
    if (columns.x && columns.y) {
        const std::string& x_text = table.text(row, *columns.x);
        const std::string& y_text = table.text(row, *columns.y);
        const auto x = parse_number(x_text);
        const auto y = parse_number(y_text);
        if (x && y)
            probe.at = Point{*x, *y};
        else if (!x_text.empty() || !y_text.empty())
            raw.problem = "'" + x_text + "', '" + y_text + "' is no place";
    }
    if (columns.stop)
        probe.stop = table.text(row, *columns.stop);
    else if (row_is_stop)
        probe.stop = probe.where;
    else if (probe.at)
        probe.stop = shortest(probe.at->x) + " " + shortest(probe.at->y);
    if (probe.stop.empty() && raw.problem.empty()) raw.problem = "no stop is named";
    if (columns.push) probe.push = table.text(row, *columns.push);
    if (columns.moisture && !table.text(row, *columns.moisture).empty()) {
        const std::string& word = table.text(row, *columns.moisture);
        const auto state = parse_moisture(word);
        if (state)
            probe.moisture = *state;
        else if (raw.problem.empty())
            raw.problem = "'" + word + "' is no moisture state (field-capacity, dry, wet, unknown)";
    }
    return raw;
}

std::string number_problem(const std::string& column, const std::string& text) {
    return column + " '" + text + "' is not a number";
}

std::vector<RawRow> long_rows(const Table& table, const ProbeOptions& options,
                              const Shared& columns, const std::string& depth_column,
                              const std::string& strength_column) {
    Unit strength_unit(table, "strength", "psi, kPa, MPa");
    strength_unit.state(options.strength_unit, "the option");
    strength_unit.state(unit_of_name(strength_column, strength_units),
                        "column '" + strength_column + "'");
    if (columns.unit)
        for (std::size_t row = 0; row < table.rows(); ++row)
            strength_unit.state(table.text(row, *columns.unit),
                                "line " + std::to_string(table.line(row)));
    Unit depth_unit(table, "depth", "cm, in, mm");
    depth_unit.state(options.depth_unit, "the option");
    depth_unit.state(unit_of_name(depth_column, depth_units), "column '" + depth_column + "'");
    const double mpa = strength_factor(strength_unit.name());
    const double cm = depth_factor(depth_unit.name());
    if (!columns.stop && !(columns.x && columns.y))
        throw Error(ErrorKind::data, "no column says which stop a reading belongs to",
                    {.path = table.name(), .hint = "Add a column 'stop', or x and y."});

    std::vector<RawRow> rows;
    for (std::size_t row = 0; row < table.rows(); ++row) {
        const std::string& strength_text = table.text(row, strength_column);
        const std::string& depth_text = table.text(row, depth_column);
        if (strength_text.empty()) continue;  // not read at this depth
        RawRow raw = identity(table, row, columns, options.moisture, false);
        const auto depth = parse_number(depth_text);
        const auto strength = parse_number(strength_text);
        if (!depth && raw.problem.empty()) raw.problem = number_problem(depth_column, depth_text);
        if (!strength && raw.problem.empty())
            raw.problem = number_problem(strength_column, strength_text);
        raw.row.depth_cm = depth.value_or(0.0) * cm;
        raw.row.strength_mpa = strength.value_or(0.0) * mpa;
        rows.push_back(std::move(raw));
    }
    return rows;
}

std::vector<RawRow> wide_rows(const Table& table, const ProbeOptions& options,
                              const Shared& columns, std::vector<WideColumn> wide) {
    Unit strength_unit(table, "strength", "psi, kPa, MPa");
    strength_unit.state(options.strength_unit, "the option");
    Unit depth_unit(table, "depth", "cm, in, mm");
    depth_unit.state(options.depth_unit, "the option");
    for (const WideColumn& column : wide) {
        strength_unit.state(column.strength_unit, "column '" + column.column + "'");
        depth_unit.state(column.depth_unit, "column '" + column.column + "'");
    }
    if (columns.unit)
        for (std::size_t row = 0; row < table.rows(); ++row)
            strength_unit.state(table.text(row, *columns.unit),
                                "line " + std::to_string(table.line(row)));
    const double mpa = strength_factor(strength_unit.name());
    const double cm = depth_factor(depth_unit.name());
    std::stable_sort(wide.begin(), wide.end(),
                     [](const WideColumn& a, const WideColumn& b) { return a.depth < b.depth; });

    std::vector<RawRow> rows;
    for (std::size_t row = 0; row < table.rows(); ++row) {
        RawRow whole = identity(table, row, columns, options.moisture, true);
        // Two rows of one stop without numbered pushes are two pushes.
        if (whole.row.push.empty()) whole.row.push = whole.row.where;
        for (const WideColumn& column : wide) {
            const std::string& text = table.text(row, column.column);
            if (text.empty()) continue;
            RawRow raw = whole;
            const auto strength = parse_number(text);
            if (!strength && raw.problem.empty()) raw.problem = number_problem(column.column, text);
            raw.row.depth_cm = column.depth * cm;
            raw.row.strength_mpa = strength.value_or(0.0) * mpa;
            rows.push_back(std::move(raw));
        }
    }
    return rows;
}

struct Push {
    std::vector<double> depth_cm;
    std::vector<double> strength_mpa;
};

/// Linear between the push's own readings; none outside them.
std::optional<double> strength_at(const Push& push, double depth_cm) {
    const auto upper = std::lower_bound(push.depth_cm.begin(), push.depth_cm.end(), depth_cm);
    if (upper == push.depth_cm.end()) return std::nullopt;
    const auto i = static_cast<std::size_t>(upper - push.depth_cm.begin());
    if (push.depth_cm[i] == depth_cm) return push.strength_mpa[i];
    if (i == 0) return std::nullopt;
    const double share =
        (depth_cm - push.depth_cm[i - 1]) / (push.depth_cm[i] - push.depth_cm[i - 1]);
    return push.strength_mpa[i - 1] + share * (push.strength_mpa[i] - push.strength_mpa[i - 1]);
}

std::string row_problem(const ProbeRow& row, const Push& push) {
    if (!std::isfinite(row.depth_cm) || row.depth_cm < 0.0 || row.depth_cm > deepest_cm)
        return "depth " + significant(row.depth_cm, 4) + " cm is outside 0 to 200 cm";
    if (!std::isfinite(row.strength_mpa) || row.strength_mpa < 0.0)
        return "strength " + significant(row.strength_mpa, 3) + " MPa is negative";
    if (row.strength_mpa > absurd_mpa)
        return "strength " + significant(row.strength_mpa, 3) +
               " MPa is over 10 MPa; check the unit";
    if (!push.depth_cm.empty() && row.depth_cm <= push.depth_cm.back())
        return "depth " + significant(row.depth_cm, 4) + " cm does not increase after " +
               significant(push.depth_cm.back(), 4) +
               " cm; number repeated pushes in a column 'push'";
    return "";
}

void average(const std::vector<Push>& pushes, Stop& stop, std::vector<std::string>& warnings) {
    std::vector<double> depths;
    for (const Push& push : pushes)
        depths.insert(depths.end(), push.depth_cm.begin(), push.depth_cm.end());
    std::sort(depths.begin(), depths.end());
    depths.erase(std::unique(depths.begin(), depths.end()), depths.end());
    double shallowest_end = depths.back();
    for (const Push& push : pushes) shallowest_end = std::min(shallowest_end, push.depth_cm.back());
    for (const double depth : depths) {
        double sum = 0.0;
        int count = 0;
        for (const Push& push : pushes)
            if (const auto strength = strength_at(push, depth)) {
                sum += *strength;
                ++count;
            }
        stop.depth_cm.push_back(depth);
        stop.strength_mpa.push_back(sum / count);
    }
    if (shallowest_end < depths.back())
        warnings.push_back("stop " + stop.id + ": not all pushes go below " +
                           significant(shallowest_end, 3) +
                           " cm; if one was stopped by hard ground, the mean below is too soft.");
}

double median(std::vector<double> values) {
    std::sort(values.begin(), values.end());
    const std::size_t middle = values.size() / 2;
    return values.size() % 2 == 1 ? values[middle] : 0.5 * (values[middle - 1] + values[middle]);
}

/// Stops that are far harder or softer than the rest are doubted: psi read as kPa is a factor of 7.
void doubt_outliers(ProbeSet& set) {
    if (set.stops.size() < 3) return;
    std::vector<double> medians;
    for (const Stop& stop : set.stops) medians.push_back(median(stop.strength_mpa));
    const double middle = median(medians);
    for (std::size_t i = 0; i < medians.size(); ++i)
        if (middle > 0.0 && (medians[i] > 5.0 * middle || medians[i] < middle / 5.0))
            set.warnings.push_back("stop " + set.stops[i].id + ": its median of " +
                                   significant(medians[i], 2) + " MPa is far from the others' " +
                                   significant(middle, 2) + " MPa; was it taken in another unit?");
}

/// Drops or doubts what was not taken near field capacity.
void judge_moisture(ProbeSet& set, MoisturePolicy policy) {
    std::map<Moisture, std::size_t> counts;
    for (const Stop& stop : set.stops) ++counts[stop.moisture];
    if (counts.size() > 1)
        set.warnings.push_back(
            "The stops were taken in different moisture states; their readings do not compare.");
    if (policy == MoisturePolicy::refuse) {
        std::erase_if(set.stops, [&set](const Stop& stop) {
            if (stop.moisture == Moisture::field_capacity) return false;
            set.problems.push_back("stop " + stop.id + ": moisture is " +
                                   std::string(moisture_name(stop.moisture)) +
                                   ", not near field capacity; left out");
            return true;
        });
        return;
    }
    const auto say = [&](Moisture moisture, const std::string& what) {
        if (counts.contains(moisture))
            set.warnings.push_back(std::to_string(counts[moisture]) + " of " +
                                   std::to_string(set.stops.size()) + " stops " + what);
    };
    say(Moisture::dry, "were read in dry soil: readings are too high, layers may not be real.");
    say(Moisture::wet, "were read in wet soil: readings are too low, layers may be missed.");
    say(Moisture::unknown, "have no stated moisture; readings count only near field capacity.");
}

ProbeSet stops_from_raw(const std::vector<RawRow>& rows, const ProbeOptions& options) {
    // Stops and their pushes in the order of the rows.
    struct Rows {
        std::string id;
        std::vector<std::pair<std::string, std::vector<const RawRow*>>> pushes;
    };
    std::vector<Rows> stops;
    std::map<std::string, std::size_t> stop_of;
    std::map<std::pair<std::string, std::string>, std::size_t> push_of;
    ProbeSet set;
    for (const RawRow& raw : rows) {
        const std::string& id = raw.row.stop;
        if (id.empty()) {
            set.problems.push_back(raw.row.where + ": " +
                                   (raw.problem.empty() ? "no stop is named" : raw.problem));
            continue;
        }
        const auto [at, is_new] = stop_of.try_emplace(id, stops.size());
        if (is_new) stops.push_back({id, {}});
        auto& pushes = stops[at->second].pushes;
        const auto [push_at, new_push] = push_of.try_emplace({id, raw.row.push}, pushes.size());
        if (new_push) pushes.push_back({raw.row.push, {}});
        pushes[push_at->second].second.push_back(&raw);
    }

    for (const Rows& source : stops) {
        Stop stop;
        stop.id = source.id;
        std::vector<Push> pushes;
        std::vector<Point> places;
        std::vector<Moisture> states;
        for (const auto& [name, push_rows] : source.pushes) {
            Push push;
            const std::string whose =
                "stop " + source.id +
                (source.pushes.size() > 1 && !name.empty() ? ", push " + name : "");
            bool good = true;
            for (const RawRow* raw : push_rows) {
                const std::string problem =
                    raw->problem.empty() ? row_problem(raw->row, push) : raw->problem;
                if (!problem.empty()) {
                    set.problems.push_back(raw->row.where + ", " + whose + ": " + problem);
                    good = false;
                    continue;
                }
                push.depth_cm.push_back(raw->row.depth_cm);
                push.strength_mpa.push_back(raw->row.strength_mpa);
            }
            if (!good) continue;
            if (push.depth_cm.size() < options.min_depths) {
                set.problems.push_back(push_rows.front()->row.where + ", " + whose + ": only " +
                                       std::to_string(push.depth_cm.size()) + " depths, at least " +
                                       std::to_string(options.min_depths) + " are needed");
                continue;
            }
            const double highest =
                *std::max_element(push.strength_mpa.begin(), push.strength_mpa.end());
            if (highest < faint_mpa) {
                set.problems.push_back(push_rows.front()->row.where + ", " + whose +
                                       ": the highest reading is only " + significant(highest, 2) +
                                       " MPa; check the unit");
                continue;
            }
            for (const RawRow* raw : push_rows) {
                if (raw->row.at) places.push_back(*raw->row.at);
                states.push_back(raw->row.moisture);
            }
            pushes.push_back(std::move(push));
        }
        if (pushes.empty()) continue;
        stop.pushes = static_cast<int>(pushes.size());
        average(pushes, stop, set.warnings);
        if (!places.empty()) {
            Point mean;
            for (const Point& place : places) {
                mean.x += place.x / static_cast<double>(places.size());
                mean.y += place.y / static_cast<double>(places.size());
            }
            stop.at = mean;
            for (const Point& place : places)
                if (std::hypot(place.x - mean.x, place.y - mean.y) > stop_spread_m) {
                    set.warnings.push_back(
                        "stop " + stop.id +
                        ": its readings lie more than 10 m from their mean place.");
                    break;
                }
        }
        stop.moisture = states.front();
        if (std::any_of(states.begin(), states.end(),
                        [&](Moisture m) { return m != states.front(); }))
            stop.moisture = Moisture::unknown;
        set.stops.push_back(std::move(stop));
    }
    doubt_outliers(set);
    judge_moisture(set, options.policy);
    return set;
}

[[noreturn]] void no_stops(const std::string& path, const std::vector<std::string>& problems) {
    throw Error(
        ErrorKind::data,
        "no penetrometer stop can be used" + (problems.empty() ? "" : ": " + list_of(problems, 5)),
        {.path = path});
}

/// Where the line through two readings meets the limit.
double crossing_cm(const Stop& stop, std::size_t upper, double limit) {
    const double z1 = stop.depth_cm[upper], z2 = stop.depth_cm[upper + 1];
    const double c1 = stop.strength_mpa[upper], c2 = stop.strength_mpa[upper + 1];
    return z1 + (limit - c1) * (z2 - z1) / (c2 - c1);
}

}  // namespace

std::optional<Moisture> parse_moisture(std::string_view text) {
    std::string word = lower_case(trim(text));
    std::replace_if(
        word.begin(), word.end(), [](char c) { return c == ' ' || c == '_'; }, '-');
    for (std::size_t i = 0; i < moisture_words.size(); ++i)
        if (word == moisture_words[i]) return static_cast<Moisture>(i);
    return std::nullopt;
}

std::string_view moisture_name(Moisture moisture) {
    return moisture_words[static_cast<std::size_t>(moisture)];
}

void set_columns(ProbeColumns& columns, std::string_view text) {
    const std::vector<std::pair<std::string, std::string*>> members = {
        {"stop", &columns.stop},
        {"push", &columns.push},
        {"x", &columns.x},
        {"y", &columns.y},
        {"depth", &columns.depth},
        {"strength", &columns.strength},
        {"moisture", &columns.moisture},
        {"unit", &columns.unit}};
    for (const std::string& pair : split(text, ',')) {
        if (trim(pair).empty()) continue;
        const auto parts = split(pair, '=');
        const std::string name = lower_case(trim(parts.front()));
        const auto member =
            std::find_if(members.begin(), members.end(),
                         [&name](const auto& known) { return known.first == name; });
        if (parts.size() != 2 || trim(parts[1]).empty() || member == members.end())
            throw Error(ErrorKind::usage, "'" + std::string(trim(pair)) + "' names no probe column",
                        {.hint = "Write name=column with stop, push, x, y, depth, strength, "
                                 "moisture or unit."});
        *member->second = std::string(trim(parts[1]));
    }
}

ProbeSet read_probes(const Table& table, const ProbeOptions& options) {
    const Shared columns = shared_columns(table, options.columns);
    const auto depth = find_column(table, options.columns.depth, depth_units);
    const auto strength = find_column(table, options.columns.strength, strength_units);
    std::vector<RawRow> rows;
    if (depth && strength) {
        rows = long_rows(table, options, columns, *depth, *strength);
    } else {
        std::vector<WideColumn> wide;
        for (const std::string& column : table.columns())
            if (auto found = wide_column(column, !options.depth_unit.empty()))
                wide.push_back(*found);
        if (wide.size() < 2)
            throw Error(
                ErrorKind::data, "there are no columns of depth and strength",
                {.path = table.name(),
                 .hint =
                     "Give 'depth' and 'strength' (a row per depth), or a column per depth such "
                     "as '10cm'."});
        rows = wide_rows(table, options, columns, std::move(wide));
    }
    ProbeSet set = stops_from_raw(rows, options);
    if (set.stops.empty()) no_stops(table.name(), set.problems);
    return set;
}

ProbeSet stops_from_rows(const std::vector<ProbeRow>& rows, const ProbeOptions& options) {
    std::vector<RawRow> raw;
    raw.reserve(rows.size());
    for (const ProbeRow& row : rows) raw.push_back({row, ""});
    ProbeSet set = stops_from_raw(raw, options);
    if (set.stops.empty()) no_stops("", set.problems);
    return set;
}

std::vector<Layer> layers_above(const Stop& stop, double limit_mpa) {
    std::vector<Layer> layers;
    const std::size_t count = stop.depth_cm.size();
    for (std::size_t first = 0; first < count; ++first) {
        if (stop.strength_mpa[first] <= limit_mpa) continue;
        std::size_t last = first;
        while (last + 1 < count && stop.strength_mpa[last + 1] > limit_mpa) ++last;
        if (last > first) {
            Layer layer;
            layer.from_first = first == 0;
            layer.to_last = last + 1 == count;
            layer.top_cm =
                layer.from_first ? stop.depth_cm[0] : crossing_cm(stop, first - 1, limit_mpa);
            layer.bottom_cm =
                layer.to_last ? stop.depth_cm[last] : crossing_cm(stop, last, limit_mpa);
            for (std::size_t i = first; i <= last; ++i) {
                if (stop.strength_mpa[i] <= layer.peak_mpa) continue;
                layer.peak_mpa = stop.strength_mpa[i];
                layer.peak_depth_cm = stop.depth_cm[i];
            }
            layers.push_back(layer);
        }
        first = last;
    }
    return layers;
}

std::optional<double> highest_within_mpa(const Stop& stop, double depth_cm) {
    std::optional<double> highest;
    for (std::size_t i = 0; i < stop.depth_cm.size(); ++i) {
        if (stop.depth_cm[i] <= depth_cm) {
            highest = std::max(highest.value_or(0.0), stop.strength_mpa[i]);
            continue;
        }
        if (i > 0) {
            const double share =
                (depth_cm - stop.depth_cm[i - 1]) / (stop.depth_cm[i] - stop.depth_cm[i - 1]);
            highest = std::max(highest.value_or(0.0),
                               stop.strength_mpa[i - 1] +
                                   share * (stop.strength_mpa[i] - stop.strength_mpa[i - 1]));
        }
        break;
    }
    return highest;
}

std::optional<double> strength_at_mpa(const Stop& stop, double depth_cm) {
    const auto& depths = stop.depth_cm;
    const auto below = std::lower_bound(depths.begin(), depths.end(), depth_cm);
    if (below == depths.end()) return std::nullopt;
    const auto i = static_cast<std::size_t>(below - depths.begin());
    if (*below == depth_cm) return stop.strength_mpa[i];
    if (i == 0) return std::nullopt;
    const double share = (depth_cm - depths[i - 1]) / (depths[i] - depths[i - 1]);
    return stop.strength_mpa[i - 1] + share * (stop.strength_mpa[i] - stop.strength_mpa[i - 1]);
}

StopSummary summarise(const Stop& stop, double limit_mpa) {
    StopSummary summary;
    summary.id = stop.id;
    summary.at = stop.at;
    summary.layers = layers_above(stop, limit_mpa);
    if (!summary.layers.empty()) {
        summary.layer_top_cm = summary.layers.front().top_cm;
        summary.layer_thickness_cm = summary.layers.front().thickness_cm();
    }
    summary.highest_mpa = highest_within_mpa(stop);
    summary.pushes = stop.pushes;
    summary.moisture = stop.moisture;
    const std::size_t count = stop.depth_cm.size();
    if (count > 0) {
        summary.deepest_cm = stop.depth_cm.back();
        summary.last_alone = stop.strength_mpa[count - 1] > limit_mpa &&
                             (count == 1 || stop.strength_mpa[count - 2] <= limit_mpa);
    }
    return summary;
}

std::string_view rating_name(Rating rating) {
    switch (rating) {
        case Rating::little:
            return "little or none";
        case Rating::slight:
            return "slight";
        case Rating::moderate:
            return "moderate";
        case Rating::severe:
            break;
    }
    return "severe";
}

Rating rating_of_share(double share) {
    if (share < 0.30) return Rating::little;
    if (share < 0.50) return Rating::slight;
    if (share <= 0.75) return Rating::moderate;
    return Rating::severe;
}

std::optional<ShareRating> rate_stops(const std::vector<StopSummary>& stops, std::size_t few) {
    ShareRating rating;
    std::size_t shallow = 0, odd_moisture = 0;
    for (const StopSummary& stop : stops) {
        const bool above = stop.highest_mpa && *stop.highest_mpa > limit_300_psi_mpa;
        // Depth steps seldom end at 38.1 cm sharp: nine tenths of it will do.
        if (!above && stop.deepest_cm < 0.9 * rating_depth_cm) {
            ++shallow;
            continue;
        }
        if (!stop.highest_mpa) continue;
        ++rating.stops;
        rating.above += above ? 1 : 0;
        odd_moisture += stop.moisture == Moisture::field_capacity ? 0 : 1;
    }
    if (rating.stops == 0) return std::nullopt;
    rating.share = static_cast<double>(rating.above) / static_cast<double>(rating.stops);
    rating.rating = rating_of_share(rating.share);
    rating.deep_loosening = rating.rating >= Rating::moderate;
    if (rating.stops < few) {
        rating.confidence = Confidence::assumption;
        rating.warnings.push_back("Only " + std::to_string(rating.stops) +
                                  " stops stand behind the share of hard stops.");
    }
    if (shallow > 0)
        rating.warnings.push_back(std::to_string(shallow) +
                                  " stops end above 38 cm (15 in) and were left out of the share.");
    if (odd_moisture > 0)
        rating.warnings.push_back(std::to_string(odd_moisture) + " of " +
                                  std::to_string(rating.stops) +
                                  " stops are not known to be near field capacity.");
    return rating;
}

}  // namespace catchfield::compaction

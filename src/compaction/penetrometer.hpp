// SPDX-License-Identifier: MIT
// Penetrometer stops: reading and checking them, layers above a limit, the share of hard stops.
#pragma once

#include "base/confidence.hpp"
#include "base/shapes.hpp"
#include "base/table.hpp"

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace catchfield::compaction {

/// Root limit of extension advice: 300 psi (2.0684 MPa).
inline constexpr double limit_300_psi_mpa = 300.0 * 0.006894757293168361;
/// Depth within which the published rating looks for the highest reading: 15 in, 38.1 cm.
inline constexpr double rating_depth_cm = 15.0 * 2.54;
/// Readings above this are taken for a mistake of the unit.
inline constexpr double absurd_mpa = 10.0;

/// Soil moisture when the readings were taken. Cone index is comparable only near field capacity:
/// dry soil reads too high, wet soil too low.
enum class Moisture { field_capacity, dry, wet, unknown };
/// "field-capacity", "dry", "wet", "unknown"; none otherwise.
std::optional<Moisture> parse_moisture(std::string_view text);
std::string_view moisture_name(Moisture moisture);

/// What happens to readings that were not taken near field capacity.
enum class MoisturePolicy {
    warn,    ///< used, with a warning in every result
    refuse,  ///< the stop is left out and listed; Error(data) where none is left
};

/// Column names. Only columns that are in the table are used; depth and strength are required in
/// the long form. In the wide form every column that is a depth with its unit ("10 cm", "d_6in",
/// "ci_20cm_psi") holds the strength at that depth.
struct ProbeColumns {
    std::string stop = "stop";
    std::string push = "push";
    std::string x = "x";
    std::string y = "y";
    std::string depth = "depth";        ///< also depth_cm, depth_in, depth_mm
    std::string strength = "strength";  ///< also strength_psi, strength_kpa, strength_mpa
    std::string moisture = "moisture";  ///< state per row; overrides the option
    std::string unit = "unit";          ///< strength unit per row; must be the same in all rows
};

/// "stop=id, depth=tiefe" as written in a job file. Throws Error(usage) for an unknown name.
void set_columns(ProbeColumns& columns, std::string_view text);

struct ProbeOptions {
    ProbeColumns columns{};
    std::string strength_unit{};  ///< psi, kPa or MPa; "" where columns state it
    std::string depth_unit{};     ///< cm, in, mm; "" where columns state it
    Moisture moisture = Moisture::unknown;
    MoisturePolicy policy = MoisturePolicy::warn;
    std::size_t min_depths = 3;  ///< fewer readings than this are no profile
};

/// One reading, in SI. where: "line 12", for messages.
struct ProbeRow {
    std::string stop{};
    std::string push{};
    std::optional<Point> at{};
    double depth_cm = 0.0;
    double strength_mpa = 0.0;
    Moisture moisture = Moisture::unknown;
    std::string where{};
};

/// One stop: its pushes averaged. Depths increase; both arrays have one entry per depth.
struct Stop {
    std::string id{};
    std::optional<Point> at{};
    std::vector<double> depth_cm{};
    std::vector<double> strength_mpa{};
    int pushes = 1;
    Moisture moisture = Moisture::unknown;
};

/// Stops that could be used, and in plain words what could not and why.
struct ProbeSet {
    std::vector<Stop> stops{};
    std::vector<std::string>
        problems{};  ///< one per bad row, with its place; its push was left out
    std::vector<std::string> warnings{};  ///< doubts about stops that are used
};

/// Stops from a table in the long form (one row per depth) or the wide form (one column per depth).
///
/// Units come from column names or options and are never guessed: none, or two that disagree, throw
/// Error(data). A bad row (not a number, negative, over 10 MPa, depth not increasing within its
/// push) costs its push and is listed; a stop without a good push is left out. No stop left throws
/// Error(data) with the first problems. Readings away from field capacity: see MoisturePolicy;
/// pooled states are warned of in any case.
ProbeSet read_probes(const Table& table, const ProbeOptions& options = {});

/// The same from rows in SI, in the order they were taken.
///
/// Pushes of a stop are averaged at every depth that one of them has: each is interpolated linearly
/// between its own readings and never extended, and the mean is over the pushes that reach the
/// depth. Depths that not all pushes reach bring a warning, because a push that stops short on hard
/// ground leaves too soft a mean.
ProbeSet stops_from_rows(const std::vector<ProbeRow>& rows, const ProbeOptions& options = {});

/// Part of a profile above a limit. Top and bottom are interpolated between the depths:
/// z = z1 + (L - CI1)(z2 - z1) / (CI2 - CI1).
struct Layer {
    double top_cm = 0.0;
    double bottom_cm = 0.0;
    bool from_first = false;  ///< above the limit already at the first depth: top is that depth
    bool to_last = false;     ///< still above at the last depth: thickness is a least value
    double peak_mpa = 0.0;
    double peak_depth_cm = 0.0;

    double thickness_cm() const { return bottom_cm - top_cm; }
};

/// Layers where the limit is exceeded at two depths running at least, top first.
std::vector<Layer> layers_above(const Stop& stop, double limit_mpa = limit_300_psi_mpa);

/// Highest reading from the surface to `depth_cm` (the value there interpolated); none where the
/// first reading is deeper.
std::optional<double> highest_within_mpa(const Stop& stop, double depth_cm = rating_depth_cm);

/// The reading at a depth, interpolated linearly; none above the first or below the last reading.
std::optional<double> strength_at_mpa(const Stop& stop, double depth_cm);

struct StopSummary {
    std::string id{};
    std::optional<Point> at{};
    std::vector<Layer> layers{};
    std::optional<double> layer_top_cm{};        ///< of the first layer
    std::optional<double> layer_thickness_cm{};  ///< of the first layer
    std::optional<double> highest_mpa{};         ///< within the top 38 cm
    double deepest_cm = 0.0;
    bool last_alone = false;  ///< only the deepest reading is above the limit: layer not confirmed
    int pushes = 1;
    Moisture moisture = Moisture::unknown;
};
StopSummary summarise(const Stop& stop, double limit_mpa = limit_300_psi_mpa);

/// Penn State Agronomy Facts 63 (Duiker 2002, after Murdock, Kentucky) [memory: high]: share of
/// stops whose highest reading in the top 15 in exceeds 300 psi.
enum class Rating { little, slight, moderate, severe };
/// "little or none", "slight", "moderate", "severe".
std::string_view rating_name(Rating rating);
/// Share 0-1. At the bounds 30 and 50 % the higher class, at 75 % moderate [assumption; the source
/// does not say].
Rating rating_of_share(double share);

struct ShareRating {
    std::size_t stops = 0;  ///< that reach the depth
    std::size_t above = 0;
    double share = 0.0;  ///< 0-1
    Rating rating = Rating::little;
    bool deep_loosening = false;  ///< the source's advice: moderate and severe
    Confidence confidence = Confidence::recalled;
    std::vector<std::string> warnings{};  ///< few stops, shallow stops, moisture
};
/// Rating of a field or zone; none where no stop reaches the depth. Stops that end above it
/// count only where they already exceed the limit. Fewer than `few` stops bring a warning and lower
/// the confidence. The limit is 300 psi as published, whatever the threshold for layers.
std::optional<ShareRating> rate_stops(const std::vector<StopSummary>& stops, std::size_t few = 5);

}  // namespace catchfield::compaction

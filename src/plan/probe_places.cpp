// SPDX-License-Identifier: MIT
#include "plan/probe_places.hpp"

#include "base/text.hpp"
#include "geometry/overlay.hpp"
#include "geometry/validity.hpp"

namespace catchfield::plan {

std::vector<std::string> stray_stops(const ProbeStops& probes, const FieldList& fields,
                                     const gis::Crs& boundary_crs) {
    std::vector<std::string> texts;
    if (probes.stops.empty()) return texts;
    const gis::Transformer& to_fields = gis::transformer(probes.crs, boundary_crs);
    constexpr std::size_t most_listed = 20;
    std::vector<Point> places;
    std::vector<const compaction::Stop*> stops;
    std::size_t strays = 0;
    const auto say = [&](const compaction::Stop& stop, const std::string& what) {
        if (++strays <= most_listed) {
            texts.push_back("penetrometer stops: stop " + stop.id + " " + what +
                            " and is left out.");
        }
    };
    for (const compaction::Stop& stop : probes.stops) {
        if (!stop.at) {
            say(stop, "has no coordinates");
            continue;
        }
        places.push_back(to_fields.apply(*stop.at));
        stops.push_back(&stop);
    }
    std::vector<bool> inside(places.size(), false);
    for (const FieldBoundary& field : fields) {
        const Box box = bounds(field.shape);
        std::vector<Point> near;
        std::vector<std::size_t> which;
        for (std::size_t i = 0; i < places.size(); ++i) {
            const Point& p = places[i];
            if (inside[i] || p.x < box.min_x || p.x > box.max_x || p.y < box.min_y ||
                p.y > box.max_y) {
                continue;
            }
            near.push_back(p);
            which.push_back(i);
        }
        if (near.empty()) continue;
        // A boundary that will be refused must not stop the others here.
        const MultiPolygon shape = geometry::find_flaw(field.shape)
                                       ? geometry::repair(field.shape).shape
                                       : field.shape;
        if (shape.empty()) continue;
        const std::vector<bool> covered = geometry::covers(shape, near);
        for (std::size_t i = 0; i < which.size(); ++i) {
            if (covered[i]) inside[which[i]] = true;
        }
    }
    for (std::size_t i = 0; i < places.size(); ++i) {
        if (inside[i]) continue;
        say(*stops[i], "at " + shortest(stops[i]->at->x) + ", " + shortest(stops[i]->at->y) +
                           " lies outside every field");
    }
    if (strays > most_listed) {
        texts.push_back("penetrometer stops: " + std::to_string(strays - most_listed) +
                        " more lie outside every field.");
    }
    if (strays == probes.stops.size()) {
        texts.push_back(
            "penetrometer stops: none lies in a field, and compaction is judged by the soil map "
            "alone; look at compaction.probe-crs and at the columns x and y in "
            "compaction.probe-columns.");
    }
    return texts;
}

}  // namespace catchfield::plan

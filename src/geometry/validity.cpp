// SPDX-License-Identifier: MIT
#include "geometry/validity.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "geometry/geos.hpp"

#include <algorithm>
#include <cmath>
#include <span>

namespace catchfield::geometry {

namespace {

bool finite(const Point& point) {
    return std::isfinite(point.x) && std::isfinite(point.y);
}

std::optional<Flaw> ring_flaw(const Ring& ring, const char* name) {
    if (ring.empty()) return Flaw{std::string(name) + " has no points", std::nullopt};
    for (std::size_t i = 0; i < ring.size(); ++i) {
        if (!finite(ring[i])) {
            return Flaw{std::string(name) +
                            " has a coordinate that is not a finite number (point " +
                            std::to_string(i + 1) + ")",
                        std::nullopt};
        }
    }
    if (ring.front() != ring.back())
        return Flaw{std::string(name) + " is not closed", ring.front()};
    if (ring.size() < 4) {
        return Flaw{std::string(name) + " has fewer than four points", ring.front()};
    }
    return std::nullopt;
}

/// What GEOS would refuse to take at all.
std::optional<Flaw> structural_flaw(const MultiPolygon& shape) {
    if (shape.empty()) return Flaw{"the shape is empty", std::nullopt};
    for (const Polygon& polygon : shape) {
        if (auto flaw = ring_flaw(polygon.outer, "an outline")) return flaw;
        for (const Ring& hole : polygon.holes) {
            if (auto flaw = ring_flaw(hole, "a hole")) return flaw;
        }
    }
    return std::nullopt;
}

std::string place_text(const Point& point) {
    return "(" + fixed(point.x, 2) + ", " + fixed(point.y, 2) + ")";
}

/// Finite, closed, with an area to give; counts what it had to change.
struct RingMending {
    std::size_t not_finite = 0, opened = 0, dropped = 0;

    bool mend(Ring& ring) {
        const std::size_t before = ring.size();
        std::erase_if(ring, [](const Point& point) { return !finite(point); });
        not_finite += before - ring.size();
        if (!ring.empty() && ring.front() != ring.back()) {
            ring.push_back(ring.front());
            ++opened;
        }
        if (ring.size() >= 4) return true;
        ++dropped;
        return false;
    }
};

/// What a set of closed rings encloses, each by itself, overlaps united. By structure: a ring that
/// crosses itself falls into its loops, and loops drawn over one another stay ground.
GeomPtr mend_rings(std::span<const Ring> rings) {
    GeosContext& context = geos();
    std::vector<GeomPtr> parts;
    for (const Ring& ring : rings) {
        GEOSMakeValidParams* params = GEOSMakeValidParams_create_r(context.handle());
        GEOSMakeValidParams_setMethod_r(context.handle(), params, GEOS_MAKE_VALID_STRUCTURE);
        GEOSMakeValidParams_setKeepCollapsed_r(context.handle(), params, 0);
        GEOSGeometry* raw =
            GEOSMakeValidWithParams_r(context.handle(), make_areas({{ring, {}}}).get(), params);
        GEOSMakeValidParams_destroy_r(context.handle(), params);
        const GeomPtr mended = context.own(raw, "repairing a ring");
        parts.push_back(make_areas(read_areas(mended.get())));
    }
    const GeomPtr all = make_collection(std::move(parts));
    return context.own(GEOSUnaryUnion_r(context.handle(), all.get()), "repairing a shape");
}

/// Every polygon's outline less its holes, all of them united.
MultiPolygon rebuild(const MultiPolygon& closed) {
    GeosContext& context = geos();
    std::vector<GeomPtr> parts;
    for (const Polygon& polygon : closed) {
        GeomPtr ground = mend_rings(std::span<const Ring>(&polygon.outer, 1));
        if (!polygon.holes.empty()) {
            const GeomPtr holes = mend_rings(polygon.holes);
            ground = context.own(GEOSDifference_r(context.handle(), ground.get(), holes.get()),
                                 "taking holes out of a shape");
        }
        parts.push_back(make_areas(read_areas(ground.get())));
    }
    const GeomPtr all = make_collection(std::move(parts));
    return read_areas(
        context.own(GEOSUnaryUnion_r(context.handle(), all.get()), "repairing a shape").get());
}

std::string count_text(std::size_t count, const char* one, const char* many) {
    return std::to_string(count) + " " + (count == 1 ? one : many);
}

}  // namespace

std::optional<Flaw> find_flaw(const MultiPolygon& shape) {
    if (auto flaw = structural_flaw(shape)) return flaw;
    GeosContext& context = geos();
    const GeomPtr areas = make_areas(shape);
    char* reason = nullptr;
    GEOSGeometry* place = nullptr;
    const char answer = GEOSisValidDetail_r(context.handle(), areas.get(), 0, &reason, &place);
    const GeomPtr owned_place(place, GeomDeleter{context.handle()});
    Flaw flaw;
    if (reason != nullptr) {
        flaw.reason = reason;
        GEOSFree_r(context.handle(), reason);
    }
    if (place != nullptr) flaw.place = read_point(place);
    if (context.truth(answer, "checking a shape")) return std::nullopt;
    return flaw;
}

std::string describe(const Flaw& flaw) {
    return flaw.place ? flaw.reason + " at " + place_text(*flaw.place) : flaw.reason;
}

void require_valid(const MultiPolygon& shape, const std::string& what) {
    if (const auto flaw = find_flaw(shape)) {
        throw Error(ErrorKind::data, what + " is not valid: " + describe(*flaw),
                    {.hint = "Repair the shape first, or correct it where it was drawn."});
    }
}

Repair repair(const MultiPolygon& shape) {
    Repair result;
    for (const Polygon& polygon : shape) {
        double part = std::abs(signed_area(polygon.outer));
        for (const Ring& hole : polygon.holes) part -= std::abs(signed_area(hole));
        if (std::isfinite(part)) result.area_before_m2 += part;
    }
    if (shape.empty()) return result;
    const auto flaw = find_flaw(shape);
    if (!flaw) {
        result.shape = shape;
        result.area_after_m2 = result.area_before_m2;
        return result;
    }

    RingMending mending;
    MultiPolygon closed;
    for (Polygon polygon : shape) {
        std::erase_if(polygon.holes, [&](Ring& hole) { return !mending.mend(hole); });
        if (mending.mend(polygon.outer)) closed.push_back(std::move(polygon));
    }
    if (mending.not_finite > 0) {
        result.changes.push_back(
            count_text(mending.not_finite, "point that is", "points that are") +
            " not a finite number left out");
    }
    if (mending.opened > 0) {
        result.changes.push_back(count_text(mending.opened, "open ring", "open rings") + " closed");
    }
    if (mending.dropped > 0) {
        result.changes.push_back(count_text(mending.dropped, "ring", "rings") +
                                 " of fewer than four points left out");
    }

    if (!closed.empty()) {
        const auto left = find_flaw(closed);
        if (!left) {
            result.shape = closed;
        } else {
            result.shape = rebuild(closed);
            result.changes.push_back(describe(*left) + ": repaired, " +
                                     count_text(closed.size(), "part", "parts") + " became " +
                                     std::to_string(result.shape.size()));
        }
    }
    result.area_after_m2 = area(result.shape);
    result.changes.push_back("area " + fixed(result.area_before_m2 * 1e-4, 4) + " ha before, " +
                             fixed(result.area_after_m2 * 1e-4, 4) + " ha after the repair");
    return result;
}

}  // namespace catchfield::geometry

// SPDX-License-Identifier: MIT
// Coordinate reference systems and transformations between them, x (east, longitude) always first.
#pragma once

#include "base/shapes.hpp"

#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace catchfield::gis {

/// A horizontal CRS. Cheap to copy; safe to use from any thread. Vertical parts are dropped.
/// A default-constructed Crs is empty.
class Crs {
  public:
    Crs() = default;

    /// From "EPSG:26915", "ESRI:102003", WKT (1, 2 or ESRI), a PROJ string or a PROJJSON text. key:
    /// the job-file key or path, for messages. Throws Error(usage) where it is not understood, or
    /// is neither projected nor geographic. File names and addresses are not looked up.
    static Crs from_user_input(const std::string& text, const std::string& key);
    /// From WKT as found in a file. Throws Error(data) where it is neither projected nor
    /// geographic.
    static Crs from_wkt(const std::string& wkt, const std::string& path);
    static Crs from_epsg(int code);
    /// EPSG:4326, longitude first.
    static const Crs& wgs84();

    bool empty() const { return m_data == nullptr; }
    explicit operator bool() const { return !empty(); }
    /// WKT 2:2019 on one line; the same text for the same system, so it serves as a key.
    const std::string& wkt() const;
    /// "WGS 84 / UTM zone 15N".
    const std::string& name() const;
    /// "EPSG:26915", or "" where the system has no code of its own.
    const std::string& code() const;
    bool is_geographic() const;
    bool is_projected() const { return !empty() && !is_geographic(); }
    /// Metres to one unit of the coordinates (1, 0.3048, 1200/3937); 0 for degrees.
    double metres_per_unit() const;
    /// WKT 1 in the ESRI dialect, as .prj files hold it.
    std::string esri_wkt() const;

    /// Same system (same definition, whatever its name).
    bool same_as(const Crs& other) const;

    struct Data;

  private:
    std::shared_ptr<const Data> m_data;
};

/// The CRS of a data set: what the data say, else what the user stated under `key`.
/// found: WKT from the file or "". stated: the user's text or "". Throws Error(data) where both are
/// empty; the message names `key` as the way to state it.
Crs require_crs(const std::string& found_wkt, const std::string& stated, const std::string& path,
                const std::string& key);

/// UTM zone number (1 to 60) of a position, by the regular 6 degree zones and the exceptions of
/// south-west Norway (32V) and Svalbard (31X, 33X, 35X, 37X) (Snyder 1987, USGS PP 1395, p. 57-62).
/// longitude may be outside [-180, 180) (data that run over the antimeridian). latitude in degrees.
int utm_zone(double longitude, double latitude);

/// The work CRS of a field: WGS 84 / UTM of the zone its centre lies in (EPSG:326zz or 327zz).
/// shape: in `crs`, not empty. A shape in degrees whose parts lie on both sides of the antimeridian
/// (span over 180 degrees) is taken as one that crosses it. Throws Error(data) beyond 84 N and 80
/// S, where UTM is not defined, and for coordinates that are no degrees (|lat| > 90, |lon| > 540).
Crs work_crs(const MultiPolygon& shape, const Crs& crs);

/// Moves coordinates from one CRS to another. Built once for each pair and thread (transformer()
/// keeps them); not to be shared between threads.
class Transformer {
  public:
    Transformer(const Crs& from, const Crs& to);
    ~Transformer();
    Transformer(Transformer&&) noexcept;
    Transformer& operator=(Transformer&&) noexcept;

    /// Both systems are the same: nothing is changed.
    bool identity() const { return m_identity; }

    /// In place. Throws Error(data) naming the first point that has no image.
    void apply(std::vector<Point>& points) const;
    Point apply(const Point& point) const;
    MultiPolygon apply(const MultiPolygon& shape) const;
    /// The box around the image of a box, its edges followed at 21 points each. In degrees min_x is
    /// greater than max_x where the image runs over the antimeridian.
    Box apply(const Box& box) const;

    /// In place on arrays of x and y; points without an image become infinite. For hot loops.
    void apply_unchecked(double* x, double* y, std::size_t count) const;

    /// What PROJ does, with its accuracy: "NAD83 to WGS 84 (1) (accuracy 4 m)". For the report.
    std::string description() const;

  private:
    struct State;
    std::unique_ptr<State> m_state;
    bool m_identity = false;
};

/// The calling thread's transformer for the pair, built at first use.
const Transformer& transformer(const Crs& from, const Crs& to);

/// Area in m2 on the WGS 84 ellipsoid by geodesics between the vertices (Karney 2013, J. Geodesy
/// 87:43-55, through PROJ). Holes are taken off. Independent of the projection: for checks.
double geodesic_area_m2(const MultiPolygon& shape, const Crs& crs);

/// Cuts a shape in WGS 84 degrees at the antimeridian (RFC 7946, 3.1.9). Input longitudes may run
/// past 180 (or below -180), or jump from one side to the other; the result lies in [-180, 180].
/// Shapes that do not cross come back unchanged.
MultiPolygon split_at_antimeridian(const MultiPolygon& shape);

}  // namespace catchfield::gis

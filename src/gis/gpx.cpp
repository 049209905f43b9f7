// SPDX-License-Identifier: MIT
#include "gis/gpx.hpp"

#include "base/text.hpp"

namespace catchfield::gis {

namespace {

std::string xml_text(const std::string& text) {
    std::string out;
    for (const char c : valid_utf8(text)) {
        switch (c) {
            case '&':
                out += "&amp;";
                break;
            case '<':
                out += "&lt;";
                break;
            case '>':
                out += "&gt;";
                break;
            case '"':
                out += "&quot;";
                break;
            default:
                // XML 1.0 has no control characters.
                out += static_cast<unsigned char>(c) < 0x20 ? ' ' : c;
        }
    }
    return out;
}

}  // namespace

std::string gpx_bytes(const std::string& title, const std::vector<Waypoint>& waypoints,
                      const Crs& crs) {
    const Transformer& to_degrees = transformer(crs, Crs::wgs84());
    std::string points, route;
    for (const Waypoint& waypoint : waypoints) {
        const Point place = to_degrees.apply(waypoint.at);
        const std::string where =
            " lat=\"" + fixed(place.y, 7) + "\" lon=\"" + fixed(place.x, 7) + "\">";
        const std::string name = "<name>" + xml_text(waypoint.name) + "</name>";
        points +=
            "  <wpt" + where + name + "<desc>" + xml_text(waypoint.description) + "</desc></wpt>\n";
        route += "    <rtept" + where + name + "</rtept>\n";
    }
    return "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n"
           "<gpx version=\"1.1\" creator=\"catchfield\" "
           "xmlns=\"http://www.topografix.com/GPX/1/1\">\n"
           "  <metadata><name>" +
           xml_text(title) + "</name></metadata>\n" + points + "  <rte>\n    <name>" +
           xml_text(title) + "</name>\n" + route + "  </rte>\n</gpx>\n";
}

}  // namespace catchfield::gis

// SPDX-License-Identifier: MIT
#include "plan/species.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "base/units.hpp"
#include "cover/catalogue.hpp"
#include "gis/files.hpp"

#include <nlohmann/json.hpp>

#include <vector>

namespace catchfield::plan {

namespace {

cover::Catalogue catalogue_of(const SpeciesRequest& request) {
    cover::Catalogue catalogue = cover::Catalogue::built_in();
    if (!request.catalogue.empty()) {
        catalogue.add_species(Table::parse(gis::read_file(request.catalogue), request.catalogue));
    }
    return catalogue;
}

std::vector<cover::Cover> chosen(const cover::Catalogue& catalogue, const SpeciesRequest& request) {
    if (!request.id.empty()) return {catalogue.find(request.id)};
    cover::CatalogueFilter filter;
    filter.text = request.find;
    if (request.overwinters) filter.overwinters = true;
    if (request.group == "grass")
        filter.group = cover::Group::grass;
    else if (request.group == "legume")
        filter.group = cover::Group::legume;
    else if (request.group == "brassica")
        filter.group = cover::Group::brassica;
    else if (request.group == "mixture")
        filter.mixtures = true;
    else if (!request.group.empty()) {
        const std::vector<std::string> groups = {"grass", "legume", "brassica", "mixture"};
        const std::string near = nearest_name(request.group, groups);
        throw Error(ErrorKind::usage,
                    "--group " + request.group + ": not one of grass, legume, brassica, mixture",
                    {.hint = near.empty() ? "" : "Did you mean '" + near + "'?"});
    }
    return catalogue.list(filter);
}

std::string column(std::string text, std::size_t width) {
    if (text.size() < width) text.resize(width, ' ');
    return text + "  ";
}

std::string tag_text(const cover::Catalogue& catalogue, const char* what, const cover::Tag& tag) {
    return "  " + column(what, 12) + std::string(confidence_name(tag.confidence)) + ": " +
           catalogue.citation(tag.source) + "\n";
}

std::string rate_text(const SpeciesRequest& request, double low_kg_ha, double high_kg_ha) {
    const double unit = request.metric ? 1.0 : units::kg_ha_per_lb_ac;
    return fixed(low_kg_ha / unit, 0) + "-" + fixed(high_kg_ha / unit, 0) +
           (request.metric ? " kg/ha" : " lb/ac");
}

std::string biomass_text(const SpeciesRequest& request, const cover::Range& range) {
    const double unit = request.metric ? 1.0 : units::kg_ha_per_lb_ac;
    return significant(range.typical / unit, 2) + " (" + significant(range.low / unit, 2) + "-" +
           significant(range.high / unit, 2) + ") " + (request.metric ? "kg/ha" : "lb/ac");
}

std::string full_text(const cover::Catalogue& catalogue, const cover::Species& s,
                      const SpeciesRequest& request) {
    std::string text = s.name + " (" + s.latin + ")\n";
    const auto line = [&](const char* what, const std::string& value) {
        if (!value.empty()) text += "  " + column(what, 22) + value + "\n";
    };
    line("group", std::string(cover::group_name(s.group)) + ", " + s.life_cycle);
    line("seed, drilled", rate_text(request, s.drill_min_kg_ha, s.drill_max_kg_ha));
    line("seed, broadcast", rate_text(request, s.broadcast_min_kg_ha, s.broadcast_max_kg_ha));
    line("winter", std::string(cover::winter_class_name(s.winter_class)) + ", mostly killed at " +
                       fixed(s.kill_temp_c, 1) + " degC");
    line("biomass at freeze-up", biomass_text(request, s.fall_kg_ha));
    if (s.spring_kg_ha) line("biomass in spring", biomass_text(request, *s.spring_kg_ha));
    line("nitrogen, young/late",
         fixed(s.n_pct_young, 1) + " / " + fixed(s.n_pct_late, 1) + " % of dry matter");
    line("taproot", std::string(cover::taproot_name(s.taproot)));
    line("growth curve", std::string(cover::growth_curve_name(s.curve)));
    std::string ways;
    for (const std::string& way : s.termination) ways += (ways.empty() ? "" : "; ") + way;
    line("ways to end it", ways + " (label and local rules first)");
    line("weed risk", s.weed_flag);
    line("next crop", s.host_flag);
    text += "sources:\n" + tag_text(catalogue, "seed", s.seed_tag) +
            tag_text(catalogue, "winter", s.winter_tag) +
            tag_text(catalogue, "biomass", s.biomass_tag) +
            tag_text(catalogue, "growth", s.growth_tag) +
            tag_text(catalogue, "nitrogen", s.nitrogen_tag) +
            tag_text(catalogue, "other", s.other_tag);
    return text;
}

}  // namespace

std::string species_text(const SpeciesRequest& request) {
    const cover::Catalogue catalogue = catalogue_of(request);
    const std::vector<cover::Cover> covers = chosen(catalogue, request);
    std::string text;
    if (!request.id.empty()) {
        const cover::Cover& cover = covers.front();
        if (!cover.pure()) {
            text += cover.name + ": " + cover.use + "\n";
            for (const cover::Component& part : cover.components) {
                text += "  " + column(part.species.id, 22) + fixed(100.0 * part.share, 0) +
                        " % of its full rate\n";
            }
            text += "\n";
        }
        for (const cover::Component& part : cover.components)
            text += full_text(catalogue, part.species, request);
        return text;
    }
    text = column("id", 24) + column("name", 34) + column("group", 9) + column("winter", 17) +
           "seed, drilled\n";
    for (const cover::Cover& cover : covers) {
        const cover::Species& s = cover.components.front().species;
        text +=
            column(cover.id, 24) + column(cover.name, 34) +
            column(cover.pure() ? std::string(cover::group_name(s.group)) : "mixture", 9) +
            column(cover.pure() ? std::string(cover::winter_class_name(s.winter_class)) : "", 17) +
            (cover.pure() ? rate_text(request, s.drill_min_kg_ha, s.drill_max_kg_ha) : cover.use) +
            "\n";
    }
    return text + "'catchfield species ID' shows one with its sources.\n";
}

std::string species_json(const SpeciesRequest& request) {
    using Json = nlohmann::ordered_json;
    const cover::Catalogue catalogue = catalogue_of(request);
    Json list = Json::array();
    const auto tag = [&](const cover::Tag& t) {
        return Json{{"source", catalogue.citation(t.source)},
                    {"confidence", confidence_name(t.confidence)}};
    };
    const auto range = [](const cover::Range& r) {
        return Json::array({r.low, r.typical, r.high});
    };
    for (const cover::Cover& cover : chosen(catalogue, request)) {
        Json entry{{"id", cover.id}, {"name", cover.name}};
        if (!cover.use.empty()) entry["use"] = cover.use;
        Json parts = Json::array();
        for (const cover::Component& part : cover.components) {
            const cover::Species& s = part.species;
            Json one{
                {"id", s.id},
                {"share", part.share},
                {"latin", s.latin},
                {"group", cover::group_name(s.group)},
                {"drilled_kg_ha", Json::array({s.drill_min_kg_ha, s.drill_max_kg_ha})},
                {"broadcast_kg_ha", Json::array({s.broadcast_min_kg_ha, s.broadcast_max_kg_ha})},
                {"winter", cover::winter_class_name(s.winter_class)},
                {"kill_temp_c", s.kill_temp_c},
                {"fall_kg_ha", range(s.fall_kg_ha)},
                {"taproot", cover::taproot_name(s.taproot)},
                {"weed_flag", s.weed_flag},
                {"termination", s.termination},
                {"sources",
                 {{"seed", tag(s.seed_tag)},
                  {"winter", tag(s.winter_tag)},
                  {"biomass", tag(s.biomass_tag)},
                  {"growth", tag(s.growth_tag)},
                  {"nitrogen", tag(s.nitrogen_tag)}}}};
            if (s.spring_kg_ha) one["spring_kg_ha"] = range(*s.spring_kg_ha);
            parts.push_back(std::move(one));
        }
        entry["components"] = parts;
        list.push_back(std::move(entry));
    }
    return list.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

std::vector<std::string> species_ids() {
    std::vector<std::string> ids;
    for (const cover::Cover& cover : cover::Catalogue::built_in().list()) ids.push_back(cover.id);
    return ids;
}

}  // namespace catchfield::plan

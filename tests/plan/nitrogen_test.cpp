// SPDX-License-Identifier: MIT
// Nitrogen through the whole chain of a field: directions, bounds, maps, products, bad input.
#include "base/error.hpp"
#include "base/random.hpp"
#include "base/text.hpp"
#include "erosion/subfactors.hpp"
#include "gis/files.hpp"
#include "gis/geotiff.hpp"
#include "gis/raster_source.hpp"
#include "gis/vector.hpp"
#include "plan/budget_table.hpp"
#include "plan/field_plan.hpp"
#include "plan/fit.hpp"
#include "plan/inputs.hpp"
#include "plan/report_pages.hpp"
#include "plan/writer.hpp"
#include "support/temporary_folder.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <filesystem>
#include <set>

namespace catchfield::plan {
namespace {

const std::filesystem::path samples =
    std::filesystem::path(CATCHFIELD_SOURCE_DIR) / "geodata-samples";

/// The demo job with some keys changed; "" takes a key away.
JobValues demo(const JobValues& changes) {
    JobValues values = read_job_values(samples / "job.ini");
    values["output.layers"] = "no";
    values["output.reports"] = "no";
    values["output.uncertainty"] = "0";
    for (const auto& [key, value] : changes) {
        if (value.empty()) {
            values.erase(key);
        } else {
            values[key] = value;
        }
    }
    return values;
}

Inputs inputs_of(const JobValues& changes) {
    return load_inputs(make_job(demo(changes), samples));
}

FieldBoundary field_named(const Inputs& inputs, const std::string& id) {
    for (const FieldBoundary& field : inputs.fields) {
        if (field.id == id) return field;
    }
    throw std::runtime_error("no field " + id);
}

FieldResult plan_of(const JobValues& changes, const std::string& id = "Ridge") {
    const Inputs inputs = inputs_of(changes);
    return plan_field(inputs, field_named(inputs, id));
}

std::vector<double> rates_of(const FieldResult& result) {
    std::vector<double> rates;
    for (const ZoneResult& zone : result.zones) rates.push_back(zone.n_rate_kg_ha);
    return rates;
}

/// A path in a folder that goes away with the program.
std::string scratch(const std::string& name) {
    static const testing::TemporaryFolder folder;
    return folder / name;
}

std::string scratch(const std::string& name, const std::string& text) {
    return testing::write_text(scratch(name), text);
}

/// Reason of the error that the inputs draw.
std::string refusal(const JobValues& changes) {
    try {
        inputs_of(changes);
    } catch (const Error& error) {
        return error.what();
    }
    return {};
}

/// A seeded trial of two zones on known quadratic-plateau curves (Cerrato & Blackmer's form).
std::string response_file() {
    static const std::string path = [] {
        std::string csv = "rate,yield,zone,block\n";
        Random random(7);
        for (const auto& [zone, a, b] :
             {std::tuple("low", 5000.0, 40.0), std::tuple("high", 7000.0, 55.0)}) {
            const nitrogen::Curve curve = nitrogen::Curve::quadratic_plateau(a, b, -0.13);
            for (int block = 1; block <= 4; ++block) {
                for (int rate = 0; rate <= 280; rate += 40) {
                    csv += std::to_string(rate) + "," +
                           fixed(curve.yield_kg_ha(rate) + 300.0 * (random.uniform() - 0.5), 0) +
                           "," + zone + "," + std::to_string(block) + "\n";
                }
            }
        }
        FitRequest request;
        request.trial = scratch("trial.csv", csv);
        request.rate_unit = request.yield_unit = "kg/ha";
        request.output = scratch("response.json");
        request.overwrite = true;
        write_fit(fit_trial(request));
        return request.output;
    }();
    return path;
}

JobValues response_job(const JobValues& more = {}) {
    JobValues values = {{"nitrogen.method", "response"},
                        {"nitrogen.response", response_file()},
                        {"nitrogen.response-zones", "1=low,2=high"},
                        {"nitrogen.max-rate", "260 lb/ac"},
                        {"nitrogen.step", "1 lb/ac"},
                        {"nitrogen.min-rate", "0 lb/ac"},
                        {"zones.count", "2"}};
    for (const auto& [key, value] : more) values[key] = value;
    return values;
}

/// One soil under the whole demo farm.
std::string one_soil(bool with_om) {
    return scratch(
        with_om ? "soil.geojson" : "soil-no-om.geojson",
        R"({"type":"FeatureCollection","features":[{"type":"Feature","properties":{)"
        R"("mukey":"1","muname":"one loam","kffact":0.32,"tfact":5,"hydgrp":"B",)"
        R"("drainagecl":"Well drained","sandtotal_r":20,"silttotal_r":58,"claytotal_r":22)" +
            std::string(with_om ? R"(,"om_r":3.0,"dbthirdbar_r":1.35)" : "") +
            R"(},"geometry":{"type":"Polygon","coordinates":[[[-95.1,40.1],[-94.9,40.1],)"
            R"([-94.9,40.3],[-95.1,40.3],[-95.1,40.1]]]}}]})");
}

TEST(NitrogenPlan, OneSoilAndOneCoverGiveOneRate) {
    const FieldResult result = plan_of({{"soil.map", one_soil(true)},
                                        {"soil.horizons", ""},
                                        {"nitrogen.soil-tests", ""},
                                        {"cover.candidates", "rye"},
                                        {"compaction.probes", ""},
                                        {"zones.count", "3"},
                                        {"zones.features", "slope,elevation"},
                                        {"nitrogen.step", "1 lb/ac"}});
    ASSERT_EQ(result.status, FieldStatus::done)
        << (result.reasons.empty() ? "" : result.reasons[0]);
    ASSERT_GT(result.zones.size(), 1U);
    for (const double rate : rates_of(result)) EXPECT_DOUBLE_EQ(rate, rates_of(result).front());
}

TEST(NitrogenPlan, HigherNitrogenPriceNeverRaisesARate) {
    std::vector<double> before;
    for (const char* price : {"0.10 /lb", "0.30 /lb", "0.60 /lb", "1.20 /lb", "3 /lb"}) {
        const FieldResult result = plan_of(response_job({{"nitrogen.price-n", price}}));
        ASSERT_EQ(result.zones.size(), 2U);
        const std::vector<double> rates = rates_of(result);
        for (std::size_t z = 0; z < before.size(); ++z) EXPECT_LE(rates[z], before[z]) << price;
        before = rates;
    }
    // The response was not flat: between the extremes the rate did move.
    EXPECT_LT(before[0] + 30.0,
              rates_of(plan_of(response_job({{"nitrogen.price-n", "0.10 /lb"}})))[0]);
}

TEST(NitrogenPlan, ResponseGivesEachZoneItsOwnOptimum) {
    const FieldResult result = plan_of(response_job({{"cover.candidates", "forage-radish"}}));
    ASSERT_EQ(result.zones.size(), 2U);
    // (b - r) / -2c with r = (0.50 / 0.45359237) / (4.30 / 25.401173) = 6.512 kg/kg, by hand:
    // low (40 - 6.512) / 0.26 = 128.8, high (55 - 6.512) / 0.26 = 186.5 kg/ha. The trial's noise
    // moves the fit by a few kg.
    EXPECT_NEAR(result.zones[0].budget.lines.front().n_kg_ha, 128.8, 8.0);
    EXPECT_NEAR(result.zones[1].budget.lines.front().n_kg_ha, 186.5, 8.0);
    EXPECT_LE(result.zones[0].budget.lines.front().low_kg_ha, 128.8);
    EXPECT_GE(result.zones[0].budget.lines.front().high_kg_ha, 128.8);
}

TEST(NitrogenPlan, ReportShowsTheCurveThePassesAndTheWinter) {
    const Inputs inputs = inputs_of(response_job({{"nitrogen.split", "0.5,0.5"}}));
    const FieldResult result = plan_field(inputs, field_named(inputs, "Ridge"));
    const std::string page = field_page(inputs, result);
    for (const char* words : {"Fitted response within the tested rates", "In 2 passes:",
                              "Nitrate at risk, and of that lost", "Yield, bu/ac"}) {
        EXPECT_NE(page.find(words), std::string::npos) << words;
    }
    EXPECT_EQ(page.find(">nan"), std::string::npos);
}

TEST(NitrogenPlan, AverageResponseGivesEveryZoneOneBase) {
    const FieldResult result = plan_of(
        response_job({{"nitrogen.method", "average-response"}, {"nitrogen.response-zones", ""}}));
    ASSERT_EQ(result.zones.size(), 2U);
    const double base = result.zones[0].budget.lines.front().n_kg_ha;
    EXPECT_DOUBLE_EQ(base, result.zones[1].budget.lines.front().n_kg_ha);
    EXPECT_GT(base, 128.8);  // between the two optima
    EXPECT_LT(base, 186.5);
}

TEST(NitrogenPlan, MoreCreditNeverRaisesAndAHigherGoalNeverLowersARate) {
    double before = 1e9;
    for (const char* manure : {"0 lb/ac", "20 lb/ac", "60 lb/ac", "120 lb/ac", "400 lb/ac"}) {
        const double rate = plan_of({{"nitrogen.manure", manure}}).zones.front().n_rate_kg_ha;
        EXPECT_LE(rate, before) << manure;
        before = rate;
    }
    EXPECT_DOUBLE_EQ(before, 0.0);
    before = 0.0;
    for (const char* goal : {"40 bu/ac", "90 bu/ac", "140 bu/ac", "180 bu/ac", "260 bu/ac"}) {
        const double rate = plan_of({{"nitrogen.yield-goal", goal}}).zones.front().n_rate_kg_ha;
        EXPECT_GE(rate, before) << goal;
        before = rate;
    }
}

TEST(NitrogenPlan, RatesLieWithinBoundsAndOnTheStepAndTotalsAdd) {
    const Inputs inputs = inputs_of({{"nitrogen.yield-goal", "150 bu/ac"}, {"zones.count", "4"}});
    for (const FieldBoundary& field : inputs.fields) {
        const FieldResult result = plan_field(inputs, field);
        double total_lb = 0.0;
        for (std::size_t z = 0; z < result.zones.size(); ++z) {
            const double lb = result.zones[z].n_rate_kg_ha / units::kg_ha_per_lb_ac;
            EXPECT_NEAR(lb / 5.0, std::round(lb / 5.0), 1e-9);
            EXPECT_TRUE(lb == 0.0 || (lb >= 40.0 - 1e-9 && lb <= 220.0 + 1e-9)) << lb;
            total_lb +=
                result.zone_rates[z] * area(result.rate_shapes[z]) * 1e-4 / units::ha_per_ac;
            double sum = 0.0;
            for (const auto& line : result.zones[z].budget.lines) sum += line.n_kg_ha;
            for (const auto& line : result.zones[z].budget.settling) sum += line.n_kg_ha;
            EXPECT_NEAR(sum, result.zones[z].n_rate_kg_ha, 1e-6);
        }
        EXPECT_NEAR(result.product_total, total_lb, 1e-6 * std::max(1.0, total_lb));
    }
}

TEST(NitrogenPlan, CoversDifferInTheDirectionTheTradeExpects) {
    const auto need = [](const char* cover) {
        const FieldResult result =
            plan_of({{"cover.candidates", cover}, {"zones.count", "1"}}, "Upland");
        return result.zones.front().budget.need_kg_ha;
    };
    const double rye = need("rye"), clover = need("red-clover"), radish = need("forage-radish");
    EXPECT_GE(rye, radish);                // tie-up by a grass, little by a brassica
    EXPECT_LT(clover, radish);             // a legume credit
    EXPECT_LE(rye - clover, 56.0 + 90.0);  // tie-up cap and the top of a clover credit, kg/ha
}

TEST(NitrogenPlan, ProductsGoToTheFileByTheirAnalysis) {
    // 46 % N in urea; UAN 28 with 10.66 lb/gal (2.985 lb N a gallon): check values N28.
    for (const auto& [product, lb_per_unit, unit] :
         {std::tuple("urea", 0.46, "lb/ac"), std::tuple("uan-28", 0.28 * 10.66, "gal/ac"),
          std::tuple("anhydrous-ammonia", 0.82, "lb/ac"), std::tuple("0.27", 0.27, "lb/ac")}) {
        const Inputs inputs = inputs_of({{"output.product", product}});
        const FieldResult result = plan_field(inputs, field_named(inputs, "Pond"));
        const FieldFiles files = make_field_files(inputs, result);
        const std::string path = scratch("rates.geojson", files.files.front().second);
        const gis::VectorLayer layer = gis::read_layer(path);
        std::size_t checked = 0;
        for (const gis::Feature& feature : layer.features) {
            const auto zone = parse_integer(feature.values[layer.column("zone")]);
            EXPECT_EQ(feature.values[layer.column("unit")], unit);
            if (*zone == 0) continue;
            const double rate = *parse_number(feature.values[layer.column("rate")]);
            const double lb_n = result.zones[static_cast<std::size_t>(*zone) - 1].n_rate_kg_ha /
                                units::kg_ha_per_lb_ac;
            EXPECT_NEAR(rate, lb_n / lb_per_unit, 0.002 * rate) << product;
            ++checked;
        }
        EXPECT_EQ(checked, result.zones.size());
    }
}

bool inside(const MultiPolygon& shape, const Point& p) {
    bool in = false;
    for (const auto& polygon : shape) {
        std::vector<Ring> rings = {polygon.outer};
        rings.insert(rings.end(), polygon.holes.begin(), polygon.holes.end());
        for (const Ring& ring : rings) {
            for (std::size_t i = 0, j = ring.size() - 1; i < ring.size(); j = i++) {
                if ((ring[i].y > p.y) != (ring[j].y > p.y) &&
                    p.x < (ring[j].x - ring[i].x) * (p.y - ring[i].y) / (ring[j].y - ring[i].y) +
                              ring[i].x) {
                    in = !in;
                }
            }
        }
    }
    return in;
}

TEST(NitrogenPlan, RasterAndPolygonsOfThePrescriptionAgreeCellByCell) {
    const Inputs inputs = inputs_of({{"nitrogen.setback", "60 ft"}, {"zones.count", "3"}});
    const FieldResult result = plan_field(inputs, field_named(inputs, "Pond"));
    ASSERT_FALSE(result.no_apply.empty());
    const FieldFiles files = make_field_files(inputs, result);
    std::map<std::string, std::string> paths;
    for (const auto& [name, bytes] : files.files) {
        paths[name] = scratch(std::filesystem::path(name).filename().string(), bytes);
    }
    const gis::RasterSource raster(paths.at("rates/" + result.stem + "-nitrogen.tif"));
    const GridFrame& frame = result.rate_cells.frame;
    const auto window = raster.read<float>(frame, result.crs, gis::Resampling::nearest);
    const gis::VectorLayer layer =
        gis::read_layer(paths.at("rates/" + result.stem + "-nitrogen.geojson"));
    const gis::Transformer& to_work = gis::transformer(gis::Crs::wgs84(), result.crs);
    std::vector<std::pair<MultiPolygon, double>> shapes;
    for (const gis::Feature& feature : layer.features) {
        shapes.emplace_back(to_work.apply(feature.polygons),
                            *parse_number(feature.values[layer.column("rate")]));
    }
    std::size_t cells = 0, zeros = 0, wrong = 0;
    for (int row = 0; row < frame.rows; ++row) {
        for (int col = 0; col < frame.cols; ++col) {
            const Point p{frame.west + (col + 0.5) * frame.cell,
                          frame.north - (row + 0.5) * frame.cell};
            const std::size_t i =
                static_cast<std::size_t>(row) * static_cast<std::size_t>(frame.cols) +
                static_cast<std::size_t>(col);
            std::set<double> found;
            // GeoJSON has 7 decimals (about 1 cm): a centre that close to an edge may fall on
            // either side.
            for (const double dx : {-0.05, 0.0, 0.05}) {
                for (const double dy : {-0.05, 0.0, 0.05}) {
                    double rate = -1.0;
                    for (const auto& [shape, value] : shapes) {
                        if (inside(shape, {p.x + dx, p.y + dy})) rate = value;
                    }
                    found.insert(rate);
                }
            }
            if (found.size() > 1) continue;
            const double expected = *found.begin();
            const bool has = window.valid[i] != 0;
            if (has != (expected >= 0.0)) ++wrong;
            if (!has) continue;
            ++cells;
            if (expected == 0.0) ++zeros;
            if (std::abs(static_cast<double>(window.values[i]) - expected) > 1e-3) ++wrong;
        }
    }
    EXPECT_EQ(wrong, 0U);
    EXPECT_GT(cells, 1000U);
    EXPECT_GT(zeros, 20U);
}

TEST(NitrogenPlan, SetbackGrowsTheGroundWithoutNitrogenAndMaySwallowTheField) {
    double before = 0.0;
    for (const char* setback : {"1 m", "10 m", "30 m"}) {
        const FieldResult result = plan_of({{"nitrogen.setback", setback}}, "Pond");
        const double taken = area(result.no_apply);
        EXPECT_GT(taken, before);
        double applied = 0.0;
        for (const MultiPolygon& shape : result.rate_shapes) applied += area(shape);
        EXPECT_NEAR(applied + taken, area(result.boundary), 1e-4 * area(result.boundary));
        before = taken;
    }
    const FieldResult result = plan_of({{"nitrogen.setback", "1000 m"}}, "Pond");
    EXPECT_EQ(result.status, FieldStatus::partly);
    ASSERT_FALSE(result.reasons.empty());
    EXPECT_NE(result.reasons.front().find("take the whole field"), std::string::npos);
    EXPECT_DOUBLE_EQ(result.n_total_kg, 0.0);
}

TEST(NitrogenPlan, SplitPassesAddToTheRateAndStandInTheFile) {
    const Inputs inputs = inputs_of({{"nitrogen.split", "0.3,0.7"}});
    const FieldResult result = plan_field(inputs, field_named(inputs, "Ridge"));
    for (std::size_t z = 0; z < result.zones.size(); ++z) {
        ASSERT_EQ(result.pass_rates[z].size(), 2U);
        EXPECT_NEAR(result.pass_rates[z][0] + result.pass_rates[z][1], result.zone_rates[z], 1e-9);
        EXPECT_LT(result.pass_rates[z][0], result.pass_rates[z][1]);
    }
    const gis::VectorLayer layer = gis::read_layer(
        scratch("split.geojson", make_field_files(inputs, result).files.front().second));
    EXPECT_NEAR(*parse_number(layer.features[0].values[layer.column("rate_2")]),
                result.pass_rates[0][1], 1e-3);
}

TEST(NitrogenPlan, NoMoreRatesThanTheMachineHolds) {
    const auto distinct = [](const JobValues& job) {
        const std::vector<double> rates = rates_of(plan_of(job));
        return std::set<double>(rates.begin(), rates.end()).size();
    };
    EXPECT_EQ(distinct(response_job()), 2U);
    EXPECT_EQ(distinct(response_job({{"nitrogen.rate-count", "1"}})), 1U);
}

TEST(NitrogenPlan, MachineIsWarnedOfStretchesItCannotFollow) {
    const JobValues slow = response_job({{"nitrogen.machine-speed", "8 km/h"},
                                         {"nitrogen.machine-lag", "0"},
                                         {"nitrogen.machine-width", "1 m"}});
    const JobValues fast =
        response_job({{"nitrogen.machine-speed", "60 km/h"}, {"nitrogen.machine-lag", "30"}});
    const auto warned = [](const FieldResult& result) {
        return std::count_if(
            result.warnings.begin(), result.warnings.end(),
            [](const std::string& text) { return text.starts_with("Nitrogen map: "); });
    };
    EXPECT_EQ(warned(plan_of(slow)), 0);
    EXPECT_GT(warned(plan_of(fast)), 0);
}

TEST(NitrogenPlan, CoverLowersTheNitrateAtRiskOverWinter) {
    const FieldResult result = plan_of({{"cover.candidates", "rye"}});
    for (const ZoneResult& zone : result.zones) {
        ASSERT_TRUE(zone.winter_nitrate);
        EXPECT_LT(zone.winter_nitrate->at_risk_with_cover_kg_ha,
                  zone.winter_nitrate->at_risk_kg_ha);
        EXPECT_LE(zone.winter_nitrate->loss_with_cover_kg_ha, zone.winter_nitrate->loss_kg_ha);
        EXPECT_LE(zone.winter_nitrate->loss_kg_ha, zone.winter_nitrate->at_risk_kg_ha);
    }
}

TEST(NitrogenPlan, BudgetTableAddsUpInTheUsersUnits) {
    const Inputs inputs = inputs_of({});
    const FieldResult result = plan_field(inputs, field_named(inputs, "Pond"));
    const Table table = Table::parse(budget_header() + budget_rows(inputs, result), "budget.csv");
    std::map<std::string, double> sums, rates;
    for (std::size_t row = 0; row < table.rows(); ++row) {
        const std::string& part = table.text(row, "part");
        const double amount = table.required_number(row, "amount");
        EXPECT_EQ(table.text(row, "unit"), "lb N/ac");
        if (part == "need" || part == "settling") sums[table.text(row, "zone")] += amount;
        if (part == "rate") rates[table.text(row, "zone")] = amount;
    }
    EXPECT_EQ(rates.size(), result.zones.size());
    for (const auto& [zone, rate] : rates) EXPECT_NEAR(sums[zone], rate, 0.06) << zone;
}

TEST(NitrogenPlan, LateSpringTestSetsTheRate) {
    // Iowa: (25 - ppm) x 8 lb/ac; check value N23: 12 ppm gives 104 lb/ac.
    std::string csv = "sample,lon,lat,top_cm,bottom_cm,nitrate_ppm\n";
    const Inputs plain = inputs_of({});
    for (const auto& [name, lon, lat] :
         {std::tuple("a", -94.9977547, 40.1996154), std::tuple("b", -94.9962093, 40.1995256)}) {
        csv += std::string(name) + "," + fixed(lon, 7) + "," + fixed(lat, 7) + ",0,30,12\n";
    }
    const JobValues job = {{"nitrogen.method", "late-spring"},
                           {"nitrogen.soil-tests", scratch("late.csv", csv)},
                           {"nitrogen.step", "1 lb/ac"},
                           {"zones.count", "1"}};
    EXPECT_NE(refusal(job).find("taken in spring"), std::string::npos);
    JobValues spring = job;
    spring["nitrogen.soil-tests-taken"] = "spring";
    const FieldResult result = plan_of(spring, "Ridge");
    ASSERT_EQ(result.zones.size(), 1U) << result.reasons.front();
    EXPECT_NEAR(result.zones[0].n_rate_kg_ha / units::kg_ha_per_lb_ac, 104.0, 1e-6);
    spring["nitrogen.late-spring-critical"] = "21";  // N22's wet spring: 9 ppm x 8
    EXPECT_NEAR(plan_of(spring, "Ridge").zones[0].n_rate_kg_ha / units::kg_ha_per_lb_ac, 72.0,
                1e-6);
    const FieldResult elsewhere = plan_of(spring, "Upland");
    EXPECT_EQ(elsewhere.status, FieldStatus::skipped);
    EXPECT_NE(elsewhere.reasons.front().find("late-spring nitrate test"), std::string::npos);
}

TEST(NitrogenPlan, CornBalanceWithoutOrganicMatterSaysSo) {
    const FieldResult result = plan_of({{"nitrogen.method", "corn-balance"},
                                        {"soil.map", one_soil(false)},
                                        {"soil.horizons", ""},
                                        {"nitrogen.soil-tests", ""},
                                        {"compaction.probes", ""},
                                        {"zones.features", "slope,elevation"}});
    EXPECT_EQ(result.status, FieldStatus::skipped);
    ASSERT_FALSE(result.reasons.empty());
    EXPECT_NE(result.reasons.front().find("organic matter"), std::string::npos)
        << result.reasons.front();
}

/// A raster of one yield over the demo farm, bu/ac.
std::string yield_raster(const std::string& name, float value) {
    Raster<float> values(snapped_frame(-95.01, 40.19, -94.98, 40.21, 0.0005, 0), value);
    Mask valid(values.frame);
    for (std::size_t i = 0; i < valid.size(); ++i) valid[i] = 1;
    return scratch(name, gis::geotiff_bytes(values, valid, gis::Crs::wgs84(), {}));
}

TEST(NitrogenPlan, YieldGoalByRasterAndByColumnEqualsTheSameFigureForTheField) {
    const double whole = plan_of({{"nitrogen.yield-goal", "140 bu/ac"}}).zones[0].budget.need_kg_ha;
    const JobValues raster = {{"nitrogen.yield-goal", ""},
                              {"nitrogen.yield-raster", yield_raster("y140.tif", 140.0F)},
                              {"nitrogen.yield-unit", "bu/ac"}};
    for (const ZoneResult& zone : plan_of(raster).zones) {
        EXPECT_NEAR(zone.budget.need_kg_ha, whole, 1e-3 * whole);
    }
    JobValues no_unit = raster;
    no_unit["nitrogen.yield-unit"] = "";
    EXPECT_NE(refusal(no_unit).find("yield-unit"), std::string::npos);
    for (const float wrong : {-5.0F, 5000.0F}) {
        JobValues job = raster;
        job["nitrogen.yield-raster"] = yield_raster("wrong.tif", wrong);
        const FieldResult result = plan_of(job);
        EXPECT_EQ(result.status, FieldStatus::skipped);
        ASSERT_FALSE(result.reasons.empty());
        EXPECT_NE(result.reasons[0].find("outside 0 to 40,000"), std::string::npos)
            << result.reasons[0];
    }
    std::string soil = gis::read_file(one_soil(true));
    soil.insert(soil.find("\"mukey\""), "\"goal\":8788,");
    JobValues column = {{"nitrogen.yield-goal", ""},
                        {"nitrogen.yield-column", "goal"},
                        {"nitrogen.yield-unit", "kg/ha"},
                        {"soil.map", scratch("goal.geojson", soil)},
                        {"soil.horizons", ""},
                        {"compaction.probes", ""}};
    JobValues figure = column;
    figure.erase("nitrogen.yield-column");
    figure["nitrogen.yield-column"] = "";
    figure["nitrogen.yield-goal"] = "8788 kg/ha";
    EXPECT_NEAR(plan_of(column).zones[0].budget.need_kg_ha,
                plan_of(figure).zones[0].budget.need_kg_ha, 1e-6);
    soil.replace(soil.find("8788"), 4, "-788");
    column["soil.map"] = scratch("goal.geojson", soil);
    EXPECT_NE(refusal(column).find("not a number above zero"), std::string::npos)
        << refusal(column);
}

TEST(NitrogenPlan, TrialPlotsFindTheirZoneByPlace) {
    const std::string zones = scratch(
        "zones.geojson",
        R"({"type":"FeatureCollection","features":[)"
        R"({"type":"Feature","properties":{"zone":1},"geometry":{"type":"Polygon","coordinates":)"
        R"([[[0,0],[0.01,0],[0.01,0.01],[0,0.01],[0,0]]]}},)"
        R"({"type":"Feature","properties":{"zone":2},"geometry":{"type":"Polygon","coordinates":)"
        R"([[[0.01,0],[0.02,0],[0.02,0.01],[0.01,0.01],[0.01,0]]]}}]})");
    std::string csv = "lon,lat,rate,yield\n0.5,0.5,100,9000\n";  // the first lies in no zone
    for (int i = 0; i < 20; ++i) {
        const double n = 20.0 * (i % 10);
        csv += (i < 10 ? "0.005" : "0.015") + std::string(",0.005,") + fixed(n, 0) + "," +
               fixed(3000.0 + (i < 10 ? 30.0 : 40.0) * n - 0.1 * n * n + (i % 3), 1) + "\n";
    }
    FitRequest request;
    request.trial = scratch("placed.csv", csv);
    request.zones = zones;
    request.rate_unit = request.yield_unit = "kg/ha";
    request.form = "quadratic";
    const TrialFit fit = fit_trial(request);
    ASSERT_EQ(fit.groups.size(), 2U);
    EXPECT_EQ(fit.groups[0].zone, "1");
    EXPECT_NEAR(fit.groups[0].fit().curve.b, 30.0, 0.2);
    EXPECT_NEAR(fit.groups[1].fit().curve.b, 40.0, 0.2);
    ASSERT_EQ(fit.warnings.size(), 1U);
    EXPECT_NE(fit.warnings[0].find("1 plots lie in no zone"), std::string::npos);
    request.trial = scratch("unplaced.csv", "rate,yield\n0,1\n");
    EXPECT_THROW(fit_trial(request), Error);
}

TEST(NitrogenPlan, BadInputIsRefusedWithAReason) {
    EXPECT_NE(refusal({{"nitrogen.price-n", "0 /lb"}}).find("above zero"), std::string::npos);
    EXPECT_NE(refusal(response_job({{"nitrogen.price-crop", "0 /bu"}})).find("above zero"),
              std::string::npos);
    EXPECT_NE(refusal({{"nitrogen.price-crop", "0 /bu"}}).find("above zero"), std::string::npos);
    EXPECT_NE(refusal(response_job({{"nitrogen.crop", "wheat"}})).find("fitted for corn"),
              std::string::npos);
    EXPECT_NE(refusal(response_job({{"nitrogen.response-zones", ""}})).find("which zones"),
              std::string::npos);
    EXPECT_NE(
        refusal(response_job({{"nitrogen.response-zones", "1=lo"}})).find("not a zone number"),
        std::string::npos);
    EXPECT_NE(
        refusal(response_job({{"nitrogen.response", scratch("no.json", "{}")}})).find("'kind'"),
        std::string::npos);
    EXPECT_NE(refusal({{"nitrogen.method", "response"}}).find("nitrogen.response is not given"),
              std::string::npos);
    const std::string nitrate = refusal(
        {{"nitrogen.soil-tests",
          scratch("nitrate.csv",
                  "sample,lon,lat,top_cm,bottom_cm,nitrate_ppm\nR1,-94.99,40.2,0,30,2400\n")}});
    EXPECT_NE(nitrate.find("not possible"), std::string::npos) << nitrate;
    const std::string credits =
        gis::read_file(std::string(CATCHFIELD_SOURCE_DIR) + "/src/nitrogen/data/credits.csv");
    const std::string bad =
        credits.substr(0, credits.rfind('\n', credits.size() - 2) + 1) + "broken,row,x,y,z,q,r,s\n";
    const std::string row = refusal({{"nitrogen.credits-table", scratch("credits.csv", bad)}});
    EXPECT_NE(row.find("line"), std::string::npos) << row;
    EXPECT_NE(refusal({{"nitrogen.min-rate", "240 lb/ac"}}).find("below nitrogen.min-rate"),
              std::string::npos);
}

// Straw off without season.residue given: the crop table's typical residue is what lies there, for
// the erosion record and for the balance of organic matter alike.
TEST(OrganicMatter, StrawRemovedCountsWithTheTypicalResidueToo) {
    const Inputs inputs = inputs_of({{"season.residue", ""}, {"season.residue-removed", "0.5"}});
    const FieldResult result = plan_field(inputs, field_named(inputs, "Ridge"));
    const double typical = erosion::crop(inputs.job.season.previous_crop).typical_residue_kg_ha;
    ASSERT_GT(typical, 0.0);
    for (const ZoneResult& zone : result.zones) {
        EXPECT_DOUBLE_EQ(zone.site.removed_kg_ha, 0.5 * typical);
    }
    const FieldResult given = plan_of(
        {{"season.residue", shortest(typical) + " kg/ha"}, {"season.residue-removed", "0.5"}});
    ASSERT_EQ(given.zones.size(), result.zones.size());
    for (std::size_t i = 0; i < given.zones.size(); ++i) {
        EXPECT_DOUBLE_EQ(given.zones[i].site.removed_kg_ha, result.zones[i].site.removed_kg_ha);
        EXPECT_DOUBLE_EQ(given.zones[i].c_now, result.zones[i].c_now);
    }
}

}  // namespace
}  // namespace catchfield::plan

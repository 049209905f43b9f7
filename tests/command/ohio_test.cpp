// SPDX-License-Identifier: MIT
// The whole run on an open field in Ohio (CATCHFIELD_OPEN_DATA), and the worked example of
// docs/methods/erosion.md recomputed from the printed half-month table.
#include "base/table.hpp"
#include "program.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <cstdlib>

namespace catchfield::testing {
namespace {

class OhioField : public ::testing::Test {
  protected:
    void SetUp() override {
        const char* data = std::getenv("CATCHFIELD_OPEN_DATA");
        if (data == nullptr || !std::filesystem::exists(std::string(data) + "/ohio-field")) {
            GTEST_SKIP() << "CATCHFIELD_OPEN_DATA is not set: the open field is not here";
        }
        m_data = std::string(data) + "/ohio-field";
    }

    /// Plans with a sowing date; returns the plan folder.
    std::string plan(const TemporaryFolder& folder, const std::string& sow,
                     const std::string& candidates) const {
        const std::string job = folder / ("job-" + sow + ".ini");
        const std::string output = folder / ("plan-" + sow);
        write_text(job,
                   "[field]\nboundary = " + m_data + "/boundary.geojson\n[terrain]\nelevation = " +
                       m_data + "/dem_5m.tif\nelevation-unit = m\n[soil]\nmap = " + m_data +
                       "/soils.gpkg\nhorizons = " + m_data +
                       "/horizons.csv\nfill-distance = 0 m\n[weather]\nerosivity = 125 us\n"
                       "[season]\nharvest = 2025-07-15\nsow = " +
                       sow +
                       "\nhard-frost = 2025-10-20\nterminate = 2026-04-25\n"
                       "next-planting = 2026-05-10\nprevious-crop = wheat\nresidue = 4000 kg/ha\n"
                       "[zones]\ncount = 3\n[cover]\ncandidates = " +
                       candidates +
                       "\n[nitrogen]\ncrop = corn\nyield-goal = 180 bu/ac\n"
                       "[output]\nuncertainty = 20\n");
        const Outcome run = run_line("plan '" + job + "' --output '" + output + "'");
        // 3: the soil map leaves ground out, and the run says so.
        EXPECT_EQ(run.code, 3) << run.err;
        return output;
    }

    std::string m_data;
};

Table table_of(const std::string& path) {
    return Table::parse(slurp(path), path);
}

// R 125 us on the ground that the soil map covers. A separate numpy script on the same files
// (filling, multiple-flow routing with Freeman's exponent 1.1, L of Desmet & Govers 1996 with the
// width |sin| + |cos| as printed, cap 120 m) gives 30.8 Mg/ha; 30.6 is the figure stated for the
// field. The width used here is the one that is exact on planes.
TEST_F(OhioField, BareFallowLossAndReduction) {
    const TemporaryFolder folder;
    const Table zones = table_of(plan(folder, "2025-08-15", "rye") + "/zones.csv");
    ASSERT_GE(zones.rows(), 2u);
    double loss = 0.0, known = 0.0;
    for (std::size_t row = 0; row < zones.rows(); ++row) {
        // The zone's mean is over the ground with soil values.
        const double covered = zones.required_number(row, "area_ha") *
                               zones.required_number(row, "soil_mapped_pct") / 100.0;
        loss += zones.required_number(row, "soil_loss_bare_mg_ha") * covered;
        known += covered;
        const double cut = zones.required_number(row, "erosion_cut_pct");
        EXPECT_GT(cut, 0.0);
        EXPECT_LE(cut, 80.0);
        EXPECT_LE(zones.required_number(row, "erosion_cut_low_pct"), cut);
        EXPECT_GE(zones.required_number(row, "erosion_cut_high_pct"), cut);
    }
    EXPECT_NEAR(known, 25.1, 0.5);
    EXPECT_NEAR(loss / known, 30.6, 0.05 * 30.6);
}

TEST_F(OhioField, ReductionGrowsWithCoverMass) {
    const TemporaryFolder folder;
    double mass = 1e9, cut = 100.0;
    for (const char* sow : {"2025-08-01", "2025-09-01", "2025-10-01"}) {
        const Table zones = table_of(plan(folder, sow, "rye") + "/zones.csv");
        const double mass_now = zones.required_number(0, "biomass_kg_ha");
        const double cut_now = zones.required_number(0, "erosion_cut_pct");
        EXPECT_LT(mass_now, mass) << sow;
        EXPECT_LT(cut_now, cut) << sow;
        EXPECT_GE(cut_now, 0.0) << sow;
        EXPECT_LE(cut_now, 80.0) << sow;
        mass = mass_now;
        cut = cut_now;
    }
}

// docs/methods/erosion.md, "A zone by hand": every step from the printed columns.
TEST_F(OhioField, AZoneByHand) {
    const TemporaryFolder folder;
    const std::string output = plan(folder, "2025-08-15", "rye");
    const Table zones = table_of(output + "/zones.csv");
    const Table rows = table_of(output + "/report/field-half-months.csv");
    double shares = 0.0, c_now = 0.0, c_cover = 0.0;
    for (std::size_t row = 0; row < rows.rows(); ++row) {
        if (rows.text(row, "zone") != "1") continue;
        const double slr = rows.required_number(row, "slr");
        double product = 1.0;
        for (const char* part : {"plu", "cc", "sc", "sr", "sm"})
            product *= rows.required_number(row, part);
        EXPECT_NEAR(slr, product, 2e-6 + 1e-4 * slr);
        // CC = 1 - Fc exp(-0.1 H), H in ft, of crop and cover one after the other;
        // PLU = Cf Cb exp(-(cur Bur + cus Bus/sqrt(Cf))).
        double cc = 1.0;
        for (const char* canopy : {"crop", "cover"}) {
            const std::string name = canopy;
            cc *= 1.0 - rows.required_number(row, name + "_canopy") *
                            std::exp(-0.1 * rows.required_number(row, name + "_fall_m") / 0.3048);
        }
        EXPECT_NEAR(rows.required_number(row, "cc"), cc, 2e-4);
        const double cf = rows.required_number(row, "cf");
        EXPECT_NEAR(rows.required_number(row, "plu"),
                    cf * 0.951 *
                        std::exp(-(0.0450963 * rows.required_number(row, "roots_kg_ha_mm") +
                                   0.0094272 * rows.required_number(row, "buried_kg_ha_mm") /
                                       std::sqrt(cf))),
                    2e-4);
        // SC = exp(-b Sp (0.24/Ru)^0.08), SR = exp(-0.66 (Ru - 0.24)), Ru in inches (AH-703 ch. 5).
        const double ru = rows.required_number(row, "roughness_mm") / 25.4;
        EXPECT_NEAR(rows.required_number(row, "sr"), std::exp(-0.66 * (ru - 0.24)), 2e-4);
        EXPECT_NEAR(
            rows.required_number(row, "sc"),
            std::exp(-0.035 * rows.required_number(row, "cover_pct") * std::pow(0.24 / ru, 0.08)),
            2e-4);
        const double ei = rows.required_number(row, "ei_share");
        if (rows.text(row, "management") == "now") {
            shares += ei;
            c_now += ei * slr;
        } else {
            c_cover += ei * slr;
        }
    }
    EXPECT_NEAR(shares, 1.0, 2e-5);
    EXPECT_NEAR(zones.required_number(0, "c_now"), c_now, 1e-4);
    EXPECT_NEAR(zones.required_number(0, "c_cover"), c_cover, 1e-4);
    const double bare = zones.required_number(0, "soil_loss_bare_mg_ha");
    const double p = zones.required_number(0, "p");
    EXPECT_NEAR(zones.required_number(0, "soil_loss_now_mg_ha"), bare * c_now * p, 0.01);
    EXPECT_NEAR(zones.required_number(0, "soil_loss_cover_mg_ha"), bare * c_cover * p, 0.01);
    EXPECT_NEAR(zones.required_number(0, "erosion_cut_pct"), 100.0 * (1.0 - c_cover / c_now), 0.1);
    EXPECT_NEAR(zones.required_number(0, "loss_over_t"),
                bare * c_now * p / zones.required_number(0, "t_mg_ha"), 0.002);
    // The figures that the page prints.
    EXPECT_NEAR(c_now, 0.0398, 0.0008);
    EXPECT_NEAR(c_cover, 0.0184, 0.0010);
    EXPECT_NEAR(bare, 49.1, 1.0);
    // R K LS with the zone's means: off from the mean of K x LS only by their covariance.
    EXPECT_NEAR(125.0 * 17.02 * zones.required_number(0, "k_si") * zones.required_number(0, "ls"),
                bare, 0.15 * bare);
}

}  // namespace
}  // namespace catchfield::testing

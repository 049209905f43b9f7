// SPDX-License-Identifier: MIT
// Clean-up: small patches, necks, filling, numbers and edits; fuzzed over random fields.
#include "zoning/cleanup.hpp"

#include "base/error.hpp"
#include "grids.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <set>
#include <string>

namespace catchfield::zoning {
namespace {

Labels grid(const std::vector<std::string>& rows, double cell_m = 10.0) {
    Labels labels(
        testing::frame_of(static_cast<int>(rows.size()), static_cast<int>(rows[0].size()), cell_m));
    for (std::size_t r = 0; r < rows.size(); ++r) {
        for (std::size_t c = 0; c < rows[r].size(); ++c) {
            labels.at(static_cast<int>(r), static_cast<int>(c)) =
                static_cast<std::int16_t>(rows[r][c] == '.' ? 0 : rows[r][c] - '0');
        }
    }
    return labels;
}

TEST(ZoningCleanup, PatchGoesToTheLongestSharedEdge) {
    // The 3s share four edges with 2 and two with 1.
    EXPECT_EQ(merge_small_patches(grid({"1111", "1332", "2222", "2222"}), 3).values,
              grid({"1111", "1222", "2222", "2222"}).values);
}

TEST(ZoningCleanup, SmallIslandTakesTheNearestZone) {
    EXPECT_EQ(merge_small_patches(grid({"1112222", "1112222", ".......", "..3...."}), 4).values,
              grid({"1112222", "1112222", ".......", "..1...."}).values);
    // No part is large enough: the field is one zone.
    EXPECT_EQ(merge_small_patches(grid({"12.3", "22.3"}), 9).values, grid({"22.2", "22.2"}).values);
}

TEST(ZoningCleanup, MajorityTies) {
    // Two by two: every window is the whole grid, two against two. Ties keep the centre.
    EXPECT_EQ(majority_pass(grid({"12", "21"})).values, grid({"12", "21"}).values);
    // The centre 3 is not among the tied 1 and 2: the lower number.
    EXPECT_EQ(majority_pass(grid({"132"})).at(0, 1), 3);  // one each: the centre is among the tied
    EXPECT_EQ(majority_pass(grid({"112", "132", ".2."})).at(1, 1), 1);
}

TEST(ZoningCleanup, NecksAreRemoved) {
    // A bridge one cell wide between two lobes of zone 2.
    const Labels before = grid({"2221111222", "2222222222", "2221111222", "1111111111"});
    const Labels after = grid({"2221111222", "2221111222", "2221111222", "1111111111"});
    EXPECT_EQ(remove_necks(before, 2).values, after.values);
    EXPECT_EQ(remove_necks(before, 1).values, before.values);
    // Narrow ground along the field's edge stays: the machine drives past the edge of the map.
    const Labels edge = grid({"1111", "2222", "2222"});
    EXPECT_EQ(remove_necks(edge, 2).values, edge.values);
}

TEST(ZoningCleanup, FillFromNearestIsExact) {
    for (std::uint64_t seed = 1; seed <= 40; ++seed) {
        SCOPED_TRACE("seed " + std::to_string(seed));
        Random random(seed);
        const GridFrame frame = testing::frame_of(12, 15);
        Labels labels(frame, 0);
        Mask field(frame, 0);
        for (std::size_t i = 0; i < frame.size(); ++i) {
            field[i] = random.uniform() < 0.8;
            if (field[i] && random.uniform() < 0.1) {
                labels[i] = static_cast<std::int16_t>(1 + random.below(4));
            }
        }
        labels[7] = 2;
        field[7] = 1;
        const Labels filled = fill_from_nearest(labels, field);
        for (int r = 0; r < frame.rows; ++r) {
            for (int c = 0; c < frame.cols; ++c) {
                const std::size_t i = frame.index(r, c);
                std::pair<int, int> best{1 << 20, 0};
                for (int s = 0; s < frame.rows; ++s) {
                    for (int d = 0; d < frame.cols; ++d) {
                        const int label = labels.at(s, d);
                        if (label == 0) continue;
                        best = std::min(best, {(s - r) * (s - r) + (d - c) * (d - c), label});
                    }
                }
                EXPECT_EQ(filled[i], field[i] ? best.second : 0);
            }
        }
    }
    const GridFrame frame = testing::frame_of(2, 2);
    EXPECT_THROW(fill_from_nearest(Labels(frame, 0), Mask(frame, 1)), Error);
}

// Brute force: the smallest patch, one at a time, recoloured on the map.
Labels merge_slowly(Labels labels, std::size_t min_cells) {
    for (;;) {
        const Patches patches = find_patches(labels);
        std::size_t smallest = patches.sizes.size();
        std::vector<std::vector<int>> shared(patches.sizes.size(),
                                             std::vector<int>(patches.sizes.size(), 0));
        const GridFrame& f = labels.frame;
        for (int r = 0; r < f.rows; ++r) {
            for (int c = 0; c < f.cols; ++c) {
                for (const auto& [s, d] : {std::pair(r + 1, c), std::pair(r, c + 1)}) {
                    if (!f.contains(s, d)) continue;
                    const int a = patches.patch[f.index(r, c)];
                    const int b = patches.patch[f.index(s, d)];
                    if (a < 0 || b < 0 || a == b) continue;
                    ++shared[static_cast<std::size_t>(a)][static_cast<std::size_t>(b)];
                    ++shared[static_cast<std::size_t>(b)][static_cast<std::size_t>(a)];
                }
            }
        }
        for (std::size_t p = 0; p < patches.sizes.size(); ++p) {
            const bool alone = std::all_of(shared[p].begin(), shared[p].end(),
                                           [](int edges) { return edges == 0; });
            if (patches.sizes[p] >= min_cells || alone) continue;
            if (smallest == patches.sizes.size() || patches.sizes[p] < patches.sizes[smallest]) {
                smallest = p;
            }
        }
        if (smallest == patches.sizes.size()) return labels;
        const int most = *std::max_element(shared[smallest].begin(), shared[smallest].end());
        // Only cases without ties are compared; the caller checks for that.
        std::int16_t label = 0;
        for (std::size_t q = 0; q < shared.size(); ++q) {
            if (shared[smallest][q] == most) label = label == 0 ? patches.labels[q] : label;
        }
        for (std::size_t i = 0; i < labels.size(); ++i) {
            if (patches.patch[i] == static_cast<int>(smallest)) labels[i] = label;
        }
    }
}

TEST(ZoningCleanup, MergeAgreesWithBruteForceWithoutTies) {
    const Labels before = grid({"1111112222", "1311112222", "1113312222", "1113312442",
                                "1111112442", "1111112222", "5551112222", "5551112222"});
    for (const std::size_t min_cells : {2U, 5U, 7U, 12U}) {
        EXPECT_EQ(merge_small_patches(before, min_cells).values,
                  merge_slowly(before, min_cells).values)
            << min_cells;
    }
}

// Over random masks and labels: outside stays outside, inside keeps a label that was there, and no
// patch is below the minimum unless its part of the field is.
TEST(ZoningCleanup, FuzzMinimumArea) {
    for (std::uint64_t seed = 1; seed <= 500; ++seed) {
        SCOPED_TRACE("seed " + std::to_string(seed));
        Random random(seed);
        const GridFrame frame = testing::frame_of(1 + static_cast<int>(random.below(24)),
                                                  1 + static_cast<int>(random.below(24)));
        const double inside = random.uniform(0.3, 1.0);
        const std::size_t zones = 1 + random.below(6);
        Labels labels(frame, 0);
        for (auto& label : labels.values) {
            if (random.uniform() < inside)
                label = static_cast<std::int16_t>(1 + random.below(zones));
        }
        CleanupOptions options;
        options.majority_passes = static_cast<int>(random.below(4));
        const std::size_t min_cells = random.below(40);
        options.min_area_ha = static_cast<double>(min_cells) * frame.cell_area_ha();
        options.working_width_m = 10.0 * static_cast<double>(random.below(5));
        const Labels after = clean_up(labels, options);
        Labels part_labels(frame, 0);
        const std::set<std::int16_t> old(labels.values.begin(), labels.values.end());
        std::size_t field_cells = 0;
        for (std::size_t i = 0; i < frame.size(); ++i) {
            ASSERT_EQ(labels[i] == 0, after[i] == 0);
            ASSERT_TRUE(old.contains(after[i]));
            part_labels[i] = labels[i] != 0;
            field_cells += labels[i] != 0;
        }
        const Patches parts = find_patches(part_labels);
        const Patches patches = find_patches(after);
        std::vector<std::size_t> largest_of_label(zones + 1, 0);
        bool any_large = false;
        for (const std::size_t size : parts.sizes) any_large = any_large || size >= min_cells;
        for (std::size_t i = 0; i < frame.size(); ++i) {
            if (after[i] == 0) continue;
            const std::size_t patch = patches.sizes[static_cast<std::size_t>(patches.patch[i])];
            const std::size_t part = parts.sizes[static_cast<std::size_t>(parts.patch[i])];
            ASSERT_TRUE(patch >= min_cells || (part < min_cells && patch == part));
            auto& largest = largest_of_label[static_cast<std::size_t>(after[i])];
            largest = std::max(largest, patch);
        }
        // No zone consists of small islands alone.
        if (any_large) {
            for (const std::size_t size : largest_of_label) {
                ASSERT_TRUE(size == 0 || size >= min_cells);
            }
        } else if (field_cells > 0 && min_cells > 0) {
            ASSERT_EQ(std::count(largest_of_label.begin(), largest_of_label.end(), 0U),
                      static_cast<std::ptrdiff_t>(zones));
        }
    }
}

TEST(ZoningCleanup, NumberedByScore) {
    const Labels labels = grid({"1233", "1255"});
    const double score[] = {0.0, 4.0, 9.0, 1.0, 100.0, 9.0};
    // Falling: 2 and 5 (equal: the older number first), 1, 3; label 4 does not exist.
    EXPECT_EQ(number_by_score(labels, score).values, grid({"3144", "3122"}).values);
}

TEST(ZoningCleanup, Edits) {
    const Labels labels = grid({"1234", "1234"});
    const int merged[] = {2, 4};
    EXPECT_EQ(merge_zones(labels, merged).values, grid({"1232", "1232"}).values);
    const int order[] = {4, 3, 2, 1};
    EXPECT_EQ(renumber_zones(labels, order).values, grid({"4321", "4321"}).values);
    const int unknown[] = {2, 9};
    EXPECT_THROW(merge_zones(labels, unknown), Error);
    const int alone[] = {2, 2};
    EXPECT_THROW(merge_zones(labels, alone), Error);
    const int doubled[] = {1, 1, 2, 3};
    EXPECT_THROW(renumber_zones(labels, doubled), Error);
}

}  // namespace
}  // namespace catchfield::zoning

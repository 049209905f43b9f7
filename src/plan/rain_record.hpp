// SPDX-License-Identifier: MIT
// Rain records as loggers write them, to R.
#pragma once

#include "base/table.hpp"
#include "weather/erosivity.hpp"

namespace catchfield::plan {

struct RainErosivity {
    weather::Erosivity erosivity;
    weather::ErosivityShares shares;  ///< of the record's own storms
};

/// Columns time ("2015-06-01 14:30", end of the interval) and depth_mm (rain since the row before).
/// The record begins at 0:00 of the first row's day.
///
/// Where most rows follow each other in one step of 5 to 60 minutes, it is a record of fixed steps:
/// longer distances between rows are dry time that was left out, the rain of the row after it
/// fell within one step, and the warnings count them. Steps of 60 or 5 minutes get the published
/// step correction (Yin et al. 2007), steps between them none; the warnings say which. Other
/// records are breakpoints, as they are. Throws Error(data) with the line for times that do not
/// rise, depths that are negative or above 500 mm, a first row with rain at 0:00, no erosive storm
/// at all, and for less than a year.
RainErosivity erosivity_from_record(const Table& table);

}  // namespace catchfield::plan

// SPDX-License-Identifier: MIT
#include "plan/zoning_pages.hpp"

#include "plan/shown.hpp"
#include "report/charts.hpp"
#include "report/html.hpp"

#include <filesystem>

namespace catchfield::plan {

namespace {

using report::name;

std::string count_figure(const zoning::ZoningResult& zoning) {
    std::vector<int> counts;
    report::CountPanel fpi{"Fuzziness (FPI)", true, {}}, entropy{"Entropy (H/ln c)", true, {}},
        ch{"Calinski-Harabasz", false, {}}, silhouette{"Silhouette", false, {}},
        variance{"Variance held", false, {}}, votes{"Votes", false, {}};
    for (const zoning::CountIndices& one : zoning.curve) {
        // One zone has no index.
        if (one.count < 2) continue;
        counts.push_back(one.count);
        fpi.values.push_back(one.fpi);
        entropy.values.push_back(one.entropy_log);
        ch.values.push_back(one.calinski_harabasz);
        silhouette.values.push_back(one.silhouette);
        variance.values.push_back(one.relative_variance);
        votes.values.push_back(one.votes);
    }
    const std::string chart =
        report::count_chart(counts, {fpi, entropy, ch, silhouette, variance, votes}, zoning.count,
                            "Indices by number of zones; " + std::to_string(zoning.count) +
                                " zones are left after small patches were merged");
    return chart.empty()
               ? ""
               : "<figure>" + chart +
                     "<figcaption>Each index against the number of zones; the large dot is "
                     "its best, the band the number that is left after small patches "
                     "were merged.</figcaption></figure>";
}

}  // namespace

std::string zoning_section(const FieldResult& result) {
    std::string html = "<h2 id=\"zoning\">How the field was divided</h2><p>" +
                       name(result.zoning.reason) + "</p>\n";
    std::string tables;
    if (!result.zoning.curve.empty()) {
        report::HtmlTable table;
        table.caption = "Indices by number of zones";
        table.heads = {"Zones",      "Variance held", "FPI", "H/ln c", "Calinski-Harabasz",
                       "Silhouette", "Votes"};
        table.numeric.assign(7, true);
        table.numeric.front() = false;
        for (const zoning::CountIndices& indices : result.zoning.curve) {
            table.rows.push_back({std::to_string(indices.count),
                                  fixed(indices.relative_variance, 3), fixed(indices.fpi, 3),
                                  fixed(indices.entropy_log, 3),
                                  fixed(indices.calinski_harabasz, 0), fixed(indices.silhouette, 3),
                                  std::to_string(indices.votes)});
        }
        tables += report::table(table);
    }
    report::HtmlTable features;
    features.caption = "How much of each feature the zones hold";
    features.heads = {"Feature", "Variance held"};
    features.numeric = {false, true};
    for (const zoning::FeatureVariance& feature : result.zoning.variance) {
        features.rows.push_back({name(feature.name), fixed(feature.relative_variance, 2)});
    }
    tables += report::table(features);
    html += "<div class=\"charts\"><div>" + count_figure(result.zoning) + "</div><div>" + tables +
            "</div></div>\n";
    return html +
           report::disclosure(
               "how-zones", "Zones: method, source",
               "<p>Features of the cells (slope, LS, soil) are brought to one scale and clustered; "
               "the number of clusters is put to the vote: fuzziness performance index and "
               "normalised entropy (least), Calinski-Harabasz 1974 and silhouette (Rousseeuw 1987) "
               "(greatest), and the gain in variance held. Small patches are then merged. Variance "
               "held = 1 &minus; within / total sum of squares. Zone 1 has the greatest slope "
               "length and steepness factor. docs/methods/zoning.md.</p>");
}

std::string sources_section(const Inputs& inputs) {
    report::HtmlTable files;
    files.caption = "Files that went into this plan";
    // Names alone: the page of a field stays the same when another field of the file changes.
    files.heads = {"Key of the job", "File"};
    for (const Fingerprint& file : inputs.fingerprints) {
        files.rows.push_back(
            {report::escape(file.key), name(std::filesystem::path(file.path).filename().string())});
    }
    report::HtmlTable words;
    words.caption = "What the words for \"how sure\" mean";
    words.heads = {"Word", "Meaning"};
    words.rows = {
        {"verified", "seen in the named source"},
        {"memory: high", "known by heart, widely reproduced or cross-checked"},
        {"common practice", "a rule of the trade without a source"},
        {"memory: check", "known by heart, not cross-checked: a planning bound"},
        {"assumption", "no source; chosen so that the tool can run"},
        {"high, medium, low",
         "of a zone: medium where soil, terrain or weather had to be filled in or a planning value "
         "stands behind the figures; low where much of it did"}};
    return "<h2 id=\"sources\">What went into it</h2>\n" + report::table(files) +
           report::disclosure("how-sure", "How sure: what the words mean", report::table(words)) +
           "<p class=\"soft\">Made by catchfield " CATCHFIELD_VERSION
           ". All settings and the fingerprints of the files are in run.json beside the plan; "
           "every "
           "figure of the zones is in "
           "zones.csv, the nitrogen sums in budget.csv.</p>\n";
}

}  // namespace catchfield::plan

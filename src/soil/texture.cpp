// SPDX-License-Identifier: MIT
// USDA texture classes and their names.
#include "soil/texture.hpp"

#include "base/error.hpp"
#include "base/text.hpp"

#include <cmath>

namespace catchfield::soil {

namespace {

struct Name {
    TextureClass texture;
    std::string_view words;
    std::string_view code;  // soil survey code
};
constexpr std::array<Name, 12> names = {{
    {TextureClass::sand, "sand", "s"},
    {TextureClass::loamy_sand, "loamy sand", "ls"},
    {TextureClass::sandy_loam, "sandy loam", "sl"},
    {TextureClass::loam, "loam", "l"},
    {TextureClass::silt_loam, "silt loam", "sil"},
    {TextureClass::silt, "silt", "si"},
    {TextureClass::sandy_clay_loam, "sandy clay loam", "scl"},
    {TextureClass::clay_loam, "clay loam", "cl"},
    {TextureClass::silty_clay_loam, "silty clay loam", "sicl"},
    {TextureClass::sandy_clay, "sandy clay", "sc"},
    {TextureClass::silty_clay, "silty clay", "sic"},
    {TextureClass::clay, "clay", "c"},
}};

void check_share(const std::optional<double>& share, std::string_view which,
                 const std::string& what) {
    if (share && !(*share >= 0.0 && *share <= 100.0))
        throw Error(ErrorKind::data,
                    std::string(which) + " is " + shortest(*share) + " %, outside 0 to 100",
                    {.feature = what, .hint = "Shares are percent by mass of the fine earth."});
}

/// Drops a leading modifier that ends in a blank: "very ", "fine ", "coarse ".
bool drop_prefix(std::string& text, std::string_view prefix) {
    if (text.size() <= prefix.size() || text.compare(0, prefix.size(), prefix) != 0) return false;
    text.erase(0, prefix.size());
    return true;
}

std::optional<TextureClass> exact(std::string_view text) {
    for (const Name& name : names)
        if (text == name.words || text == name.code) return name.texture;
    return std::nullopt;
}

}  // namespace

std::optional<Separates> checked_separates(std::optional<double> sand_pct,
                                           std::optional<double> silt_pct,
                                           std::optional<double> clay_pct, const std::string& what,
                                           std::vector<std::string>& warnings, double tolerance_pct,
                                           double limit_pct) {
    check_share(sand_pct, "sand", what);
    check_share(silt_pct, "silt", what);
    check_share(clay_pct, "clay", what);
    const int given =
        int(sand_pct.has_value()) + int(silt_pct.has_value()) + int(clay_pct.has_value());
    if (given < 2) return std::nullopt;
    const double sum = sand_pct.value_or(0.0) + silt_pct.value_or(0.0) + clay_pct.value_or(0.0);
    if (given == 2) {
        const double rest = 100.0 - sum;
        if (rest < 0.0)
            throw Error(ErrorKind::data,
                        "two of sand, silt and clay add to " + shortest(sum) + " %",
                        {.feature = what, .hint = "The three must add to 100 %."});
        return Separates{sand_pct.value_or(rest), silt_pct.value_or(rest), clay_pct.value_or(rest)};
    }
    const double off = std::abs(sum - 100.0);
    if (off > limit_pct)
        throw Error(ErrorKind::data, "sand, silt and clay add to " + fixed(sum, 1) + " %, not 100",
                    {.feature = what, .hint = "Check the three columns and their units."});
    if (off > tolerance_pct)
        warnings.push_back(what + ": sand, silt and clay add to " + fixed(sum, 1) +
                           " %; they were scaled to 100.");
    const double scale = 100.0 / sum;
    return Separates{*sand_pct * scale, *silt_pct * scale, *clay_pct * scale};
}

TextureClass texture_class(const Separates& soil) {
    const auto [sand, silt, clay] = soil;
    if (silt + 1.5 * clay < 15.0) return TextureClass::sand;
    if (silt + 2.0 * clay < 30.0) return TextureClass::loamy_sand;
    if (clay < 7.0 && silt < 50.0) return TextureClass::sandy_loam;
    if (clay < 20.0 && sand > 52.0) return TextureClass::sandy_loam;
    if (clay < 12.0 && silt >= 80.0) return TextureClass::silt;
    if (clay < 27.0 && silt >= 50.0) return TextureClass::silt_loam;
    if (clay < 27.0 && silt >= 28.0 && sand <= 52.0) return TextureClass::loam;
    if (clay < 35.0 && silt < 28.0 && sand > 45.0) return TextureClass::sandy_clay_loam;
    if (clay >= 35.0 && sand > 45.0) return TextureClass::sandy_clay;
    if (clay >= 40.0) return silt >= 40.0 ? TextureClass::silty_clay : TextureClass::clay;
    return sand > 20.0 ? TextureClass::clay_loam : TextureClass::silty_clay_loam;
}

std::string_view texture_name(TextureClass texture) {
    return names[static_cast<std::size_t>(texture)].words;
}

std::optional<TextureClass> parse_texture(std::string_view text) {
    std::string word = lower_case(trim(text));
    if (word.empty()) return std::nullopt;
    if (const auto found = exact(word)) return found;
    // Rock-fragment modifiers of survey codes stand before a hyphen: GR-SIL, GRV-L.
    if (const auto hyphen = word.rfind('-'); hyphen != std::string::npos) word.erase(0, hyphen + 1);
    if (word.back() == 's' && word.size() > 4) word.pop_back();  // "silt loams"
    for (bool dropped = true; dropped;) {
        dropped = false;
        for (const std::string_view prefix :
             {"very ", "extremely ", "fine ", "coarse ", "gravelly ", "channery ", "cobbly ",
              "flaggy ", "stony ", "shaly ", "mucky "})
            dropped = drop_prefix(word, prefix) || dropped;
    }
    if (const auto found = exact(word)) return found;
    // Sand sizes of survey codes: COS, FS, VFS, LCOS, LFS, LVFS, COSL, FSL, VFSL.
    if (word == "cos" || word == "fs" || word == "vfs") return TextureClass::sand;
    if (word == "lcos" || word == "lfs" || word == "lvfs") return TextureClass::loamy_sand;
    if (word == "cosl" || word == "fsl" || word == "vfsl") return TextureClass::sandy_loam;
    // "loamy fine sand", "loamy very fine sand", "loamy coarse sand"
    if (word == "loamy fine sand" || word == "loamy very fine sand" || word == "loamy coarse sand")
        return TextureClass::loamy_sand;
    return std::nullopt;
}

TextureGroup texture_group(TextureClass texture) {
    switch (texture) {
        case TextureClass::sand:
        case TextureClass::loamy_sand:
            return TextureGroup::coarse;
        case TextureClass::sandy_loam:
            return TextureGroup::moderately_coarse;
        case TextureClass::loam:
        case TextureClass::silt_loam:
        case TextureClass::silt:
            return TextureGroup::medium;
        case TextureClass::sandy_clay_loam:
        case TextureClass::clay_loam:
        case TextureClass::silty_clay_loam:
            return TextureGroup::moderately_fine;
        case TextureClass::sandy_clay:
        case TextureClass::silty_clay:
        case TextureClass::clay:
            break;
    }
    return TextureGroup::fine;
}

std::string_view texture_group_name(TextureGroup group) {
    switch (group) {
        case TextureGroup::coarse:
            return "coarse";
        case TextureGroup::moderately_coarse:
            return "moderately coarse";
        case TextureGroup::medium:
            return "medium";
        case TextureGroup::moderately_fine:
            return "moderately fine";
        case TextureGroup::fine:
            break;
    }
    return "fine";
}

bool is_sandy(TextureClass texture) {
    return texture_group(texture) == TextureGroup::coarse;
}

}  // namespace catchfield::soil

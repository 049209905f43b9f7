// SPDX-License-Identifier: MIT
// Man page and shell completion, as man readers and shells take them.
#include "program.hpp"

#include <algorithm>

namespace catchfield::testing {
namespace {

std::string page(const std::string& name) {
    const Outcome outcome = run_program({"reference", name});
    EXPECT_EQ(outcome.code, 0) << outcome.err;
    return outcome.out;
}

std::vector<std::string> lines_of(const std::string& text) {
    std::vector<std::string> lines;
    std::istringstream in(text);
    for (std::string line; std::getline(in, line);) lines.push_back(line);
    return lines;
}

bool installed(const std::string& tool) {
    return run({"sh", "-c", "command -v " + tool}).code == 0;
}

/// The program's commands, from its own overview.
std::vector<std::string> commands() {
    std::vector<std::string> names;
    bool listed = false;
    for (const std::string& line : lines_of(run_program({"--help"}).out)) {
        if (listed && line.empty()) break;
        if (listed) names.push_back(line.substr(2, line.find(' ', 2) - 2));
        if (line == "commands:") listed = true;
    }
    EXPECT_GE(names.size(), 8u);
    return names;
}

/// Long options in the help text of a command.
std::vector<std::string> options_of(const std::string& command) {
    std::vector<std::string> options;
    for (const std::string& line : lines_of(run_program({command, "--help"}).out)) {
        const std::size_t at = line.find("--");
        if (at != 6 || line.substr(0, 2) != "  ") continue;
        options.push_back(line.substr(at, line.find_first_of(" \n", at) - at));
    }
    EXPECT_GE(options.size(), 5u);
    return options;
}

// ---- man page

TEST(ManPage, NamesEveryCommandOptionAndKey) {
    std::string text = page("man");
    // As shown: escaped hyphens are hyphens, font changes are none.
    for (const auto& [from, to] : {std::pair{"\\-", "-"}, {"\\fB", ""}, {"\\fR", ""}}) {
        for (std::size_t at = 0; (at = text.find(from)) != std::string::npos;)
            text.replace(at, std::string(from).size(), to);
    }
    for (const std::string& command : commands()) {
        EXPECT_TRUE(has(text, ".SS " + command + "\n")) << command;
        for (const std::string& option : options_of(command)) EXPECT_TRUE(has(text, option));
    }
    for (const char* part : {"nitrogen.max-rate", "NO_COLOR", ".SH EXIT STATUS", ".SH JOB FILE"})
        EXPECT_TRUE(has(text, part)) << part;
}

TEST(ManPage, IsCleanForItsReaders) {
    const TemporaryFolder folder;
    const std::string path = write_text(folder / "catchfield.1", page("man"));
    if (!installed("mandoc") && !installed("groff")) GTEST_SKIP() << "neither mandoc nor groff";
    if (installed("mandoc")) {
        const Outcome lint = run({"mandoc", "-T", "lint", "-W", "warning", path});
        // The page is undated on purpose: the same source makes the same bytes.
        for (const std::string& line : lines_of(lint.out))
            EXPECT_TRUE(has(line, "missing date")) << line;
    }
    if (installed("groff")) {
        const Outcome groff = run({"groff", "-man", "-Tutf8", "-ww", "-z", path});
        EXPECT_EQ(groff.code, 0);
        EXPECT_EQ(groff.err, "");
    }
}

// ---- bash

/// Words that bash would offer after these; the last is the one being typed.
std::vector<std::string> bash_offers(const std::vector<std::string>& words) {
    static const TemporaryFolder folder;
    static const std::string script = write_text(folder / "catchfield", page("bash"));
    std::string list;
    for (const std::string& word : words) list += " '" + word + "'";
    const Outcome outcome =
        run({"bash", "--norc", "-c",
             ". '" + script + "'; COMP_WORDS=(catchfield" + list +
                 "); COMP_CWORD=" + std::to_string(words.size()) +
                 "; _catchfield; ((${#COMPREPLY[@]})) && printf '%s\\n' \"${COMPREPLY[@]}\"; true"},
            folder.path());
    EXPECT_EQ(outcome.err, "");
    std::vector<std::string> offers = lines_of(outcome.out);
    std::sort(offers.begin(), offers.end());
    return offers;
}

using Words = std::vector<std::string>;

TEST(BashCompletion, CommandsAndEveryOption) {
    for (const std::string& command : commands()) {
        const Words first = bash_offers({command.substr(0, 2)});
        EXPECT_NE(std::find(first.begin(), first.end(), command), first.end()) << command;
        const Words offered = bash_offers({command, "--"});
        for (const std::string& option : options_of(command))
            EXPECT_NE(std::find(offered.begin(), offered.end(), option), offered.end())
                << command << " " << option;
    }
}

TEST(BashCompletion, ValuesKeysSpeciesAndFiles) {
    EXPECT_EQ(bash_offers({"export", "plan", "--to", "s"}), Words{"shapefile"});
    EXPECT_EQ(bash_offers({"rank", "--units", "="}), (Words{"metric", "us"}));
    EXPECT_EQ(bash_offers({"rank", "--units", "=", "m"}), Words{"metric"});
    EXPECT_EQ(bash_offers({"plan", "--terrain.rou"}), Words{"--terrain.routing"});
    EXPECT_EQ(bash_offers({"plan", "--terrain.routing", ""}), (Words{"d-infinity", "multiple"}));
    EXPECT_EQ(bash_offers({"check", "--field.repair", ""}), (Words{"no", "yes"}));
    EXPECT_EQ(bash_offers({"species", "--group", "le"}), Words{"legume"});
    const Words rye = bash_offers({"species", "rye"});
    EXPECT_NE(std::find(rye.begin(), rye.end(), "rye"), rye.end());
    const Words second = bash_offers({"plan", "--cover.candidates", "rye,crimson"});
    ASSERT_FALSE(second.empty());
    for (const std::string& offer : second) EXPECT_TRUE(offer.starts_with("rye,crimson")) << offer;
    // The script itself stands in the folder.
    EXPECT_EQ(bash_offers({"plan", "catch"}), Words{"catchfield"});
    EXPECT_EQ(bash_offers({"check", "--soil.map", "catch"}), Words{"catchfield"});
    // A number is nobody's guess; a species has no job keys.
    EXPECT_EQ(bash_offers({"plan", "--threads", ""}), Words{});
    EXPECT_EQ(bash_offers({"species", "--terrain.rou"}), Words{});
    EXPECT_EQ(bash_offers({"nonsense", "--"}), Words{});
}

// ---- zsh

/// What the completion function hands to zsh's own functions after these words.
std::string zsh_specs(const std::string& words, int current) {
    static const TemporaryFolder folder;
    static const std::string script = write_text(folder / "_catchfield", page("zsh"));
    const Outcome outcome =
        run({"zsh", "-fc",
             "_arguments() { print -rl -- \"$@\" }; _describe() { print -rl -- ${(P)4} }; "
             "words=(catchfield " +
                 words + "); CURRENT=" + std::to_string(current) + "; . '" + script + "'"});
    EXPECT_EQ(outcome.err, "");
    return outcome.out;
}

TEST(ZshCompletion, CommandsOptionsAndKeys) {
    if (!installed("zsh")) GTEST_SKIP() << "zsh is not installed";
    const std::string first = zsh_specs("''", 2);
    for (const std::string& command : commands()) {
        EXPECT_TRUE(has(first, command + ":")) << first;
        const std::string specs = zsh_specs(command + " ''", 3);
        for (const std::string& option : options_of(command))
            EXPECT_TRUE(has(specs, option + "=[") || has(specs, option + "[")) << option;
    }
    const std::string plan = zsh_specs("plan ''", 3);
    EXPECT_TRUE(has(plan, "--terrain.routing=[")) << plan;
    EXPECT_TRUE(has(plan, ":(multiple d-infinity)\n"));
    EXPECT_TRUE(has(plan, "_values -s , species $_catchfield_species"));
    EXPECT_TRUE(has(zsh_specs("export ''", 3), "(work EPSG\\:4326)"));
    EXPECT_FALSE(has(zsh_specs("species ''", 3), "--terrain.routing"));
}

TEST(Reference, UnknownPageNamesTheNearest) {
    const Outcome outcome = run_program({"reference", "bahs"});
    EXPECT_EQ(outcome.code, 2);
    EXPECT_TRUE(has(outcome.err, "Did you mean 'bash'?")) << outcome.err;
}

}  // namespace
}  // namespace catchfield::testing

// SPDX-License-Identifier: MIT
// Shares of a job, gathered: the bytes of one run, and plain words where something is amiss.
#include "base/table.hpp"
#include "many_fields.hpp"

namespace catchfield::testing {
namespace {

class Shares : public ::testing::Test {
  protected:
    static void SetUpTestSuite() {
        s_folder = new TemporaryFolder;
        make_many_fields(*s_folder / "farm", 7, 4);  // 30 fields, two of them skipped
        ASSERT_EQ(run_program({"plan", "farm/job.ini", "--output", "whole"}, s_folder->path()).code,
                  3);
        make("three", 3);
    }
    static void TearDownTestSuite() {
        delete s_folder;
        s_folder = nullptr;
    }
    void TearDown() override {
        for (const std::string& name : entries_of(s_folder->path()))
            if (name != "farm" && name != "whole" && name != "three")
                fs::remove_all(*s_folder / name);
    }

    /// Share i of n into <base>/<i>; the exit codes.
    static std::vector<int> make(const std::string& base, int n,
                                 const std::vector<std::string>& more = {}) {
        fs::create_directory(*s_folder / base);
        std::vector<int> codes;
        for (int i = 1; i <= n; ++i) {
            std::vector<std::string> words = {
                "plan",     "farm/job.ini",
                "--output", base + "/" + std::to_string(i),
                "--share",  std::to_string(i) + "/" + std::to_string(n)};
            words.insert(words.end(), more.begin(), more.end());
            const Outcome outcome = run_program(words, s_folder->path());
            EXPECT_TRUE(outcome.code == 0 || outcome.code == 3) << outcome.err;
            codes.push_back(outcome.code);
        }
        return codes;
    }
    static Outcome gather(const std::vector<std::string>& shares,
                          const std::vector<std::string>& more = {}) {
        std::vector<std::string> words = {"gather", "--output", "plan"};
        words.insert(words.end(), more.begin(), more.end());
        words.insert(words.end(), shares.begin(), shares.end());
        return run_program(words, s_folder->path());
    }
    static void expect_refused(const std::vector<std::string>& shares,
                               const std::vector<std::string>& parts, int code = 1) {
        const Outcome outcome = gather(shares);
        EXPECT_EQ(outcome.code, code) << outcome.err;
        for (const std::string& part : parts)
            EXPECT_TRUE(has(outcome.err, part)) << "'" << part << "' is not in: " << outcome.err;
        for (const std::string& name : entries_of(s_folder->path()))
            EXPECT_TRUE(name != "plan" && !name.starts_with(".")) << name << " is left";
    }
    /// A copy of the three shares that a test may spoil.
    static std::vector<std::string> copies() {
        fs::copy(*s_folder / "three", *s_folder / "copy", fs::copy_options::recursive);
        return {"copy/1", "copy/2", "copy/3"};
    }

    static TemporaryFolder* s_folder;
};
TemporaryFolder* Shares::s_folder = nullptr;

TEST_F(Shares, GatheredTheyAreTheWholeRun) {
    for (const int n : {1, 2, 7}) {
        make("parts", n);
        std::vector<std::string> folders;
        for (int i = n; i >= 1; --i) folders.push_back("parts/" + std::to_string(i));
        const Outcome outcome = gather(folders);
        EXPECT_EQ(outcome.code, 3) << outcome.err;
        EXPECT_TRUE(has(outcome.err, "30 fields: 28 done, 0 partly covered, 2 skipped"))
            << outcome.err;
        expect_same_files(*s_folder / "whole", *s_folder / "plan");
        fs::remove_all(*s_folder / "plan");
        fs::remove_all(*s_folder / "parts");
    }
}

TEST_F(Shares, MoreSharesThanFields) {
    make("parts", 37, {"--output.reports=no"});
    std::vector<std::string> folders;
    std::size_t empty = 0;
    for (int i = 1; i <= 37; ++i) {
        folders.push_back("parts/" + std::to_string(i));
        const auto run =
            nlohmann::json::parse(slurp(*s_folder / ("parts/" + std::to_string(i) + "/run.json")));
        EXPECT_EQ(run.at("share"), std::to_string(i) + " of 37");
        empty += run.at("fields").empty();
    }
    EXPECT_GE(empty, 7U);
    EXPECT_EQ(gather(folders).code, 3);
    ASSERT_EQ(run_program({"plan", "farm/job.ini", "--output", "lean", "--output.reports=no"},
                          s_folder->path())
                  .code,
              3);
    expect_same_files(*s_folder / "lean", *s_folder / "plan");
}

TEST_F(Shares, EachIsAPlanOfItsFields) {
    std::vector<std::string> ids;
    for (const char* share : {"three/1", "three/2", "three/3"}) {
        const std::string path = *s_folder / (std::string(share) + "/zones.csv");
        const Table table = Table::parse(slurp(path), path);
        EXPECT_GT(table.rows(), 5U);
        for (std::size_t row = 0; row < table.rows(); ++row) {
            const std::string id = table.text(row, "field_id");
            if (ids.empty() || ids.back() != id) ids.push_back(id);
        }
    }
    std::vector<std::string> sorted = ids;
    std::sort(sorted.begin(), sorted.end());
    EXPECT_EQ(std::unique(sorted.begin(), sorted.end()), sorted.end());
    EXPECT_EQ(sorted.size(), 28U);
    // In the order of the boundary file, one share after the other.
    const Table whole = Table::parse(slurp(*s_folder / "whole/zones.csv"), "zones.csv");
    std::vector<std::string> order;
    for (std::size_t row = 0; row < whole.rows(); ++row) {
        const std::string id = whole.text(row, "field_id");
        if (order.empty() || order.back() != id) order.push_back(id);
    }
    EXPECT_EQ(ids, order);
}

TEST_F(Shares, StayAsTheyAre) {
    const auto before = files_of(*s_folder / "three");
    EXPECT_EQ(gather({"three/1", "three/2", "three/3"}).code, 3);
    EXPECT_TRUE(files_of(*s_folder / "three") == before);
}

TEST_F(Shares, MissingAndDoubleOnesAreNamed) {
    expect_refused({"three/1", "three/2"}, {"share 3 of 3 is missing", "--share"});
    expect_refused({"three/2"}, {"shares 1 and 3 of 3 are missing"});
    expect_refused({"three/1", "three/2", "three/3", "three/2"},
                   {"three/2: share 2 of 3 is there twice"});
    fs::copy(*s_folder / "three/2", *s_folder / "again", fs::copy_options::recursive);
    expect_refused({"three/1", "three/2", "three/3", "again"}, {"again", "twice", "three/2"});
}

TEST_F(Shares, ForeignOnesAreRefused) {
    make("two", 2);
    expect_refused({"three/1", "two/2"}, {"two/2: this is share 2 of 2", "share 1 of 3"});
    make("other", 3, {"--nitrogen.yield-goal", "150 bu/ac"});
    expect_refused({"three/1", "other/2", "three/3"},
                   {"other/2", "nitrogen.yield-goal is '180 bu/ac' and '150 bu/ac'"});
    expect_refused({"whole"}, {"whole: this is no share"});
    expect_refused({"farm"}, {"farm: this is no share"});
    expect_refused({"nowhere"}, {"nowhere"});
}

TEST_F(Shares, OtherInputsAreNamed) {
    const std::string path = *s_folder / "farm/soil-tests.csv";
    const std::string before = slurp(path);
    write_text(path, before + "\n");
    make("other", 3);
    write_text(path, before);
    expect_refused({"three/1", "other/2", "three/3"},
                   {"other/2", "nitrogen.soil-tests", "soil-tests.csv"});
}

TEST_F(Shares, ChangedFilesAreRefused) {
    const std::vector<std::string> shares = copies();
    std::string changed;
    for (const auto& entry : fs::directory_iterator(*s_folder / "copy/2/rates"))
        if (entry.path().filename().string().ends_with("-seed.tif"))
            changed = entry.path().string();
    std::string bytes = slurp(changed);
    bytes[bytes.size() / 2] = static_cast<char>(bytes[bytes.size() / 2] ^ 1);
    write_text(changed, bytes);
    expect_refused(shares, {fs::path(changed).filename().string(), "it was changed since share 2"});
    fs::remove(changed);
    expect_refused(shares, {fs::path(changed).filename().string()});
}

TEST_F(Shares, DamagedJournalsAreRefused) {
    const std::vector<std::string> shares = copies();
    const std::string path = *s_folder / "copy/2/fields.journal";
    const std::string whole = slurp(path);
    write_text(path, whole.substr(0, whole.size() / 2));
    expect_refused(shares, {"copy/2", "not complete"});
    for (std::size_t step = 1; step < 40; ++step) {
        std::string bent = whole;
        const std::size_t at = whole.size() * step / 40;
        bent[at] = static_cast<char>(bent[at] ^ 4);
        write_text(path, bent);
        expect_refused(shares, {"copy/2"});
    }
    write_text(path, "");
    expect_refused(shares, {"copy/2: this is no share"});
}

TEST_F(Shares, KilledAndGatheredAllTheSame) {
    fs::create_directory(*s_folder / "parts");
    for (const char* i : {"1", "2", "3"}) {
        const std::vector<std::string> words = {"plan",     "farm/job.ini",
                                                "--output", std::string("parts/") + i,
                                                "--share",  std::string(i) + "/3"};
        Process process(words, s_folder->path());
        wait_for_fields(*s_folder / ("parts/." + std::string(i) + ".partial"), 4);
        process.signal(SIGKILL);
        process.wait();
        const int code = run_program(words, s_folder->path()).code;
        EXPECT_TRUE(code == 0 || code == 3);
    }
    EXPECT_EQ(gather({"parts/1", "parts/2", "parts/3"}).code, 3);
    expect_same_files(*s_folder / "whole", *s_folder / "plan");
}

TEST_F(Shares, WordsOnTheCommandLine) {
    for (const char* share : {"0/3", "4/3", "x", "3", "1/0"}) {
        const Outcome outcome = run_program(
            {"plan", "farm/job.ini", "--output", "plan", "--share", share}, s_folder->path());
        EXPECT_EQ(outcome.code, 2) << outcome.err;
        EXPECT_TRUE(has(outcome.err, std::string("--share = ") + share)) << outcome.err;
    }
    EXPECT_EQ(run_program({"gather", "three/1"}, s_folder->path()).code, 2);
    EXPECT_EQ(run_program({"gather", "--output", "plan"}, s_folder->path()).code, 2);
    fs::create_directory(*s_folder / "plan");
    const std::vector<std::string> all = {"three/1", "three/2", "three/3"};
    EXPECT_EQ(gather(all).code, 2);
    EXPECT_EQ(gather(all, {"--overwrite"}).code, 3);
    expect_same_files(*s_folder / "whole", *s_folder / "plan");
    fs::remove_all(*s_folder / "plan");
    EXPECT_EQ(gather(all, {"--strict"}).code, 1);
    EXPECT_FALSE(fs::exists(*s_folder / "plan"));
}

TEST_F(Shares, ALeftoverOfAPlanIsNotThrownAway) {
    fs::create_directory(*s_folder / ".plan.partial");
    write_text(*s_folder / ".plan.partial/fields.journal", "x");
    const Outcome outcome = gather({"three/1", "three/2", "three/3"});
    EXPECT_EQ(outcome.code, 2) << outcome.err;
    EXPECT_TRUE(has(outcome.err, "unfinished run")) << outcome.err;
    EXPECT_TRUE(fs::exists(*s_folder / ".plan.partial/fields.journal"));
}

}  // namespace
}  // namespace catchfield::testing

// SPDX-License-Identifier: MIT
// Runs that are killed or stopped and go on: the same bytes as an undisturbed run, nothing lost,
// nothing done twice, nothing left behind.
#include "base/random.hpp"
#include "many_fields.hpp"

#include <sys/file.h>
#include <sys/stat.h>

namespace catchfield::testing {
namespace {

class Resume : public ::testing::Test {
  protected:
    static void SetUpTestSuite() {
        s_folder = new TemporaryFolder;
        make_many_fields(*s_folder / "farm", 10, 5);
        const double start = now_s();
        const Outcome whole = run_program(words("whole"), s_folder->path());
        s_seconds = now_s() - start;
        ASSERT_EQ(whole.code, 3) << whole.err;  // two of the 52 fields are skipped
        ASSERT_EQ(entries_of(s_folder->path()), (std::vector<std::string>{"farm", "whole"}));
    }
    static void TearDownTestSuite() {
        delete s_folder;
        s_folder = nullptr;
    }
    void TearDown() override {
        for (const std::string& name : entries_of(s_folder->path()))
            if (name != "farm" && name != "whole") fs::remove_all(*s_folder / name);
    }

    static std::vector<std::string> words(const std::string& output,
                                          const std::vector<std::string>& more = {}) {
        std::vector<std::string> all = {"plan", "farm/job.ini", "--output", output};
        all.insert(all.end(), more.begin(), more.end());
        return all;
    }
    static Outcome plan(const std::string& output, const std::vector<std::string>& more = {}) {
        return run_program(words(output, more), s_folder->path());
    }
    /// A run that is to be met in the middle: on one thread it takes its time.
    static Process slow_run(std::vector<std::string> more = {}) {
        more.insert(more.end(), {"--threads", "1"});
        return Process(words("plan", more), s_folder->path());
    }
    /// Begins a run, kills it once `fields` are finished.
    static void kill_after(const std::string& output, std::size_t fields,
                           const std::vector<std::string>& more = {}, int signal = SIGKILL) {
        Process process = slow_run(more);
        wait_for_fields(*s_folder / ("." + output + ".partial"), fields);
        process.signal(signal);
        ASSERT_EQ(process.wait().code, 128 + signal);
        ASSERT_FALSE(fs::exists(*s_folder / output));
        ASSERT_TRUE(fs::exists(*s_folder / ("." + output + ".partial")));
    }
    /// "resuming: 12 of 52 fields were finished" gives 12; -1 where it is not said.
    static int resumed(const std::string& text) {
        const std::size_t at = text.find("resuming: ");
        return at == std::string::npos ? -1 : std::stoi(text.substr(at + 10));
    }
    static void expect_whole(const std::string& output) {
        expect_same_files(*s_folder / "whole", *s_folder / output);
        for (const std::string& name : entries_of(s_folder->path()))
            EXPECT_FALSE(name.starts_with(".")) << name << " is left";
    }

    static TemporaryFolder* s_folder;
    static double s_seconds;
};
TemporaryFolder* Resume::s_folder = nullptr;
double Resume::s_seconds = 0.0;

TEST_F(Resume, AfterKillsAtAnyMomentTheBytesAreTheSame) {
    constexpr std::uint64_t seed = 1118;
    SCOPED_TRACE("seed " + std::to_string(seed));
    Random random(seed);
    std::size_t kills = 0, finished = 0;
    for (int round = 0; kills < 8 && round < 60; ++round) {
        Process process(words("plan"), s_folder->path());
        sleep_s(s_seconds * random.uniform(0.1, 0.7));
        process.signal(SIGKILL);
        const Outcome outcome = process.wait();
        if (outcome.code == 128 + SIGKILL) {
            ++kills;
        } else {
            ASSERT_EQ(outcome.code, 3) << outcome.err;
        }
        // Whole or not at all, at every moment.
        if (fs::exists(*s_folder / "plan")) {
            expect_same_files(*s_folder / "whole", *s_folder / "plan");
            fs::remove_all(*s_folder / "plan");
            ++finished;
        }
    }
    EXPECT_EQ(kills, 8U);
    const Outcome last = plan("plan");
    EXPECT_EQ(last.code, 3) << last.err;
    expect_whole("plan");
    RecordProperty("finished_runs_between", static_cast<int>(finished));
}

TEST_F(Resume, FinishedFieldsAreNotPlannedAgain) {
    kill_after("plan", 20);
    const std::string rates = *s_folder / ".plan.partial/rates";
    std::map<std::string, fs::file_time_type> times;
    for (const auto& entry : fs::directory_iterator(rates))
        times[entry.path().filename().string()] = entry.last_write_time();
    const Outcome again = plan("plan");
    ASSERT_EQ(again.code, 3) << again.err;
    // At least those whose four files were there, but for those at work when it was killed.
    EXPECT_GE(resumed(again.err), 12) << again.err;
    EXPECT_TRUE(has(again.err, "of 52 fields were finished")) << again.err;
    int untouched = 0;
    for (const auto& [name, time] : times) {
        const std::string path = *s_folder / ("plan/rates/" + name);
        if (fs::exists(path) && fs::last_write_time(path) == time && name.ends_with("-seed.tif"))
            ++untouched;
    }
    // Every finished field but the two skipped ones has a seed raster that nobody wrote again.
    EXPECT_GE(untouched, resumed(again.err) - 2);
    EXPECT_GE(resumed(again.err), untouched);
    expect_whole("plan");
}

TEST_F(Resume, FreshStartsOver) {
    kill_after("plan", 10);
    const Outcome again = plan("plan", {"--fresh"});
    EXPECT_EQ(again.code, 3) << again.err;
    EXPECT_EQ(resumed(again.err), -1) << again.err;
    expect_whole("plan");
}

TEST_F(Resume, OtherSettingsRedoAll) {
    kill_after("plan", 10, {"--nitrogen.yield-goal", "150 bu/ac"});
    const Outcome again = plan("plan");
    EXPECT_EQ(again.code, 3) << again.err;
    EXPECT_EQ(resumed(again.err), -1) << again.err;
    EXPECT_TRUE(has(again.err, "starting over")) << again.err;
    expect_whole("plan");
}

TEST_F(Resume, ChangedInputRedoesAll) {
    const std::string tests = *s_folder / "farm/soil-tests.csv";
    const std::string before = slurp(tests);
    write_text(tests, before + "\n");  // the same table, other bytes
    kill_after("plan", 10);
    write_text(tests, before);
    const Outcome again = plan("plan");
    EXPECT_EQ(again.code, 3) << again.err;
    EXPECT_EQ(resumed(again.err), -1) << again.err;
    expect_whole("plan");
}

TEST_F(Resume, ChangedFileBesideAnInputRedoesAll) {
    const std::string beside = *s_folder / "farm/elevation.tif.aux.xml";
    write_text(beside, "<PAMDataset></PAMDataset>\n");
    kill_after("plan", 10);
    write_text(beside, "<PAMDataset> </PAMDataset>\n");
    const Outcome again = plan("plan");
    EXPECT_EQ(again.code, 3) << again.err;
    EXPECT_EQ(resumed(again.err), -1) << again.err;
    fs::remove(beside);
    expect_whole("plan");
}

TEST_F(Resume, ChangedBoundaryRedoesThatFieldAlone) {
    const std::string boundary = *s_folder / "farm/fields.geojson";
    const std::string before = slurp(boundary);
    nlohmann::json moved = nlohmann::json::parse(before);
    for (auto& point : moved["features"][0]["geometry"]["coordinates"][0])
        point[0] = point[0].get<double>() + 0.00005;
    write_text(boundary, moved.dump());
    const Outcome other = plan("other");
    kill_after("plan", 20);
    write_text(boundary, before);
    const Outcome again = plan("plan");
    EXPECT_EQ(again.code, 3) << again.err;
    EXPECT_GE(resumed(again.err), 10) << again.err;
    EXPECT_LE(resumed(again.err), 51) << again.err;
    expect_whole("plan");
    EXPECT_NE(slurp(*s_folder / "other/zones.csv"), slurp(*s_folder / "plan/zones.csv"));
}

TEST_F(Resume, DamagedOrMissingFilesAreMadeAgain) {
    kill_after("plan", 20);
    const std::string partial = *s_folder / ".plan.partial";
    std::size_t count = 0;
    for (const auto& entry : fs::directory_iterator(partial + "/rates")) {
        const std::string path = entry.path().string();
        if (++count == 3) fs::remove(path);
        if (count == 12) write_text(path, slurp(path) + "x");
        if (count == 20) {  // the same size, other bytes
            std::string bytes = slurp(path);
            bytes[bytes.size() / 2] = static_cast<char>(bytes[bytes.size() / 2] ^ 1);
            write_text(path, bytes);
        }
    }
    write_text(partial + "/rates/.stray.partial-abcdef", "left by a killed run");
    write_text(partial + "/stray", "left");
    const Outcome again = plan("plan");
    EXPECT_EQ(again.code, 3) << again.err;
    EXPECT_GE(resumed(again.err), 8) << again.err;
    expect_whole("plan");
}

TEST_F(Resume, BentJournalCostsNothingButWork) {
    for (const double place : {0.0, 0.3, 0.99}) {
        kill_after("plan", 15);
        const std::string path = *s_folder / ".plan.partial/fields.journal";
        std::string bytes = slurp(path);
        const auto at = static_cast<std::size_t>(place * static_cast<double>(bytes.size() - 1));
        bytes[at] = static_cast<char>(bytes[at] ^ 0x10);
        write_text(path, bytes);
        const Outcome again = plan("plan");
        EXPECT_EQ(again.code, 3) << again.err;
        expect_whole("plan");
        fs::remove_all(*s_folder / "plan");
    }
}

TEST_F(Resume, SignalsStopCleanlyAndSayHowToGoOn) {
    for (const int signal : {SIGINT, SIGTERM}) {
        Process process = slow_run();
        wait_for_fields(*s_folder / ".plan.partial", 10);
        process.signal(signal);
        const Outcome stopped = process.wait();
        EXPECT_EQ(stopped.code, 128 + signal) << stopped.err;
        EXPECT_TRUE(has(stopped.err, "are finished and kept")) << stopped.err;
        EXPECT_TRUE(has(stopped.err, "--fresh")) << stopped.err;
        EXPECT_EQ(entries_of(s_folder->path()),
                  (std::vector<std::string>{".plan.partial", "farm", "whole"}));
        // No temporary file of a table that was in work.
        for (const auto& [name, bytes] : files_of(*s_folder / ".plan.partial"))
            EXPECT_FALSE(has(name, "partial-")) << name;
        const Outcome again = plan("plan");
        EXPECT_EQ(again.code, 3) << again.err;
        EXPECT_GE(resumed(again.err), 10) << again.err;
        expect_whole("plan");
        fs::remove_all(*s_folder / "plan");
    }
}

TEST_F(Resume, SecondSignalEndsAtOnce) {
    Process process = slow_run();
    wait_for_fields(*s_folder / ".plan.partial", 5);
    process.signal(SIGINT);
    process.signal(SIGTERM);
    EXPECT_GE(process.wait().code, 128);
    const Outcome again = plan("plan");
    EXPECT_EQ(again.code, 3) << again.err;
    expect_whole("plan");
}

TEST_F(Resume, StopBeforeTheFirstFieldLeavesNothing) {
    Process process(words("plan"), s_folder->path());
    process.signal(SIGTERM);  // before or after the handler is in place
    const Outcome stopped = process.wait();
    EXPECT_EQ(stopped.code, 128 + SIGTERM) << stopped.err;
    fs::remove(*s_folder / ".plan.lock");
    EXPECT_EQ(entries_of(s_folder->path()), (std::vector<std::string>{"farm", "whole"}));
}

TEST_F(Resume, OldPlanStaysUntilTheNewOneIsWhole) {
    fs::create_directory(*s_folder / "plan");
    write_text(*s_folder / "plan/old.txt", "old");
    Process process = slow_run({"--overwrite"});
    wait_for_fields(*s_folder / ".plan.partial", 20);
    process.signal(SIGKILL);
    process.wait();
    EXPECT_EQ(entries_of(*s_folder / "plan"), std::vector<std::string>{"old.txt"});
    const Outcome again = plan("plan", {"--overwrite"});
    EXPECT_EQ(again.code, 3) << again.err;
    EXPECT_GE(resumed(again.err), 10) << again.err;
    expect_whole("plan");
}

TEST_F(Resume, TwoRunsIntoOneFolderAreRefused) {
    Process first = slow_run();
    wait_for_fields(*s_folder / ".plan.partial", 5);
    first.signal(SIGSTOP);
    const Outcome second = plan("plan");
    first.signal(SIGCONT);
    EXPECT_EQ(second.code, 1) << second.err;
    EXPECT_TRUE(has(second.err, "another run is writing to this folder")) << second.err;
    EXPECT_EQ(first.wait().code, 3);
    expect_whole("plan");
}

TEST_F(Resume, NameTakenByALinkIsRefused) {
    fs::create_directory(*s_folder / "elsewhere");
    write_text(*s_folder / "elsewhere/mine.txt", "mine");
    fs::create_directory_symlink(*s_folder / "elsewhere", *s_folder / ".plan.partial");
    const Outcome refused = plan("plan");
    EXPECT_EQ(refused.code, 1) << refused.err;
    EXPECT_TRUE(has(refused.err, ".plan.partial")) << refused.err;
    EXPECT_EQ(entries_of(*s_folder / "elsewhere"), std::vector<std::string>{"mine.txt"});
    fs::remove(*s_folder / ".plan.partial");
}

TEST_F(Resume, UnfinishedFolderIsForItsOwnerAlone) {
    kill_after("plan", 5);
    struct stat status {};
    ASSERT_EQ(::stat((*s_folder / ".plan.partial").c_str(), &status), 0);
    EXPECT_EQ(status.st_mode & 0777U, 0700U);
    EXPECT_EQ(plan("plan").code, 3);
    const mode_t mask = ::umask(0);
    ::umask(mask);
    ASSERT_EQ(::stat((*s_folder / "plan").c_str(), &status), 0);
    EXPECT_EQ(status.st_mode & 0777U, 0777U & ~mask);
}

TEST_F(Resume, FailedRunLeavesNothingOfItsOwn) {
    // --strict fails at the end, because two fields are skipped.
    EXPECT_EQ(plan("plan", {"--strict"}).code, 1);
    EXPECT_EQ(entries_of(s_folder->path()), (std::vector<std::string>{"farm", "whole"}));

    kill_after("plan", 10);
    const Outcome failed = plan("plan", {"--strict"});
    EXPECT_EQ(failed.code, 1) << failed.err;
    EXPECT_TRUE(has(failed.err, "that are finished are kept: 52 of 52")) << failed.err;
    EXPECT_EQ(entries_of(s_folder->path()),
              (std::vector<std::string>{".plan.partial", "farm", "whole"}));
    const Outcome again = plan("plan");
    EXPECT_EQ(again.code, 3) << again.err;
    EXPECT_EQ(resumed(again.err), 52) << again.err;
    expect_whole("plan");

    fs::remove_all(*s_folder / "plan");
    kill_after("plan", 10);
    EXPECT_EQ(plan("plan", {"--strict", "--fresh"}).code, 1);
    EXPECT_EQ(entries_of(s_folder->path()), (std::vector<std::string>{"farm", "whole"}));
}

}  // namespace
}  // namespace catchfield::testing

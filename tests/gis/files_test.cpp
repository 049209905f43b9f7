// SPDX-License-Identifier: MIT
#include "gis/files.hpp"

#include "gis/companions.hpp"
#include "support.hpp"

#include <algorithm>
#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

namespace catchfield::gis {
namespace {

using testing::error_of;
using testing::has;
using testing::slurp;
using testing::TemporaryFolder;

TEST(AtomicFile, AppearsWholeOrNotAtAll) {
    const TemporaryFolder folder;
    const std::string path = folder / "rates ü.bin";
    {
        AtomicFile file(path);
        file.write("half");
        EXPECT_FALSE(std::filesystem::exists(path));
    }
    EXPECT_TRUE(testing::entries_of(folder.path()).empty());
    write_file_atomically(path, std::string("a\0b", 3));
    EXPECT_EQ(slurp(path), std::string("a\0b", 3));
    write_file_atomically(path, "new");
    EXPECT_EQ(slurp(path), "new");
    EXPECT_EQ(testing::entries_of(folder.path()).size(), 1U);
    const mode_t mask = umask(0);
    umask(mask);
    struct stat status {};
    ASSERT_EQ(stat(path.c_str(), &status), 0);
    EXPECT_EQ(status.st_mode & 0777U, 0666U & ~mask);
}

TEST(AtomicFile, SaysWhyItCannot) {
    const TemporaryFolder folder;
    const Error missing = error_of([&] { write_file_atomically(folder / "no/such/x", "a"); });
    EXPECT_EQ(missing.kind(), ErrorKind::output);
    EXPECT_TRUE(has(missing.what(), "No such file")) << missing.what();
    if (geteuid() != 0) {
        chmod(folder.path().c_str(), 0500);
        EXPECT_EQ(error_of([&] { write_file_atomically(folder / "x", "a"); }).kind(),
                  ErrorKind::output);
        chmod(folder.path().c_str(), 0700);
    }
    // A folder in the file's place: the rename fails and the partial file goes away.
    std::filesystem::create_directories(folder / "taken/inside");
    EXPECT_EQ(error_of([&] { write_file_atomically(folder / "taken", "a"); }).kind(),
              ErrorKind::output);
    EXPECT_EQ(testing::entries_of(folder.path()).size(), 1U);
}

// /dev/full takes no byte: what a full disk does.
TEST(AtomicFile, NoticesAFullDisk) {
    if (!std::filesystem::exists("/dev/full")) GTEST_SKIP();
    const TemporaryFolder folder;
    const Error error = error_of([&] {
        AtomicFile file(folder / "x");
        const int full = open("/dev/full", O_WRONLY | O_CLOEXEC);
        // The file's own descriptor is the one opened last before: put the full device in its
        // place.
        ASSERT_GT(full, 0);
        dup2(full, full - 1);
        close(full);
        file.write("some bytes");
    });
    EXPECT_EQ(error.kind(), ErrorKind::output);
    EXPECT_TRUE(has(error.what(), "No space left")) << error.what();
    EXPECT_TRUE(testing::entries_of(folder.path()).empty());
}

TEST(ReadFile, ReadsOrSays) {
    const TemporaryFolder folder;
    testing::write_text(folder / "x", "hello");
    EXPECT_EQ(read_file(folder / "x"), "hello");
    EXPECT_EQ(error_of([&] { read_file(folder / "x", 4); }).kind(), ErrorKind::input);
    EXPECT_EQ(error_of([&] { read_file(folder / "y"); }).kind(), ErrorKind::input);
    EXPECT_EQ(error_of([&] { read_file(folder.path()); }).kind(), ErrorKind::input);
}

TEST(StagedFolder, AppearsAtTheEnd) {
    const TemporaryFolder folder;
    const std::string target = folder / "plan";
    {
        const StagedFolder staged(target, false);
        write_file_atomically(staged.path() + "/a", "1");
        EXPECT_FALSE(std::filesystem::exists(target));
    }
    EXPECT_TRUE(testing::entries_of(folder.path()).empty());
    {
        StagedFolder staged(target + "/", false);
        write_file_atomically(staged.folder("rates") + "/a", "1");
        staged.commit();
    }
    EXPECT_EQ(slurp(target + "/rates/a"), "1");
    EXPECT_EQ(testing::entries_of(folder.path()).size(), 1U);
    EXPECT_EQ(error_of([&] { StagedFolder(target, false); }).kind(), ErrorKind::usage);
    {
        StagedFolder staged(target, true);
        write_file_atomically(staged.path() + "/b", "2");
        staged.commit();
    }
    EXPECT_FALSE(std::filesystem::exists(target + "/rates"));
    EXPECT_EQ(slurp(target + "/b"), "2");
    EXPECT_EQ(testing::entries_of(folder.path()).size(), 1U);
}

TEST(StagedFolder, KeepsTwoRunsApart) {
    const TemporaryFolder folder;
    const StagedFolder first(folder / "plan", false);
    const Error error = error_of([&] { StagedFolder(folder / "plan", true); });
    EXPECT_EQ(error.kind(), ErrorKind::output);
    EXPECT_TRUE(has(error.what(), "another run"));
    const StagedFolder other(folder / "other", false);
}

TEST(StagedFolder, RefusesOddTargets) {
    const TemporaryFolder folder;
    testing::write_text(folder / "file", "x");
    EXPECT_EQ(error_of([&] { StagedFolder(folder / "file", true); }).kind(), ErrorKind::usage);
    EXPECT_EQ(error_of([&] { StagedFolder(folder / "..", true); }).kind(), ErrorKind::usage);
    EXPECT_EQ(error_of([&] { StagedFolder("/", true); }).kind(), ErrorKind::usage);
    EXPECT_EQ(error_of([&] { StagedFolder(folder / "no/such/plan", true); }).kind(),
              ErrorKind::output);
    EXPECT_EQ(slurp(folder / "file"), "x");
}

TEST(StagedFolder, LastingOneIsFoundAgain) {
    const TemporaryFolder folder;
    {
        StagedFolder staged(folder / "plan", false, Staging::lasting);
        EXPECT_FALSE(staged.found());
        EXPECT_EQ(staged.path(), folder / ".plan.partial");
        testing::write_text(staged.path() + "/a", "1");
        staged.keep();
    }
    EXPECT_EQ(testing::entries_of(folder.path()), std::vector<std::string>{".plan.partial"});
    {
        StagedFolder staged(folder / "plan", false, Staging::lasting);
        EXPECT_TRUE(staged.found());
        EXPECT_EQ(slurp(staged.path() + "/a"), "1");
        testing::write_text(staged.path() + "/journal", "j");
        staged.commit("journal");
    }
    EXPECT_EQ(testing::entries_of(folder.path()), std::vector<std::string>{"plan"});
    EXPECT_EQ(testing::entries_of(folder / "plan"), std::vector<std::string>{"a"});
    {
        StagedFolder staged(folder / "other", false, Staging::lasting);
        testing::write_text(staged.path() + "/a", "1");
        staged.clear();
        EXPECT_TRUE(testing::entries_of(staged.path()).empty());
        staged.keep();
        staged.keep(false);
    }
    EXPECT_EQ(testing::entries_of(folder.path()), std::vector<std::string>{"plan"});
}

TEST(StagedFolder, OldTargetMovedAsideByAKilledRunComesBack) {
    const TemporaryFolder folder;
    std::filesystem::create_directory(folder / ".plan.partial-old");
    testing::write_text(folder / ".plan.partial-old/a", "old");
    EXPECT_EQ(error_of([&] { StagedFolder(folder / "plan", false, Staging::lasting); }).kind(),
              ErrorKind::usage);
    EXPECT_EQ(slurp(folder / "plan/a"), "old");
    // Killed later, when the new one was in place already: the old one goes.
    std::filesystem::create_directory(folder / ".plan.partial-old");
    { const StagedFolder staged(folder / "plan", true, Staging::lasting); }
    EXPECT_EQ(testing::entries_of(folder.path()), std::vector<std::string>{"plan"});
}

TEST(StagedFolder, NameTakenByAnotherThingIsRefused) {
    const TemporaryFolder folder;
    testing::write_text(folder / ".plan.partial", "a file");
    const auto kind = [&] {
        return error_of([&] { StagedFolder(folder / "plan", false, Staging::lasting); }).kind();
    };
    EXPECT_EQ(kind(), ErrorKind::output);
    EXPECT_EQ(slurp(folder / ".plan.partial"), "a file");
    std::filesystem::remove(folder / ".plan.partial");
    std::filesystem::create_symlink(folder.path(), folder / ".plan.partial");
    EXPECT_EQ(kind(), ErrorKind::output);
    std::filesystem::remove(folder / ".plan.partial");
    if (::geteuid() == 0) {  // only root can make a folder of somebody else's
        std::filesystem::create_directory(folder / ".plan.partial");
        ASSERT_EQ(::chown((folder / ".plan.partial").c_str(), 1234, 1234), 0);
        EXPECT_EQ(kind(), ErrorKind::output);
    }
}

std::vector<std::string> names_behind(const std::string& path) {
    std::vector<std::string> names;
    for (const FileStamp& stamp : files_behind(path))
        names.push_back(std::filesystem::path(stamp.path).filename().string());
    return names;
}

TEST(FilesBehind, PartsAndNamedRastersAreFound) {
    const TemporaryFolder folder;
    testing::write_text(folder / "a.csv", "x,y,v\n1,2,3\n");
    EXPECT_EQ(names_behind(folder / "a.csv"), std::vector<std::string>{"a.csv"});
    EXPECT_EQ(files_behind(folder / "a.csv").front().bytes, 12U);
    EXPECT_GT(files_behind(folder / "a.csv").front().modified_ns, 0U);
    testing::write_text(folder / "grid.asc",
                        "ncols 2\nnrows 1\nxllcorner 0\nyllcorner 0\ncellsize 1\n1 2\n");
    testing::write_text(folder / "grid.prj", "PROJCS[]");
    const auto grid = names_behind(folder / "grid.asc");
    EXPECT_NE(std::find(grid.begin(), grid.end(), "grid.prj"), grid.end());
    std::filesystem::create_directory(folder / "set");
    testing::write_text(folder / "set/one", "1");
    testing::write_text(folder / "set/two", "2");
    EXPECT_EQ(names_behind(folder / "set"), (std::vector<std::string>{"one", "two"}));
}

TEST(FilesBehind, ArchivesStandForTheirContent) {
    const TemporaryFolder folder;
    testing::write_text(folder / "a.zip", "no archive at all");
    EXPECT_EQ(names_behind("/vsizip/" + (folder / "a.zip/in/b.tif")),
              std::vector<std::string>{"a.zip"});
    EXPECT_EQ(names_behind("/vsizip//" + (folder / "a.zip/b.tif")),
              std::vector<std::string>{"a.zip"});
    EXPECT_TRUE(names_behind("/vsicurl/https://example.org/a.tif").empty());
    EXPECT_TRUE(names_behind(folder / "none.tif").empty());
    EXPECT_TRUE(names_behind("").empty());
}

}  // namespace
}  // namespace catchfield::gis

// SPDX-License-Identifier: MIT
#include "gis/files.hpp"

#include "support.hpp"

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
    write_file_atomically(path, "new", false);
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
        write_file_atomically(staged.path() + "/a", "1", false);
        EXPECT_FALSE(std::filesystem::exists(target));
    }
    EXPECT_TRUE(testing::entries_of(folder.path()).empty());
    {
        StagedFolder staged(target + "/", false);
        write_file_atomically(staged.folder("rates") + "/a", "1", false);
        staged.commit();
    }
    EXPECT_EQ(slurp(target + "/rates/a"), "1");
    EXPECT_EQ(testing::entries_of(folder.path()).size(), 1U);
    EXPECT_EQ(error_of([&] { StagedFolder(target, false); }).kind(), ErrorKind::usage);
    {
        StagedFolder staged(target, true);
        write_file_atomically(staged.path() + "/b", "2", false);
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

}  // namespace
}  // namespace catchfield::gis

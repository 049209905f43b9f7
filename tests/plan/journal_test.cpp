// SPDX-License-Identifier: MIT
// The journal of finished fields: torn ends, flipped bits, records of another make.
#include "plan/journal.hpp"

#include "base/error.hpp"
#include "base/random.hpp"
#include "plan/bytes.hpp"
#include "plan/fingerprint.hpp"
#include "plan/finished_field.hpp"
#include "support/temporary_folder.hpp"

#include <algorithm>
#include <thread>

namespace catchfield::testing {
namespace {

using plan::Journal;

std::vector<std::string> payloads_of(const std::string& path) {
    const Journal journal(path, Journal::Open::append);
    std::vector<std::string> payloads;
    for (const Journal::Record& record : journal.found())
        payloads.push_back(journal.read(record).value_or("damaged"));
    return payloads;
}

class JournalTest : public ::testing::Test {
  protected:
    void SetUp() override {
        Journal journal(path, Journal::Open::append);
        for (std::size_t i = 0; i < texts.size(); ++i)
            journal.append(Journal::Kind::field, 100 + i, i, texts[i]);
    }
    const TemporaryFolder folder;
    const std::string path = folder / "fields.journal";
    const std::vector<std::string> texts = {"north", std::string(200, 'x'), "", "creek"};
};

TEST_F(JournalTest, ComesBackInOrder) {
    EXPECT_EQ(payloads_of(path), texts);
    const Journal journal(path, Journal::Open::read);
    ASSERT_EQ(journal.found().size(), 4U);
    for (std::size_t i = 0; i < 4; ++i) {
        EXPECT_EQ(journal.found()[i].kind, Journal::Kind::field);
        EXPECT_EQ(journal.found()[i].key, 100 + i);
        EXPECT_EQ(journal.found()[i].number, i);
    }
}

TEST_F(JournalTest, GoesOnAfterEveryTornEnd) {
    const std::string whole = slurp(path);
    std::size_t kept_before = 0;
    for (std::size_t length = 0; length <= whole.size(); ++length) {
        write_text(path, whole.substr(0, length));
        std::vector<std::string> kept = payloads_of(path);
        ASSERT_GE(kept.size(), kept_before);  // a longer file never holds fewer
        kept_before = kept.size();
        for (std::size_t i = 0; i < kept.size(); ++i) ASSERT_EQ(kept[i], texts[i]);
        Journal(path, Journal::Open::append).append(Journal::Kind::field, 1, 9, "after");
        kept.emplace_back("after");
        ASSERT_EQ(payloads_of(path), kept) << "cut to " << length << " bytes";
    }
    EXPECT_EQ(kept_before, texts.size());
}

TEST_F(JournalTest, FlippedBitCostsNoMoreThanItsRecordOrTheRest) {
    const std::string whole = slurp(path);
    for (std::size_t at = 0; at < whole.size(); ++at) {
        std::string bent = whole;
        bent[at] = static_cast<char>(bent[at] ^ (1 << (at % 8)));
        write_text(path, bent);
        const std::vector<std::string> kept = payloads_of(path);
        for (std::size_t i = 0; i < kept.size(); ++i)
            ASSERT_TRUE(kept[i] == texts[i] || kept[i] == "damaged") << "bit of byte " << at;
        const auto damaged = std::count(kept.begin(), kept.end(), "damaged");
        ASSERT_TRUE(kept.size() < texts.size() || damaged == 1) << "bit of byte " << at;
    }
}

TEST_F(JournalTest, WhatIsNoJournalIsStartedAnewOrRefused) {
    write_text(path, "something else entirely");
    EXPECT_THROW(Journal(path, Journal::Open::read), Error);
    EXPECT_THROW(Journal(folder / "none", Journal::Open::read), Error);
    EXPECT_TRUE(payloads_of(path).empty());
    EXPECT_TRUE(Journal(path, Journal::Open::read).found().empty());
}

TEST_F(JournalTest, IsNotFollowedThroughALink) {
    const std::string other = write_text(folder / "other", "mine");
    std::filesystem::create_symlink(other, folder / "link");
    EXPECT_THROW(Journal(folder / "link", Journal::Open::append), Error);
    EXPECT_EQ(slurp(other), "mine");
}

TEST_F(JournalTest, ManyThreadsAppend) {
    {
        Journal journal(path, Journal::Open::append);
        journal.clear();
        std::vector<std::thread> threads;
        for (std::size_t t = 0; t < 4; ++t) {
            threads.emplace_back([&journal, t] {
                for (std::size_t i = 0; i < 200; ++i) {
                    const std::size_t number = t * 200 + i;
                    const auto record = journal.append(Journal::Kind::field, number, number,
                                                       std::string(number, 'f'));
                    EXPECT_EQ(journal.read(record), std::string(number, 'f'));
                }
            });
        }
        for (std::thread& thread : threads) thread.join();
    }
    const Journal journal(path, Journal::Open::read);
    ASSERT_EQ(journal.found().size(), 800U);
    std::vector<bool> seen(800, false);
    for (const Journal::Record& record : journal.found()) {
        EXPECT_EQ(journal.read(record), std::string(record.number, 'f'));
        EXPECT_FALSE(seen[record.number]);
        seen[record.number] = true;
    }
}

TEST_F(JournalTest, IndexComesBack) {
    const Journal journal(path, Journal::Open::read);
    const std::string bytes = encode(journal.found());
    const auto again = plan::decode_index(bytes);
    ASSERT_EQ(again.size(), 4U);
    for (std::size_t i = 0; i < 4; ++i) EXPECT_EQ(journal.read(again[i]), texts[i]);
    for (std::size_t length = 0; length < bytes.size(); ++length)
        EXPECT_THROW(plan::decode_index(bytes.substr(0, length)), plan::Damaged);
}

plan::FinishedField example() {
    plan::FinishedField field;
    field.record.id = "Nördliche Wiese";
    field.record.stem = "N-rdliche-Wiese";
    field.record.status = plan::FieldStatus::partly;
    field.record.reasons = {"no soil", ""};
    field.record.area_ha = 0.1 + 0.2;
    field.record.zones = 2;
    field.record.raster_total = -0.0;
    field.files = {{"rates/a-seed.tif", 12, 34}, {"report/a.html", 0, 0}};
    const MultiPolygon shape = {
        {{{0, 0}, {9, 0}, {9, 9}, {0, 0}}, {{{1, 1}, {2, 1}, {2, 2}, {1, 1}}}}, {}};
    field.rows.field = {shape, {std::string("id"), gis::Value(), -7LL, 1e-300}, -1};
    field.rows.zones = {{shape, {1.5}, -1}, {{}, {}, -1}};
    field.rows.options = {{std::string("rye"), 2LL}, {}};
    field.rows.probes = {{{3.0, 4.0}, {std::string()}}};
    field.zone_rows = "a,b\n";
    field.zone_features = "{}";
    field.budget_rows = std::string("\0,\n", 3);
    field.json = "    {}";
    field.index.row = "<tr>";
    field.index.shade = 3;
    field.index.box = {1, 2, 3, 4};
    field.line = "12 ac";
    return field;
}

TEST(FinishedFieldTest, BytesGiveTheSameField) {
    const std::string bytes = encode(example());
    const plan::FinishedField again = plan::decode_finished_field(bytes);
    EXPECT_EQ(encode(again), bytes);
    EXPECT_EQ(again.record.id, "Nördliche Wiese");
    EXPECT_EQ(again.record.area_ha, 0.1 + 0.2);
    EXPECT_EQ(again.rows.field.shape, example().rows.field.shape);
    EXPECT_EQ(again.rows.field.values, example().rows.field.values);
    EXPECT_EQ(again.files[0].xxh64, 34U);
    EXPECT_EQ(again.index.box, (Box{1, 2, 3, 4}));
    EXPECT_EQ(again.budget_rows.size(), 3U);
}

TEST(FinishedFieldTest, BytesThatEndEarlyOrGoOnAreRefused) {
    const std::string bytes = encode(example());
    for (std::size_t length = 0; length < bytes.size(); ++length)
        ASSERT_THROW(plan::decode_finished_field(bytes.substr(0, length)), plan::Damaged) << length;
    EXPECT_THROW(plan::decode_finished_field(bytes + "x"), plan::Damaged);
}

TEST(FinishedFieldTest, NoBytesCrashIt) {
    const std::string bytes = encode(example());
    Random random(20);
    std::size_t refused = 0;
    for (int i = 0; i < 20'000; ++i) {
        std::string bent = bytes;
        for (int flips = 0; flips < 3; ++flips)
            bent[random.below(bent.size())] = static_cast<char>(random.below(256));
        try {
            plan::decode_finished_field(bent);
        } catch (const plan::Damaged&) {
            ++refused;
        }
    }
    EXPECT_GT(refused, 1000U);
}

TEST(FinishedFieldTest, NamesThatLeadElsewhereAreRefused) {
    for (const char* name : {"../rates/a.tif", "rates/../../a.tif", "/etc/passwd", "rates/",
                             "a.tif", "rates/.hidden", "rates/a/b.tif", "other/a.tif", ""}) {
        plan::FinishedField field = example();
        field.files[0].name = name;
        EXPECT_THROW(plan::decode_finished_field(encode(field)), plan::Damaged) << name;
    }
}

TEST(FinishedFieldTest, FilesAreBelievedByTheirBytes) {
    const TemporaryFolder folder;
    std::filesystem::create_directory(folder / "rates");
    write_text(folder / "rates/a.tif", "abc");
    // XXH64 of "abc" with seed 0: 44BC2CF5AD770999 (test vectors of the xxHash specification).
    const std::vector<plan::FilePrint> files = {{"rates/a.tif", 3, 0x44BC2CF5AD770999}};
    EXPECT_TRUE(plan::files_agree(files, folder.path()));
    write_text(folder / "rates/a.tif", "abd");
    EXPECT_FALSE(plan::files_agree(files, folder.path()));
    std::filesystem::remove(folder / "rates/a.tif");
    EXPECT_FALSE(plan::files_agree(files, folder.path()));
}

TEST(FileHash, BlockByBlockIsTheWhole) {
    const TemporaryFolder folder;
    for (const std::size_t size : {0UL, 1UL, 1UL << 20, (3UL << 20) + 17}) {
        std::string bytes(size, 'a');
        for (std::size_t i = 0; i < size; ++i) bytes[i] = static_cast<char>(i * 31 % 251);
        std::ofstream(folder / "f", std::ios::binary) << bytes;
        const plan::FileHash hash = plan::hash_of_file(folder / "f");
        EXPECT_EQ(hash.bytes, size);
        EXPECT_EQ(hash.xxh64, plan::xxh64(bytes));
    }
    EXPECT_THROW(plan::hash_of_file(folder / "none"), Error);
}

}  // namespace
}  // namespace catchfield::testing

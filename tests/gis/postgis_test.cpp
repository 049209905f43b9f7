// SPDX-License-Identifier: MIT
// Connections as users write them; what needs a server is in tests/cluster.
#include "gis/postgis.hpp"

#include "base/error.hpp"

#include <gtest/gtest.h>

namespace catchfield::gis {
namespace {

bool accepted(const std::string& connection, const std::string& schema = "catchfield") {
    try {
        require_postgis_target({connection, schema});
        return true;
    } catch (const Error& error) {
        EXPECT_EQ(error.kind(), ErrorKind::usage);
        EXPECT_EQ(std::string(error.what()).find("secret"), std::string::npos) << error.what();
        return false;
    }
}

// The rules for KEY=VALUE words are libpq's (PostgreSQL 15 manual, 34.1.1.1, read: high).
TEST(PostgisTarget, TakesKeyValueWords) {
    EXPECT_TRUE(accepted("PG:"));
    EXPECT_TRUE(accepted("PG:dbname=farm"));
    EXPECT_TRUE(accepted("PG: dbname = farm  host=db\tport =5432 "));
    EXPECT_TRUE(accepted("PG:dbname='the farm' password='it\\'s secret\\\\'"));
    EXPECT_TRUE(accepted("PG:password=with\\ blank user=''"));
    EXPECT_TRUE(accepted("PG:password="));
}

TEST(PostgisTarget, RefusesOtherTextsWithoutRepeatingThem) {
    for (const char* text :
         {"", "dbname=secret", "pg:dbname=secret", "PG:secret", "PG:dbname=farm secret",
          "PG:password=my secret", "PG:password='secret", "PG:password='secret\\'", "PG:=secret",
          "PG:postgresql://me:secret@db/farm", "postgresql://me:secret@db/farm", "PG:'secret'"}) {
        EXPECT_FALSE(accepted(text)) << text;
    }
}

TEST(PostgisTarget, SchemaNames) {
    EXPECT_TRUE(accepted("PG:", "a"));
    EXPECT_TRUE(accepted("PG:", "_farm_2026"));
    EXPECT_TRUE(accepted("PG:", std::string(63, 'a')));
    for (const std::string& schema :
         {std::string(), std::string("2026"), std::string("Farm"), std::string("a b"),
          std::string("a\""), std::string("a;b"), std::string("a.b"), std::string(64, 'a')}) {
        EXPECT_FALSE(accepted("PG:", schema)) << schema;
    }
}

TEST(PostgisTarget, ShowsNoPassword) {
    EXPECT_EQ(shown_connection("PG:dbname=farm password=secret host=db"), "PG:dbname=farm host=db");
    EXPECT_EQ(shown_connection("PG:PASSWORD = 'my secret' user=me"), "PG:user=me");
    EXPECT_EQ(shown_connection("PG:sslpassword=secret service=farm sslkey=/k"), "PG:service=farm");
    // Not even where it stands in another word.
    EXPECT_EQ(shown_connection("PG:password=secret dbname=secretfarm"), "PG:dbname=***farm");
    EXPECT_EQ(shown_connection("PG:user=me password=my secret"), "PG:user=me");
}

}  // namespace
}  // namespace catchfield::gis

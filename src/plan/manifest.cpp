// SPDX-License-Identifier: MIT
#include "plan/manifest.hpp"

#include "base/table.hpp"
#include "base/text.hpp"
#include "gis/files.hpp"
#include "plan/fingerprint.hpp"

#include <charconv>

namespace catchfield::plan {

std::string manifest_header() {
    return csv_row({"file", "bytes", "xxh64"});
}

std::string manifest_row(const FilePrint& file) {
    return csv_row({file.name, std::to_string(file.bytes), xxh64_text(file.xxh64)});
}

FilePrint print_of_file(const std::string& folder, const std::string& name) {
    const FileHash hash = hash_of_file(folder + "/" + name);
    return {name, hash.bytes, hash.xxh64};
}

std::vector<FilePrint> read_manifest(const std::string& folder) {
    const std::string path = folder + "/" + manifest_name;
    const Table table = Table::parse(gis::read_file(path), path);
    table.require({"file", "bytes", "xxh64"});
    std::vector<FilePrint> files;
    for (std::size_t row = 0; row < table.rows(); ++row) {
        FilePrint file;
        file.name = table.text(row, "file");
        const auto bytes = parse_integer(table.text(row, "bytes"));
        const std::string& digits = table.text(row, "xxh64");
        const auto [end, error] =
            std::from_chars(digits.data(), digits.data() + digits.size(), file.xxh64, 16);
        if (file.name.empty() || !bytes || *bytes < 0) table.fail(row, "file", "no file and size");
        if (error != std::errc() || digits.size() != 16 || end != digits.data() + 16) {
            table.fail(row, "xxh64", "'" + digits + "' is no fingerprint");
        }
        file.bytes = static_cast<std::uint64_t>(*bytes);
        files.push_back(std::move(file));
    }
    return files;
}

}  // namespace catchfield::plan

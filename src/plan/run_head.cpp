// SPDX-License-Identifier: MIT
#include "plan/run_head.hpp"

#include "plan/bytes.hpp"
#include "plan/run_json.hpp"

namespace catchfield::plan {

RunHead run_head(const Inputs& inputs, const std::optional<Share>& share) {
    RunHead head;
    head.job = inputs.job;
    head.rate_unit = inputs.rate_unit;
    head.warnings = inputs.warnings;
    head.package_crs = gis::work_crs(inputs.fields.front().shape, inputs.boundary_crs);
    head.json = run_json_head(inputs);
    head.fields = inputs.fields.size();
    head.share = share;
    return head;
}

std::string encode(const RunHead& head) {
    ByteWriter out;
    out.whole(head.job.values.size());
    for (const auto& [key, value] : head.job.values) {
        out.text(key);
        out.text(value);
    }
    out.text(prescription::unit_name(head.rate_unit));
    out.texts(head.warnings);
    const std::string& code = head.package_crs.code();
    out.text(code.empty() ? head.package_crs.wkt() : code);
    out.text(head.json);
    out.whole(head.fields);
    const Share share = head.share.value_or(Share{0, 0});
    out.whole(share.index);
    out.whole(share.count);
    return out.take();
}

RunHead decode_run_head(std::string_view bytes) {
    ByteReader in(bytes);
    RunHead head;
    JobValues values;
    for (std::size_t left = in.count(); left > 0; --left) {
        const std::string key = in.text();
        values[key] = in.text();
    }
    head.job = make_job(values, "");
    head.rate_unit = prescription::parse_rate_unit(in.text());
    head.warnings = in.texts();
    head.package_crs = gis::Crs::from_user_input(in.text(), "the journal");
    head.json = in.text();
    head.fields = in.whole();
    Share share;
    share.index = in.whole();
    share.count = in.whole();
    if (share.count > 0) head.share = share;
    in.end();
    return head;
}

}  // namespace catchfield::plan

// SPDX-License-Identifier: MIT
// Any bytes as a job file: a job, or an error that says what is wrong.
#include "plan/job.hpp"
#include "target.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    using namespace catchfield;
    fuzz::fair([&] {
        const std::string text(reinterpret_cast<const char*>(data), size);
        const plan::JobValues values = plan::parse_job_values(text, "job.ini");
        const plan::Job job = plan::make_job(values, "/farm");
        // What run.json records makes the same job again.
        const plan::JobValues resolved = plan::resolved_values(job);
        plan::Job again;
        const bool accepted = fuzz::fair([&] { again = plan::make_job(resolved, "/farm"); });
        fuzz::require(accepted, "the resolved settings of a job are a job");
        fuzz::require(plan::resolved_values(again) == resolved, "resolving twice changes nothing");
    });
    return 0;
}

// SPDX-License-Identifier: MIT
// Prints how much of each field of a job has a soil polygon: readiness JOB.INI
#include <catchfield/base/error.hpp>
#include <catchfield/plan/check.hpp>
#include <catchfield/plan/job.hpp>

#include <filesystem>
#include <iostream>

int main(int argc, char** argv) {
    if (argc != 2) {
        std::cerr << "usage: readiness JOB.INI\n";
        return 2;
    }
    namespace plan = catchfield::plan;
    try {
        const std::filesystem::path file = argv[1];
        const plan::Job job = plan::make_job(plan::read_job_values(file), file.parent_path());
        for (const plan::FieldReadiness& field : plan::check_job(job, false, false).fields) {
            std::cout << field.field << ": " << field.area_ha << " ha, soil polygons on "
                      << 100.0 * field.mapped << " %\n";
        }
    } catch (const catchfield::Error& error) {
        std::cerr << error.what() << "\n";
        return 1;
    }
}

// SPDX-License-Identifier: MIT
// A plan's results in words and pictures: one page a field, and an index.
#pragma once

#include "plan/inputs.hpp"
#include "plan/result.hpp"

#include <string>

namespace catchfield::plan {

/// The report of one field, a complete HTML file.
std::string field_page(const Inputs& inputs, const FieldResult& result);

/// The index over all fields; rows are added in the order of the fields.
class IndexPage {
  public:
    void add(const Inputs& inputs, const FieldResult& result);
    std::string text(const Inputs& inputs) const;

  private:
    std::vector<std::vector<std::string>> m_rows;
    std::vector<std::string> m_problems;
};

}  // namespace catchfield::plan

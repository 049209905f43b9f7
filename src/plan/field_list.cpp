// SPDX-License-Identifier: MIT
#include "plan/field_list.hpp"

namespace catchfield::plan {

void FieldList::add(FieldBoundary field) {
    m_shapes.add(field.shape);
    m_names.push_back({std::move(field.id), std::move(field.stem), field.fid});
}

void FieldList::rename(std::size_t position, const std::string& id, const std::string& stem) {
    m_names.at(position).id = id;
    m_names.at(position).stem = stem;
}

void FieldList::finish() {
    m_names.shrink_to_fit();
    m_shapes.finish();
}

FieldBoundary FieldList::operator[](std::size_t position) const {
    const Names& names = m_names.at(position);
    return {names.id, names.stem, names.fid, m_shapes.shape(position)};
}

}  // namespace catchfield::plan

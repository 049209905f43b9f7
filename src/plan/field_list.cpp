// SPDX-License-Identifier: MIT
#include "plan/field_list.hpp"

namespace catchfield::plan {

void FieldList::add(long long fid, const MultiPolygon& shape) {
    m_shapes.add(shape);
    m_fids.push_back(fid);
}

void FieldList::finish(const std::vector<std::string>& ids, const std::vector<std::string>& stems) {
    m_names.reserve(m_fids.size());
    for (std::size_t i = 0; i < m_fids.size(); ++i) {
        m_text += ids.at(i);
        const std::size_t id_end = m_text.size();
        m_text += stems.at(i);
        m_names.push_back({id_end, m_text.size()});
    }
    m_text.shrink_to_fit();
    m_fids.shrink_to_fit();
    m_shapes.finish();
}

FieldBoundary FieldList::operator[](std::size_t position) const {
    const auto [id_end, stem_end] = m_names.at(position);
    const std::size_t begin = position == 0 ? 0 : m_names[position - 1].stem_end;
    return {m_text.substr(begin, id_end - begin), m_text.substr(id_end, stem_end - id_end),
            m_fids[position], m_shapes.shape(position)};
}

}  // namespace catchfield::plan

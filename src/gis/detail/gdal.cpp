// SPDX-License-Identifier: MIT
#include "gis/detail/gdal.hpp"

#include <cpl_conv.h>
#include <cpl_vsi.h>

#include <atomic>
#include <map>
#include <memory>

namespace catchfield::gis::detail {

ErrorScope::ErrorScope() {
    CPLPushErrorHandlerEx(&ErrorScope::collect, this);
}

ErrorScope::~ErrorScope() {
    CPLPopErrorHandler();
    CPLErrorReset();
}

void CPL_STDCALL ErrorScope::collect(CPLErr level, CPLErrorNum, const char* message) {
    auto* scope = static_cast<ErrorScope*>(CPLGetErrorHandlerUserData());
    constexpr std::size_t most = 20;
    if (level >= CE_Failure) {
        if (scope->m_failure.empty()) scope->m_failure = message;
        if (scope->m_failure.empty()) scope->m_failure = "no reason given";
    } else if (level == CE_Warning && scope->m_warnings.size() < most) {
        for (const std::string& known : scope->m_warnings) {
            if (known == message) return;
        }
        scope->m_warnings.emplace_back(message);
    }
}

std::string ErrorScope::words() const {
    if (!m_failure.empty()) return m_failure;
    return m_warnings.empty() ? std::string() : m_warnings.front();
}

void ErrorScope::fail(ErrorKind kind, const std::string& reason, ErrorContext context) const {
    std::string said = words();
    while (!said.empty() && (said.back() == '.' || said.back() == '\n' || said.back() == ' ')) {
        said.pop_back();
    }
    throw Error(kind, said.empty() ? reason : reason + ": " + said, std::move(context));
}

MemoryFile::MemoryFile(const std::string& name) {
    static std::atomic<unsigned long long> counter{0};
    m_folder = "/vsimem/catchfield-" + std::to_string(counter.fetch_add(1));
    m_path = m_folder + "/" + name;
}

MemoryFile::~MemoryFile() {
    VSIRmdirRecursive(m_folder.c_str());
}

std::string MemoryFile::take() {
    return take_memory_file(m_path);
}

std::string take_memory_file(const std::string& path) {
    vsi_l_offset length = 0;
    GByte* buffer = VSIGetMemFileBuffer(path.c_str(), &length, TRUE);
    if (buffer == nullptr) {
        throw Error(ErrorKind::internal, "nothing was written to " + path);
    }
    const std::unique_ptr<GByte, void (*)(void*)> owner(buffer, VSIFree);
    return std::string(reinterpret_cast<const char*>(buffer), static_cast<std::size_t>(length));
}

const OGRSpatialReference& spatial_reference(const Crs& crs) {
    static thread_local std::map<std::string, std::unique_ptr<OGRSpatialReference>> cache;
    auto& entry = cache[crs.wkt()];
    if (!entry) {
        const ErrorScope scope;
        auto reference = std::make_unique<OGRSpatialReference>();
        // A code brings more with it than the text (the code in the file's own keys).
        const bool epsg = crs.code().rfind("EPSG:", 0) == 0;
        const OGRErr error = epsg ? reference->importFromEPSG(std::stoi(crs.code().substr(5)))
                                  : reference->importFromWkt(crs.wkt().c_str());
        if (error != OGRERR_NONE) {
            scope.fail(ErrorKind::internal, "the CRS '" + crs.name() + "' cannot be rebuilt", {});
        }
        reference->SetAxisMappingStrategy(OAMS_TRADITIONAL_GIS_ORDER);
        entry = std::move(reference);
    }
    return *entry;
}

std::string wkt_of(const OGRSpatialReference* reference) {
    if (reference == nullptr || reference->IsEmpty()) return {};
    const ErrorScope scope;
    char* text = nullptr;
    const char* const options[] = {"FORMAT=WKT2_2019", "MULTILINE=NO", nullptr};
    const OGRErr error = reference->exportToWkt(&text, options);
    const std::unique_ptr<char, void (*)(void*)> owner(text, VSIFree);
    return error == OGRERR_NONE && text != nullptr ? std::string(text) : std::string();
}

}  // namespace catchfield::gis::detail

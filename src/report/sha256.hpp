// SPDX-License-Identifier: MIT
// SHA-256, for the page's content security policy.
#pragma once

#include <string>
#include <string_view>

namespace catchfield::report {

/// Digest of the bytes as base64, 44 characters. Source: FIPS 180-4, sections 5 and 6.2; base64 by
/// RFC 4648, section 4.
std::string sha256_base64(std::string_view bytes);

}  // namespace catchfield::report

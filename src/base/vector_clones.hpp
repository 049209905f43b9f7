// SPDX-License-Identifier: MIT
// Loops compiled twice.
#pragma once

/// Before a function whose loops are worth wide vectors: compiled for processors with AVX2 too, and
/// chosen when the program starts. Results are the same to the last bit, because nothing is
/// reordered or contracted. Nothing where the compiler cannot, or a sanitizer would run before its
/// own start.
#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__) && \
    !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__)
#define CATCHFIELD_VECTOR_CLONES [[gnu::target_clones("avx2", "default")]]
#else
#define CATCHFIELD_VECTOR_CLONES
#endif

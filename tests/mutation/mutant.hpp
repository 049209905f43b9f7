// SPDX-License-Identifier: MIT
// Included before a source that scripts/mutate has marked: every marked operator and constant asks
// here, at run time, whether it is the one to be changed. One build so serves all mutants.
//
// A marked operator `a + b` reads `a + mutant::op<7>{} + b`: the first half ties the left operand to
// the mark, the second does the work. Precedence and grouping stay what they were.
#pragma once

#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <functional>
#include <type_traits>
#include <utility>

namespace mutant {

inline constexpr int most = 100000;

/// The mutant of this run; 0: none.
inline const int active = [] {
    const char* number = std::getenv("MUTANT");
    return number != nullptr ? std::atoi(number) : 0;
}();

/// Which marks a run came by: 1 reached, 2 reached but the change does not compile there.
struct Reached {
    unsigned char mark[most] = {};
    ~Reached() {
        const char* path = std::getenv("MUTANT_REACHED");
        if (path == nullptr) return;
        std::FILE* file = std::fopen(path, "a");
        if (file == nullptr) return;
        for (int i = 0; i < most; ++i) {
            if (mark[i] != 0) std::fprintf(file, "%d %d\n", i, mark[i]);
        }
        std::fclose(file);
    }
};
inline Reached reached;

/// True where mark `id` is to be changed now. Constants of the compiler stay as they are.
constexpr bool changed(int id, bool possible = true) {
    if (std::is_constant_evaluated()) return false;
    reached.mark[id] = possible ? 1 : 2;
    return id == active;
}

template <int id>
struct op {};
template <int id, typename A>
struct left {
    const A& a;
};

// MUTANT_OPERATOR(as written, instead)
#define MUTANT_OPERATOR(sign, other)                                                              \
    template <int id, typename A>                                                                 \
    constexpr left<id, A> operator sign(const A& a, op<id>) {                                     \
        return {a};                                                                               \
    }                                                                                             \
    template <int id, typename A, typename B>                                                     \
    constexpr auto operator sign(left<id, A> l, const B& b)->decltype(l.a sign b) {               \
        if constexpr (requires { static_cast<decltype(l.a sign b)>(l.a other b); }) {             \
            return changed(id) ? static_cast<decltype(l.a sign b)>(l.a other b) : l.a sign b;     \
        } else {                                                                                  \
            changed(id, false);                                                                   \
            return l.a sign b;                                                                    \
        }                                                                                         \
    }
MUTANT_OPERATOR(+, -)
MUTANT_OPERATOR(-, +)
MUTANT_OPERATOR(*, /)
MUTANT_OPERATOR(/, *)
MUTANT_OPERATOR(<, <=)
MUTANT_OPERATOR(<=, <)
MUTANT_OPERATOR(>, >=)
MUTANT_OPERATOR(>=, >)
MUTANT_OPERATOR(==, !=)
MUTANT_OPERATOR(!=, ==)
#undef MUTANT_OPERATOR

// Assignments group from the right: `a += mutant::op<7>{} += b`.
template <int id, typename B>
struct right {
    const B& b;
};
#define MUTANT_ASSIGNMENT(sign, other)                                                            \
    template <int id, typename B>                                                                 \
    constexpr right<id, B> operator sign(op<id>, const B& b) {                                    \
        return {b};                                                                               \
    }                                                                                             \
    template <int id, typename A, typename B>                                                     \
    constexpr A& operator sign(A& a, right<id, B> r) {                                            \
        if constexpr (requires { a other r.b; }) {                                                \
            if (changed(id)) {                                                                    \
                a other r.b;                                                                      \
                return a;                                                                         \
            }                                                                                     \
        } else {                                                                                  \
            changed(id, false);                                                                   \
        }                                                                                         \
        a sign r.b;                                                                               \
        return a;                                                                                 \
    }
MUTANT_ASSIGNMENT(+=, -=)
MUTANT_ASSIGNMENT(-=, +=)
MUTANT_ASSIGNMENT(*=, /=)
MUTANT_ASSIGNMENT(/=, *=)
#undef MUTANT_ASSIGNMENT

/// `!x` reads `mutant::op<7>{}->*!x`, which binds as tightly.
template <int id>
constexpr bool operator->*(op<id>, bool x) {
    return changed(id) ? !x : x;
}

/// Numbers grow: whole ones by 1, others by a quarter (0 becomes 1). Truth is turned round.
template <typename T>
constexpr T constant(int id, T x) {
    if (!changed(id)) return x;
    if constexpr (std::is_same_v<T, bool>) {
        return !x;
    } else if constexpr (std::is_floating_point_v<T>) {
        return x == T(0) ? T(1) : x * T(1.25);
    } else {
        return x + T(1);
    }
}

template <typename A, typename B>
constexpr std::common_type_t<A, B> smaller(int id, const A& a, const B& b) {
    return changed(id) ? std::max(a, b) : std::min(a, b);
}
template <typename A, typename B>
constexpr std::common_type_t<A, B> larger(int id, const A& a, const B& b) {
    return changed(id) ? std::min(a, b) : std::max(a, b);
}

}  // namespace mutant

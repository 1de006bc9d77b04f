#!/bin/sh
# SPDX-License-Identifier: MIT
#
# The core (climate, odds, ramp, grow, plan) calls nothing but itself, mathematics and the memory and string
# functions: no allocation, file, clock or random number; and it keeps nothing between two calls.

set -u
core=$THOLE_BUILD_DIR/daemon/libcore.a
work=$(mktemp -d) || exit 1
trap 'rm -rf "$work"' EXIT

mathematics='a?(sin|cos|tan)h?|sincos|atan2|exp2?|expm1|log(10|1p|2)?|pow|sqrt|cbrt|hypot|floor|ceil|trunc'
mathematics="$mathematics|l?l?(rint|round)|nearbyint|fmod|remainder|fmax|fmin|fabs|fdim|fma|copysign"
mathematics="$mathematics|erfc?|tgamma|ldexp|frexp|modf|nextafter"
allowed="^(($mathematics)[fl]?|(mem|str)[a-z]+|__(mem|str)[a-z]+_chk|__stack_chk_fail|__assert_fail"
allowed="$allowed|_GLOBAL_OFFSET_TABLE_|__(asan|ubsan|gcov)_.*)\$"

# What an archive needs from outside, but must not use.
foreign_calls() {
    nm "$1" | awk 'NF == 3 { print $3 }' | sort -u >"$work/defined"
    nm "$1" | awk 'NF == 2 && $1 == "U" { print $2 }' | sort -u >"$work/used"
    comm -13 "$work/defined" "$work/used" | grep -vE "$allowed"
}

# Objects with memory that can be written to. The sanitizers and the counts of
# --enable-coverage keep some of their own there.
kept_state() {
    nm "$1" | grep -q -e __asan_ -e __gcov_ && return
    size -A "$1" | awk '
        /:$/ || / *\(ex / { object = $1 }
        $1 ~ /^\.t?(data|bss)(\.[^r].*)?$/ && $2 > 0 { print object " " $1 " " $2 " bytes" }'
}

. "$THOLE_SOURCE_DIR/tests/report.sh"

# An archive that breaks both rules.
cat >"$work/bad.c" <<'END'
#include <math.h>
#include <stdlib.h>
#include <string.h>
static int count;
void *bad(double x, void *to);
void *bad(double x, void *to)
{
    count++;
    memset(to, count, (size_t)sin(x));
    return malloc((size_t)count);
}
END
${CC:-cc} -c -o "$work/bad.o" "$work/bad.c" && ar cr "$work/bad.a" "$work/bad.o"
missed=
[ "$(foreign_calls "$work/bad.a")" = malloc ] || missed='malloc was not found'
[ -n "$(kept_state "$work/bad.a")" ] || missed="$missed a static variable was not found"

echo 1..3
report 'the rules find what breaks them' "$missed"
report 'the core calls only mathematics, memory and string functions' "$(foreign_calls "$core")"
report 'the core keeps nothing between calls' "$(kept_state "$core")"

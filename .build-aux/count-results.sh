#!/bin/sh
# SPDX-License-Identifier: MIT
#
# Usage: count-results.sh FILE.trs...
# Prints one line "N passed, N failed, N skipped" for the files that are there. Fails when a test
# failed or none ran.

for file in "$@"; do
    [ ! -e "$file" ] || cat "$file"
done | awk '
/^:test-result: (PASS|XFAIL)/ { passed++ }
/^:test-result: (FAIL|XPASS|ERROR)/ { failed++ }
/^:test-result: SKIP/ { skipped++ }
END {
    printf "%d passed, %d failed, %d skipped\n", passed, failed, skipped
    exit failed > 0 || passed == 0
}'

# SPDX-License-Identifier: MIT
#
# For the scripts that look for offenders: one line of TAP for each rule, what breaks it below.

test_number=0
report() { # WHAT, OFFENDERS or nothing
    test_number=$((test_number + 1))
    if [ -z "$2" ]; then
        echo "ok $test_number - $1"
    else
        echo "not ok $test_number - $1"
        echo "$2" | sed 's/^/# /'
    fi
}

#!/bin/sh
# SPDX-License-Identifier: MIT
#
# That the checker of calendars finds each rule broken, and that an object which was legal when a
# client left it still is when thole's words were put into it. calendar-readers.sh runs the checker
# over what is published.

set -u
work=$(mktemp -d)
mkdir "$work/objects"
trap 'rm -rf "$work"' EXIT
/usr/bin/python3 "$THOLE_SOURCE_DIR/tests/calendar-rfc-samples.py" "$work/objects" >"$work/tap"
status=$?
grep -v '^1\.\.' "$work/tap"
number=$(grep -c '^\(not \)\?ok' "$work/tap")
[ "$status" -eq 0 ] || { echo "Bail out! the samples could not be checked"; exit 1; }

find "$work/objects" -type f | sort >"$work/theirs"
"$THOLE_BUILD_DIR/tests/calendar-merge" <"$work/theirs" || { echo "Bail out! an object could not be merged"; exit 1; }
for merged in "$work"/objects/*.merged.object.ics; do
    number=$((number + 1))
    name=${merged##*/}
    if /usr/bin/python3 "$THOLE_SOURCE_DIR/tests/calendar-rfc.py" --standards "$merged" >"$work/said" 2>&1; then
        echo "ok $number - ${name%%.*} is still legal when merged"
    else
        echo "not ok $number - ${name%%.*} is still legal when merged"
        cat "$work/said" "$merged" | sed 's/^/# /'
    fi
done
echo "1..$number"

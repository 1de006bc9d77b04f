#!/bin/sh
# SPDX-License-Identifier: MIT
#
# Usage: calendar-readers.sh [FOLDER]
# Every calendar that rehearsals of ninety days and the demo publish, at each replacing of the file,
# read by libical and four other libraries: all must read what was meant. With a FOLDER those in it
# instead: a `make check` with THOLE_TEST_CALENDARS=FOLDER leaves there what all tests write.

set -u
modules=$THOLE_BUILD_DIR/test-data/node_modules
tests=$THOLE_SOURCE_DIR/tests
for need in "$modules/ical.js/package.json" "$modules/node-ical/package.json"; do
    [ -e "$need" ] || { echo "1..0 # SKIP ical.js or node-ical is not there; .ci/setup fetches them"; exit 0; }
done
command -v node >/dev/null || { echo "1..0 # SKIP node is not installed"; exit 0; }
/usr/bin/python3 -c 'import icalendar, vobject' 2>/dev/null ||
    { echo "1..0 # SKIP python3-icalendar or python3-vobject is not installed"; exit 0; }

THOLE_TEST_CALENDARS=kept # so that rehearsal-garden.sh takes tholed-kept; the folder follows
. "$tests/rehearsal-garden.sh"
mkdir "$work/season" "$work/demo" "$work/read"
export THOLE_TEST_CALENDARS

read_all() { # FOLDER: what each reader says, in $work/read
    find "$1" -name '*.ics' | sort >"$work/files"
    "$THOLE_BUILD_DIR/tests/calendar-libical" <"$work/files" >"$work/read/libical" &&
        /usr/bin/python3 "$tests/calendar-reader.py" - Europe/London <"$work/files" >"$work/read/icalendar" &&
        /usr/bin/python3 "$tests/calendar-vobject.py" <"$work/files" >"$work/read/vobject" &&
        NODE_PATH=$modules node "$tests/calendar-reader.js" ical.js <"$work/files" >"$work/read/ical.js" &&
        NODE_PATH=$modules node "$tests/calendar-reader.js" node-ical <"$work/files" >"$work/read/node-ical"
}
compare() { # FOLDER
    read_all "$1" && /usr/bin/python3 "$tests/calendar-compare.py" "$1" \
        "libical=$work/read/libical" "icalendar=$work/read/icalendar" "vobject=$work/read/vobject" \
        "ical.js=$work/read/ical.js" "node-ical=$work/read/node-ical" >"$work/compared"
    status=$?
    cat "$work/compared"
    return "$status"
}
compared() { # SENTENCE FOLDER
    check "$1" compare "$2"
    grep '^# ' "$work/compared"
}

if [ $# -eq 1 ]; then
    compared "of all that the tests wrote, all five read what was meant" "$1"
    echo "1..$number"
    exit "$status"
fi

write_garden
write_season "${THOLE_TEST_SEED:-2026}"
THOLE_TEST_CALENDARS=$work/season
check "four batches are told" plant "$work/state"
cp -R "$work/state" "$work/other"
rehearse --state-dir "$work/state" --from 2026-03-15 --to 2026-06-13 --quiet >"$work/out" 2>"$work/err"
check "ninety days are lived through" test $? -eq 0
# Forecasts that err move visits, and days that are missed ask for them again.
rehearse --state-dir "$work/other" --from 2026-03-15 --to 2026-06-13 --quiet --seed 7 \
    --miss 2026-03-21 --miss 2026-03-29 --miss 2026-04-11 >"$work/out" 2>"$work/err"
check "and again, with forecasts that err and days without the grower" test $? -eq 0
check "many calendars were published" test "$(find "$work/season" -name '*.ics' | wc -l)" -gt 60
compared "of ninety days, all five read what was meant" "$work/season"

THOLE_TEST_CALENDARS=$work/demo
THOLE_DEMO_THOLED=$tholed THOLE_DEMO_DIR=$work/demo-run sh "$THOLE_SOURCE_DIR/docs/demo/run.sh" >"$work/out" 2>"$work/err"
check "the demo runs" test $? -eq 0
compared "so of the demo" "$work/demo"

# A reader that misreads is found out: one meaning is changed in one place.
cp -R "$work/demo" "$work/spoilt"
find "$work/spoilt" -name '*.json' -exec sed -i 's/"DISPLAY"/"AUDIO"/' '{}' +
check "a difference is found" sh -c '! "$@" >/dev/null 2>&1' sh /usr/bin/python3 \
    "$tests/calendar-compare.py" "$work/spoilt" "libical=$work/read/libical"

echo "1..$number"

#!/bin/sh
# SPDX-License-Identifier: MIT
#
# Usage: calendar-readers.sh [FOLDER]
# Every calendar that rehearsals of ninety days and the demo publish, at each replacing of the file,
# and every version of each event as the object that a server is given: held to the rules of the
# standards, and read by libical and four other libraries, which all must read what was meant. The
# names are not of ASCII, and clocks change on the way. With a FOLDER what is in it instead: a `make
# check` with THOLE_TEST_CALENDARS=FOLDER leaves there what all tests write.

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
mkdir "$work/demo" "$work/read"
failed=0
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
    [ "$status" -eq 0 ] || failed=$status
    return "$status"
}
compared() { # SENTENCE FOLDER
    check "$1" compare "$2"
    grep '^# ' "$work/compared"
}
by_the_rules() { # SENTENCE FOLDER OPTIONS...
    sentence=$1
    find "$2" -name '*.ics' | sort >"$work/files"
    shift 2
    /usr/bin/python3 "$tests/calendar-rfc.py" "$@" - <"$work/files" >"$work/rules" 2>&1
    status=$?
    [ "$status" -eq 0 ] || failed=$status
    check "$sentence" sh -c 'cat "$1"; exit "$2"' sh "$work/rules" "$status"
    grep '^# ' "$work/rules"
}

if [ $# -eq 1 ]; then
    by_the_rules "all that the tests wrote keeps to the rules" "$1"
    compared "of all that the tests wrote, all five read what was meant" "$1"
    echo "1..$number"
    exit "$failed"
fi

# Names beyond ASCII: of one byte more, of two, and of a script without blanks to fold at.
write_garden
sed -i 's|plot|Gärtchen-über-Häusle|; s|place tunnel|place Süd-Tunnel|; s|inside=tunnel|inside=Süd-Tunnel|
    s|place frame|place 育苗フレーム|; s|place bed|place 畑|; s|inside=bed|inside=畑|' "$work/thole.conf"
seed=${THOLE_TEST_SEED:-2026}
echo "# season of seed $seed (THOLE_TEST_SEED changes it)"
write_season "$seed"
THOLE_TEST_CALENDARS=$work/none
mkdir "$work/none"
check "four batches are told" plant "$work/state" 育苗フレーム 畑
cp -R "$work/state" "$work/other"

# What was published on 15 March is the beginning of both.
cp -R "$work/none" "$work/season"
cp -R "$work/none" "$work/erring"
THOLE_TEST_CALENDARS=$work/season
rehearse --state-dir "$work/state" --from 2026-03-15 --to 2026-06-13 --quiet >"$work/out" 2>"$work/err"
check "ninety days are lived through" test $? -eq 0
# Forecasts that err move visits, and days that are missed ask for them again.
THOLE_TEST_CALENDARS=$work/erring
rehearse --state-dir "$work/other" --from 2026-03-15 --to 2026-06-13 --quiet --seed 7 \
    --miss 2026-03-21 --miss 2026-03-29 --miss 2026-04-11 >"$work/out" 2>"$work/err"
check "and again, with forecasts that err and days without the grower" test $? -eq 0
check "many calendars were published" \
    test "$(find "$work/season" "$work/erring" -name '*.ics' ! -name '*.object.ics' | wc -l)" -gt 60
check "among them events of both sides of the change of clocks" sh -c \
    'grep -qr "^DTSTART:2026032[678]T" "$1" && grep -qr "^DTSTART:202603\(29\|3\)[0-9T]" "$1"' sh "$work/season"
by_the_rules "each version keeps to the rules, and follows from the one before" "$work/season" --history
by_the_rules "so with forecasts that err" "$work/erring" --history
compared "of ninety days, all five read what was meant" "$work/season"
compared "so with forecasts that err" "$work/erring"

THOLE_TEST_CALENDARS=$work/demo
THOLE_DEMO_THOLED=$tholed THOLE_DEMO_DIR=$work/demo-run sh "$THOLE_SOURCE_DIR/docs/demo/run.sh" >"$work/out" 2>"$work/err"
check "the demo runs" test $? -eq 0
by_the_rules "the demo keeps to the rules" "$work/demo" --history
compared "and all five read what was meant" "$work/demo"

# A reader that misreads is found out: one meaning is changed in one place. So is a rule broken.
cp -R "$work/demo" "$work/spoilt"
find "$work/spoilt" -name '*.json' -exec sed -i 's/"DISPLAY"/"AUDIO"/' '{}' +
check "a difference is found" sh -c '! "$@" >/dev/null 2>&1' sh /usr/bin/python3 \
    "$tests/calendar-compare.py" "$work/spoilt" "libical=$work/read/libical"
find "$work/spoilt" -name '*.ics' -exec sed -i 's/^TRIGGER:-/TRIGGER:/' '{}' +
check "and a rule that is broken" sh -c '! find "$1" -name "*.ics" | "$2" "$3" - >/dev/null 2>&1' sh \
    "$work/spoilt" /usr/bin/python3 "$tests/calendar-rfc.py"

echo "1..$number"

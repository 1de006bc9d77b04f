#!/bin/sh
# SPDX-License-Identifier: MIT
#
# The calendars of a rehearsed season, of three growers, on Radicale and Xandikos, followed and
# edited by clients that know nothing of us: vdirsyncer, khal and vobject.

set -u
/usr/bin/python3 -c 'import caldav, icalendar, vobject, xandikos, radicale' 2>/dev/null &&
    command -v vdirsyncer >/dev/null && command -v khal >/dev/null ||
    { echo "1..0 # SKIP Radicale, Xandikos, vdirsyncer, khal and python3-caldav are not all there"; exit 0; }

THOLE_TEST_CALENDARS=kept # so that rehearsal-garden.sh takes tholed-kept; the folder follows
. "$THOLE_SOURCE_DIR/tests/rehearsal-garden.sh"
mkdir "$work/none" "$work/season"
write_garden
seed=${THOLE_TEST_SEED:-2026}
echo "# season of seed $seed (THOLE_TEST_SEED changes it)"
write_season "$seed"
export THOLE_TEST_CALENDARS="$work/none"
check "four batches are told" plant "$work/state"
export THOLE_TEST_CALENDARS="$work/season"
rehearse --state-dir "$work/state" --from 2026-03-15 --to 2026-06-13 --quiet --seed 7 \
    --miss 2026-03-21 --miss 2026-03-29 --miss 2026-04-11 >"$work/out" 2>"$work/err"
check "ninety days are lived through" test $? -eq 0
/usr/bin/python3 "$THOLE_SOURCE_DIR/tests/caldav-season.py" "$work/season" "$work/servers" "$number"

#!/bin/sh
# SPDX-License-Identifier: MIT
#
# The demo is the README's promise: it runs through, and says what matters about its frosty night.

set -u
. "$THOLE_SOURCE_DIR/tests/rehearsal-garden.sh"
echo "1..7"
said="$work/said"
on_line() { tr '\n' ' ' <"$said" | sed 's/  */ /g' | grep -q -- "$1"; }

THOLE_DEMO_THOLED="$tholed" THOLE_DEMO_DIR="$work/demo" THOLE_BUILD_DIR="$THOLE_BUILD_DIR" \
    sh "$THOLE_SOURCE_DIR/docs/demo/run.sh" >"$said" 2>"$work/err"
check "it runs through" test $? -eq 0
check "the frost holds a batch back" on_line "the 60 leeks (leek-1) from the [a-z]* to the sill at home"
check "what no visit can save is told two days before" on_line "! On Sat 15:00: Save the 24 lettuces"
check "the held batch has its reasons" on_line "It needs 3 nights of the last 5 with no more cover than in the bed"
check "no line is longer than 80 columns" test "$(sed '/^File: /d' "$said" | LC_ALL=C.UTF-8 wc -L)" -le 80
check "the calendar file is there" grep -q "^SUMMARY:Save lettuces" "$work/demo/thole.ics"
check "the picture is there" grep -q PNG "$work/demo/plot.png"

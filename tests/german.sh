#!/bin/sh
# SPDX-License-Identifier: MIT
#
# Replies and tables are read, requests and files written, with a full stop in numbers, also where
# the machine's language has a comma: tests once more under de_DE.UTF-8, compiled for this run.

set -u
echo 1..2
mkdir -p "$HOME/locales"
localedef -i de_DE -f UTF-8 "$HOME/locales/de_DE.UTF-8" >"$HOME/locales/log" 2>&1
LOCPATH=$HOME/locales
LC_ALL=de_DE.UTF-8
export LOCPATH LC_ALL
output=$("$THOLE_BUILD_DIR/tests/test-open-meteo" 2>&1)
status=$?
case $output in
*'a half is 0,5'*) echo "ok 1 - numbers have a comma here" ;;
*) echo "not ok 1 - numbers have a comma here: is the package locales installed?" ;;
esac
if [ $status -eq 0 ]; then
    echo "ok 2 - Open-Meteo, in German"
else
    echo "not ok 2 - Open-Meteo, in German"
    echo "$output" | sed 's/^/# /'
fi

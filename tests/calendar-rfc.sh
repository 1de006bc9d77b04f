#!/bin/sh
# SPDX-License-Identifier: MIT
#
# That the checker of published calendars finds each rule broken; calendar-readers.sh runs it over
# what is published.

exec /usr/bin/python3 "$THOLE_SOURCE_DIR/tests/calendar-rfc-samples.py"

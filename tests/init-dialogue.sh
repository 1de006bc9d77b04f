#!/bin/sh
# SPDX-License-Identifier: MIT
#
# tholectl init at a terminal; the dialogue is in the program beside.

exec /usr/bin/python3 "$THOLE_SOURCE_DIR/tests/init-dialogue.py"

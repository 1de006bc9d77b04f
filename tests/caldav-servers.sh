#!/bin/sh
# SPDX-License-Identifier: MIT
#
# An outlet against real calendar servers, Radicale and Xandikos, edited by a client that knows
# nothing of us (python3-caldav). Unprivileged, on free loopback ports.

exec /usr/bin/python3 "$THOLE_SOURCE_DIR/tests/caldav-servers.py"

#!/bin/sh
# SPDX-License-Identifier: MIT
#
# The real tholed under a hand-made service manager (supervised.py), and under systemd-socket-activate.

set -u
. "$THOLE_SOURCE_DIR/tests/rehearsal-garden.sh"
write_garden
/usr/bin/python3 "$THOLE_SOURCE_DIR/tests/supervised.py" "$tholed" "$tholectl" "$work" \
    "$THOLE_SOURCE_DIR/daemon/garden/crops.conf"

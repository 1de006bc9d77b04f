# SPDX-License-Identifier: MIT
"""Paint the QR code among what a terminal was sent, as a PGM on standard output.

Usage: qr-image.py <TEXT >IMAGE. As a terminal would paint it that is black on white or white on
black itself: nothing but the colours that the text sets counts.
"""
import re
import sys

SCALE = 6
BLOCKS = {" ": (0, 0), "▀": (1, 0), "▄": (0, 1), "█": (1, 1)}
COLOURS = re.compile("\x1b\\[38;5;16;48;5;231m([^\x1b]*)\x1b\\[0m")  # black on white

found = [match.group(1) for line in sys.stdin for match in [COLOURS.fullmatch(line.rstrip("\n"))] if match]
rows = []
for line in found:
    for half in (0, 1):
        rows.append([BLOCKS[character][half] for character in line])
if not rows:
    sys.exit("no line of it is black on white")
width = len(rows[0])
quiet = [row[:4] + row[-4:] for row in rows] + rows[:4] + rows[width - 4:width]
if any(len(row) != width for row in rows) or any(dark for row in quiet for dark in row):
    sys.exit("there are no four modules of quiet around it")  # ISO/IEC 18004 §9.1
out = sys.stdout.buffer
out.write(f"P5 {width * SCALE} {len(rows) * SCALE} 255\n".encode())
for row in rows:
    line = b"".join((b"\0" if dark else b"\xff") * SCALE for dark in row)
    out.write(line * SCALE)

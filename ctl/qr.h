/* SPDX-License-Identifier: MIT */
#pragma once

/* Modules of quiet around a code (ISO/IEC 18004 §9.1), on each side. */
#define QR_QUIET 4

/*
 * TEXT as a QR code for a terminal, dark on light whatever the terminal's own colours are: two
 * modules to a character. A line ends with a line break, but for the last. RET_COLUMNS is how many
 * it takes. NULL where TEXT is too long. The caller owns it.
 */
char *qr_text(const char *text, int *ret_columns);

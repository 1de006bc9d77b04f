/* SPDX-License-Identifier: MIT */
#pragma once

#include <glib.h>

/*
 * Whether LENGTH bytes at TEXT are one JSON text as RFC 8259 has it, in UTF-8, with at most
 * DEPTH_MAX objects and arrays within each other, no U+0000, and numbers of at most 15 digits
 * before and 30 after the full stop. The JSON library takes more than that (comments, assignments)
 * and stops the program at half a surrogate pair, so nothing reaches it unchecked. The error is
 * invalid, and names line and column.
 */
gboolean json_check(const char *text, gsize length, int depth_max,
                    GError **error) G_GNUC_WARN_UNUSED_RESULT;

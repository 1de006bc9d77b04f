/* SPDX-License-Identifier: MIT */
#pragma once

#include <glib.h>

/*
 * Log lines with structured fields. TOPIC is the part that speaks ("weather"); OBJECT is what it
 * speaks about (a site's or a batch's name), NULL for none. Never a secret or exact coordinates.
 * A function logs or returns an error, never both.
 *
 * One message (a topic with a format) is written at most LOG_BURST times in LOG_WINDOW_S; the next
 * after that says how many were left out. May be called from any thread.
 */

#define LOG_BURST 10    /* chosen */
#define LOG_WINDOW_S 60 /* chosen */

void log_info(const char *topic, const char *object, const char *format, ...) G_GNUC_PRINTF(3, 4);
void log_warning(const char *topic, const char *object, const char *format, ...)
    G_GNUC_PRINTF(3, 4);

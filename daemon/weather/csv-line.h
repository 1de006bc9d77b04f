/* SPDX-License-Identifier: MIT */
/* One line of a table of comma-separated values, and the plain values in it. */
#pragma once

#include <glib.h>

#include "weather/forecast.h"

#define CSV_FIELDS_MAX 64 /* in a line: several times what is known; chosen */

/* The next line of the text at `*cursor`, which ends with a zero: cut off in place, without its
 * line ending; `*cursor` moves behind it. NULL at the end. */
char *csv_next_line(char **cursor);

/*
 * Splits `line` in place at its commas (RFC 4180: a field may stand in double quotes, a quote in it
 * is doubled; no line breaks in it); blanks around a bare field are dropped. Returns how many
 * fields, or -1 with a plain sentence in `ret_wrong`.
 */
int csv_split(char *line, char *fields[CSV_FIELDS_MAX], const char **ret_wrong);

/* `text` fit to stand in an error: control characters as '?', at most 40 characters. */
char *csv_shown(const char *text);

/* A decimal number, whatever the locale: the whole of `text`, no hexadecimal, infinity or NAN. */
gboolean csv_number(const char *text, double *ret_value);

/* UTC seconds of "2026-05-04T18:00:00Z", or the same without seconds; years 1970 to 2199. */
gboolean csv_time(const char *text, int64_t *ret_utc);

/* SPDX-License-Identifier: MIT */
/*
 * Text for people, at most print_columns() wide, counted as a terminal shows it. Control characters
 * in what is printed become "?", so that nothing the daemon tells can steer the terminal. Colour
 * only on a terminal, never with NO_COLOR or TERM=dumb.
 */
#pragma once

#include <glib.h>
#include <stdbool.h>

#define PRINT_COLUMNS 80       /* at most, and where the width is not known */
#define PRINT_COLUMNS_LEAST 24 /* narrower is written as if it were so wide; chosen */

/* Columns to write in: those of the terminal, or of COLUMNS, within the two above. */
int print_columns(void);

typedef enum PrintStyle {
    PRINT_PLAIN,
    PRINT_STRONG, /* headings */
    PRINT_ALERT,
    PRINT_FAINT,
} PrintStyle;

/* Words broken into lines behind INDENT spaces; "\n" in TEXT begins a new one. */
void print_wrapped(int indent, const char *text);
void print_styled(PrintStyle style, int indent, const char *text);

/* "! TEXT", its further lines under TEXT. */
void print_alert(PrintStyle style, const char *text);

/* A line of the kind "FIRST: rest", whose further lines stand under the rest. */
void print_hanging(int indent, const char *first, const char *rest);

void print_blank(void);

/* The bytes as they are, and a line break. */
void print_raw(const char *text);

/* "tholectl: …" on standard error. */
/* NOLINTNEXTLINE(readability-redundant-declaration): cmocka has one of this name and type too */
void print_error(const char *format, ...) G_GNUC_PRINTF(1, 2);

/* Valid UTF-8 without control characters; line breaks may stay. The caller owns it. */
char *print_clean(const char *text, bool keep_breaks);

/* Columns that TEXT takes on a terminal. */
int print_width(const char *text);

/*
 * Numbers with a true minus; "–" for what is not known. The caller owns them. A temperature is °C
 * and is told in UNITS, "C" or "F", without its sign.
 */
char *print_number(double value, int decimals);
char *print_temperature(double value_c, const char *units);
char *print_spread(double value_c, double spread_k, const char *units); /* "−1.2 ±0.5" */
char *print_odds(double odds);                                          /* "2%", "<1%", ">99%" */

/* The sign of the UNITS: "°C" or "°F". */
const char *print_degree(const char *units);

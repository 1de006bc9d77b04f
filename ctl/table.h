/* SPDX-License-Identifier: MIT */
/*
 * Rows under headings, aligned as a terminal shows them, at most print_columns() wide. On a screen
 * that is narrower than PRINT_COLUMNS and than the rows, as a telephone's, each row is a block: its
 * first cell, then the others, each behind its heading.
 */
#pragma once

#include <glib.h>

typedef struct Table Table;

/*
 * HEADINGS, ended by NULL, one for each column: ">Low" is aligned to the right; "~Place" gives way,
 * its cells going on in further lines, where the rows would be too wide; "=Place" needs no heading
 * in a block. They go together: ">~".
 */
Table *table_new(const char *heading, ...) G_GNUC_NULL_TERMINATED;

/* A row: as many texts as there are columns, NULL counting as an empty one. They are copied. */
void table_row(Table *table, ...);

/* Prints it behind INDENT spaces, nothing where it has no rows, and frees it. */
void table_print(Table *table, int indent);

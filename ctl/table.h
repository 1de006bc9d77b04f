/* SPDX-License-Identifier: MIT */
/* Rows under headings, aligned as a terminal shows them, at most PRINT_COLUMNS wide. */
#pragma once

#include <glib.h>

typedef struct Table Table;

/*
 * HEADINGS, ended by NULL, one for each column: ">Low" is aligned to the right; "~Place" gives way,
 * its cells going on in further lines, where the rows would be too wide (and may be both: ">~").
 */
Table *table_new(const char *heading, ...) G_GNUC_NULL_TERMINATED;

/* A row: as many texts as there are columns, NULL counting as an empty one. They are copied. */
void table_row(Table *table, ...);

/* Prints it behind INDENT spaces, nothing where it has no rows, and frees it. */
void table_print(Table *table, int indent);

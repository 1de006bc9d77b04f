/* SPDX-License-Identifier: MIT */
#include "ctl/table.h"

#include <stdarg.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>

#include "ctl/print.h"

#define COLUMNS_MAX 12
#define COLUMN_LEAST 6 /* a column that gives way keeps as much; chosen */
#define GAP 2

typedef struct Column {
    char *heading; /* (owned) */
    bool right, gives_way;
    int width;
} Column;

struct Table {
    Column columns[COLUMNS_MAX];
    int n_columns;
    GPtrArray *cells; /* (owned) (element-type utf8) row by row */
};

Table *table_new(const char *heading, ...)
{
    Table *table = g_new0(Table, 1);
    va_list args;

    table->cells = g_ptr_array_new_with_free_func(g_free);
    va_start(args, heading);
    for (const char *h = heading; h; h = va_arg(args, const char *)) {
        g_assert(table->n_columns < COLUMNS_MAX);
        Column *column = &table->columns[table->n_columns++];
        for (; *h == '>' || *h == '~'; h++) {
            column->right |= *h == '>';
            column->gives_way |= *h == '~';
        }
        column->heading = g_strdup(h);
        column->width = print_width(h);
    }
    va_end(args);
    return table;
}

void table_row(Table *table, ...)
{
    va_list args;

    va_start(args, table);
    for (int i = 0; i < table->n_columns; i++) {
        const char *text = va_arg(args, const char *);
        char *cell = print_clean(text ? text : "", false);
        table->columns[i].width = MAX(table->columns[i].width, print_width(cell));
        g_ptr_array_add(table->cells, cell);
    }
    va_end(args);
}

/* Takes from the widest column that gives way, until it fits or none gives way any more. */
static void fit(Table *table, int indent)
{
    for (;;) {
        int total = indent + GAP * (table->n_columns - 1);
        Column *widest = NULL;
        for (int i = 0; i < table->n_columns; i++) {
            Column *column = &table->columns[i];
            total += column->width;
            if (column->gives_way && column->width > COLUMN_LEAST &&
                (!widest || column->width > widest->width))
                widest = column;
        }
        if (total <= PRINT_COLUMNS || !widest)
            return;
        widest->width--;
    }
}

/* As much of TEXT as fits into WIDTH columns, with "…" where it was cut. The caller owns it. */
static char *cut(const char *text, int width)
{
    if (print_width(text) <= width)
        return g_strdup(text);
    GString *out = g_string_new(NULL);
    for (const char *p = text; *p; p = g_utf8_next_char(p)) {
        const gsize before = out->len;
        g_string_append_unichar(out, g_utf8_get_char(p));
        if (print_width(out->str) > width - 1) {
            g_string_truncate(out, before);
            break;
        }
    }
    g_string_append(out, "…");
    return g_string_free(out, FALSE);
}

/* The line without blanks at its end. The caller owns it. */
static char *make_line(const Table *table, char **cells, int indent)
{
    GString *line = g_string_new(NULL);

    g_string_append_printf(line, "%*s", indent, "");
    for (int i = 0; i < table->n_columns; i++) {
        const Column *column = &table->columns[i];
        g_autofree char *cell = cut(cells ? cells[i] : column->heading, column->width);
        const int pad = column->width - print_width(cell);
        if (column->right)
            g_string_append_printf(line, "%*s%s", pad, "", cell);
        else
            g_string_append_printf(line, "%s%*s", cell, pad, "");
        if (i + 1 < table->n_columns)
            g_string_append_printf(line, "%*s", GAP, "");
    }
    return g_strchomp(g_string_free(line, FALSE));
}

void table_print(Table *table, int indent)
{
    const guint n_rows = table->cells->len / (guint)table->n_columns;

    fit(table, indent);
    if (n_rows > 0) {
        g_autofree char *headings = make_line(table, NULL, indent);
        if (*headings)
            printf("%s\n", headings);
    }
    for (guint i = 0; i < n_rows; i++) {
        g_autofree char *line =
            make_line(table, (char **)table->cells->pdata + i * (guint)table->n_columns, indent);
        printf("%s\n", line);
    }
    for (int i = 0; i < table->n_columns; i++)
        g_free(table->columns[i].heading);
    g_ptr_array_unref(table->cells);
    g_free(table);
}

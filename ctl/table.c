/* SPDX-License-Identifier: MIT */
#include "ctl/table.h"

#include <stdarg.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>

#include "ctl/print.h"

#define COLUMNS_MAX 12
#define COLUMN_LEAST 6 /* a column that gives way keeps as much, words broken; chosen */
#define GAP 2          /* between columns; 1 where they would be too wide */

typedef struct Column {
    char *heading;                 /* (owned) */
    bool right, gives_way, speaks; /* speaks: understood without its heading */
    int width;
    int longest; /* piece of a cell that is not broken while another column can give way */
} Column;

struct Table {
    Column columns[COLUMNS_MAX];
    int n_columns;
    int gap;
    GPtrArray *cells; /* (owned) (element-type utf8) row by row */
};

Table *table_new(const char *heading, ...)
{
    Table *table = g_new0(Table, 1);
    va_list args;

    table->gap = GAP;
    table->cells = g_ptr_array_new_with_free_func(g_free);
    va_start(args, heading);
    for (const char *h = heading; h; h = va_arg(args, const char *)) {
        g_assert(table->n_columns < COLUMNS_MAX);
        Column *column = &table->columns[table->n_columns++];
        for (; *h == '>' || *h == '~' || *h == '='; h++) {
            column->right |= *h == '>';
            column->speaks |= *h == '=';
            column->gives_way |= *h == '~';
        }
        column->heading = g_strdup(h);
        column->width = print_width(h);
    }
    va_end(args);
    return table;
}

/* A line may end before a blank, and behind a hyphen or an oblique. */
static bool ends_piece(gunichar letter)
{
    return letter == ' ' || letter == '-' || letter == '/';
}

static int longest_piece(const char *text)
{
    int longest = 0;

    while (*text) {
        const char *end = text;
        while (*end && !ends_piece(g_utf8_get_char(end)))
            end = g_utf8_next_char(end);
        if (*end && *end != ' ')
            end++;
        g_autofree char *piece = g_strndup(text, (gsize)(end - text));
        longest = MAX(longest, print_width(piece));
        text = *end == ' ' ? end + 1 : end;
    }
    return longest;
}

void table_row(Table *table, ...)
{
    va_list args;

    va_start(args, table);
    for (int i = 0; i < table->n_columns; i++) {
        Column *column = &table->columns[i];
        const char *text = va_arg(args, const char *);
        char *cell = print_clean(text ? text : "", false);
        column->width = MAX(column->width, print_width(cell));
        column->longest = MAX(column->longest, longest_piece(cell));
        g_ptr_array_add(table->cells, cell);
    }
    va_end(args);
}

/* The widest column that can give way; NULL: none can. */
static Column *widest_to_narrow(Table *table, bool break_words)
{
    Column *widest = NULL;

    for (int i = 0; i < table->n_columns; i++) {
        Column *column = &table->columns[i];
        const int least = break_words ? COLUMN_LEAST : MAX(COLUMN_LEAST, column->longest);
        if (column->gives_way && column->width > MAX(least, print_width(column->heading)) &&
            (!widest || column->width > widest->width))
            widest = column;
    }
    return widest;
}

static int total_width(const Table *table, int indent)
{
    int total = indent + table->gap * (table->n_columns - 1);

    for (int i = 0; i < table->n_columns; i++)
        total += table->columns[i].width;
    return total;
}

/*
 * Where it is too wide: first the gaps narrow, then it takes from the widest column that gives way,
 * at first without breaking words, until it fits or none gives way any more: false.
 */
static bool fit(Table *table, int indent, bool break_words)
{
    while (total_width(table, indent) > print_columns()) {
        if (table->gap == GAP) {
            table->gap = 1;
            continue;
        }
        Column *column = widest_to_narrow(table, false);
        if (!column && break_words)
            column = widest_to_narrow(table, true);
        if (!column)
            return false;
        column->width--;
    }
    return true;
}

/* As much of *REST as fits into WIDTH columns, broken between pieces where that can be; moves REST
 * on. The caller owns it. */
static char *take_line(const char **rest, int width)
{
    GString *line = g_string_new(NULL);
    const char *p = *rest, *next = NULL;
    gsize kept = 0;
    int used = 0;

    for (; *p; p = g_utf8_next_char(p)) {
        const gunichar letter = g_utf8_get_char(p);
        g_autofree char *alone = g_strndup(p, (gsize)(g_utf8_next_char(p) - p));
        if (letter == ' ') {
            next = p + 1;
            kept = line->len;
        }
        used += print_width(alone);
        if (used > width && line->len > 0)
            break;
        g_string_append(line, alone);
        if (letter != ' ' && ends_piece(letter)) {
            next = p + 1;
            kept = line->len;
        }
    }
    if (*p && next) {
        g_string_truncate(line, kept);
        p = next;
    }
    *rest = p;
    return g_string_free(line, FALSE);
}

/* One line of a row, taken off its cells, without blanks at its end. The caller owns it. */
static char *make_line(const Table *table, const char **rests, int indent)
{
    GString *line = g_string_new(NULL);

    g_string_append_printf(line, "%*s", indent, "");
    for (int i = 0; i < table->n_columns; i++) {
        const Column *column = &table->columns[i];
        g_autofree char *cell = take_line(&rests[i], column->width);
        const int pad = MAX(column->width - print_width(cell), 0);
        if (column->right)
            g_string_append_printf(line, "%*s%s", pad, "", cell);
        else
            g_string_append_printf(line, "%s%*s", cell, pad, "");
        if (i + 1 < table->n_columns)
            g_string_append_printf(line, "%*s", table->gap, "");
    }
    return g_strchomp(g_string_free(line, FALSE));
}

/* A row in as many lines as its longest cell takes. */
static void print_row(const Table *table, const char **rests, int indent)
{
    bool more = true;

    while (more) {
        g_autofree char *line = make_line(table, rests, indent);
        printf("%s\n", line);
        more = false;
        for (int i = 0; i < table->n_columns; i++)
            more = more || *rests[i];
    }
}

#define UNBROKEN 24 /* a heading and its cell, up to so many columns, stay together; chosen */

/* "Frost 30%"; NULL where there is nothing to say. The caller owns it. */
static char *block_part(const Column *column, const char *cell)
{
    const bool bare = column->speaks || !*column->heading;

    if (!*cell || g_str_equal(cell, "–"))
        return NULL;
    char *part = bare ? g_strdup(cell) : g_strconcat(column->heading, " ", cell, NULL);
    if (print_width(part) <= UNBROKEN) {
        g_auto(GStrv) words = g_strsplit(part, " ", -1);
        g_free(part);
        part = g_strjoinv("\u00a0", words);
    }
    return part;
}

/* A row as a block. */
static void print_block(const Table *table, char *const *cells, int indent)
{
    g_autoptr(GString) rest = g_string_new(NULL);

    for (int i = 1; i < table->n_columns; i++) {
        g_autofree char *part = block_part(&table->columns[i], cells[i]);
        if (part)
            g_string_append_printf(rest, "%s%s", rest->len > 0 ? ", " : "", part);
    }
    if (*cells[0]) {
        const int nested = (int)strspn(cells[0], " ");
        print_styled(PRINT_STRONG, indent + nested, cells[0] + nested);
        indent += nested;
    }
    if (rest->len > 0)
        print_wrapped(indent + 2, rest->str);
}

static void print_rows(const Table *table, int indent)
{
    const guint n_rows = table->cells->len / (guint)table->n_columns;
    const char *rests[COLUMNS_MAX];
    bool headed = false;

    for (int i = 0; i < table->n_columns; i++) {
        rests[i] = table->columns[i].heading;
        headed = headed || *rests[i];
    }
    if (n_rows > 0 && headed)
        print_row(table, rests, indent);
    for (guint row = 0; row < n_rows; row++) {
        for (int i = 0; i < table->n_columns; i++)
            rests[i] = table->cells->pdata[row * (guint)table->n_columns + (guint)i];
        print_row(table, rests, indent);
    }
}

void table_print(Table *table, int indent)
{
    const bool narrow = print_columns() < PRINT_COLUMNS;

    if (fit(table, indent, !narrow) || !narrow) {
        print_rows(table, indent);
    } else {
        for (guint i = 0; i < table->cells->len; i += (guint)table->n_columns)
            print_block(table, (char *const *)&table->cells->pdata[i], indent);
    }
    for (int i = 0; i < table->n_columns; i++)
        g_free(table->columns[i].heading);
    g_ptr_array_unref(table->cells);
    g_free(table);
}

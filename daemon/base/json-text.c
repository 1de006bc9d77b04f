/* SPDX-License-Identifier: MIT */
#include "base/json-text.h"

#include <math.h>
#include <string.h>

#define PLAIN_MAX 1e12 /* thousandths of what is less are whole numbers, exactly */

static void begin(JsonText *to, const char *name)
{
    if (to->between)
        g_string_append_c(to->text, ',');
    to->between = TRUE;
    if (name == NULL)
        return;
    g_string_append_c(to->text, '"');
    g_string_append(to->text, name); /* ours, and plain */
    g_string_append_len(to->text, "\":", 2);
}

static void open(JsonText *to, const char *name, char bracket)
{
    begin(to, name);
    g_string_append_c(to->text, bracket);
    to->between = FALSE;
}

static void shut(JsonText *to, char bracket)
{
    g_string_append_c(to->text, bracket);
    to->between = TRUE;
}

void json_text_begin_object(JsonText *to, const char *name)
{
    open(to, name, '{');
}

void json_text_end_object(JsonText *to)
{
    shut(to, '}');
}

void json_text_begin_array(JsonText *to, const char *name)
{
    open(to, name, '[');
}

void json_text_end_array(JsonText *to)
{
    shut(to, ']');
}

/* What RFC 8259 §7 wants escaped: the quotation mark, the backslash and control characters. */
static gsize plain_length(const char *text)
{
    gsize n = 0;

    while ((guchar)text[n] >= 0x20 && text[n] != '"' && text[n] != '\\')
        n++;
    return n;
}

static void append_escaped(GString *text, char c)
{
    switch (c) {
    case '"':
    case '\\':
        g_string_append_c(text, '\\');
        g_string_append_c(text, c);
        break;
    case '\n':
        g_string_append_len(text, "\\n", 2);
        break;
    case '\t':
        g_string_append_len(text, "\\t", 2);
        break;
    default:
        g_string_append_printf(text, "\\u%04x", (guint)(guchar)c);
        break;
    }
}

void json_text_string(JsonText *to, const char *name, const char *value)
{
    begin(to, name);
    if (value == NULL) {
        g_string_append_len(to->text, "null", 4);
        return;
    }
    g_string_append_c(to->text, '"');
    for (;;) {
        const gsize n = plain_length(value);
        g_string_append_len(to->text, value, (gssize)n);
        value += n;
        if (*value == '\0')
            break;
        append_escaped(to->text, *value++);
    }
    g_string_append_c(to->text, '"');
}

/* Decimal digits, at least so many. */
static void append_whole(GString *text, guint64 value, int least)
{
    char digits[24];
    gsize at = sizeof digits;

    for (; value > 0 || least > 0; value /= 10, least--)
        digits[--at] = (char)('0' + value % 10);
    g_string_append_len(text, digits + at, (gssize)(sizeof digits - at));
}

void json_text_int(JsonText *to, const char *name, gint64 value)
{
    begin(to, name);
    if (value < 0)
        g_string_append_c(to->text, '-');
    append_whole(to->text, value < 0 ? -(guint64)value : (guint64)value, 1);
}

void json_text_bool(JsonText *to, const char *name, gboolean value)
{
    begin(to, name);
    g_string_append(to->text, value ? "true" : "false");
}

/* A whole number keeps its ".0", as the JSON library writes it. */
void json_text_double(JsonText *to, const char *name, double value)
{
    char digits[G_ASCII_DTOSTR_BUF_SIZE];

    begin(to, name);
    if (!isfinite(value)) {
        g_string_append_len(to->text, "null", 4);
        return;
    }
    g_string_append(to->text, g_ascii_dtostr(digits, sizeof digits, value));
    if (strpbrk(digits, ".e") == NULL)
        g_string_append_len(to->text, ".0", 2);
}

void json_text_thousandths(JsonText *to, const char *name, double value)
{
    const double thousandths = round(value * 1000.0);

    if (!(fabs(thousandths) < PLAIN_MAX)) {
        json_text_double(to, name, thousandths / 1000.0);
        return;
    }
    const guint64 whole = (guint64)fabs(thousandths);
    begin(to, name);
    if (thousandths < 0.0)
        g_string_append_c(to->text, '-');
    append_whole(to->text, whole / 1000, 1);
    g_string_append_c(to->text, '.');
    append_whole(to->text, whole % 1000, 3);
    while (to->text->str[to->text->len - 1] == '0' && to->text->str[to->text->len - 2] != '.')
        g_string_truncate(to->text, to->text->len - 1);
}

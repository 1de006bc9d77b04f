/* SPDX-License-Identifier: MIT */
#include "weather/csv-line.h"

#include <math.h>
#include <string.h>

#include "base/local-time.h"

#define SHOWN_MAX 40 /* characters of a refused value that are repeated; chosen */
#define FIRST_UTC 0  /* 1970 */
#define END_UTC G_GINT64_CONSTANT(7258118400) /* 2200-01-01; chosen: later ones are mistakes */

char *csv_next_line(char **cursor)
{
    char *line = *cursor;
    if (*line == '\0')
        return NULL;
    char *end = strchr(line, '\n');
    if (end == NULL) {
        *cursor = line + strlen(line);
    } else {
        *end = '\0';
        *cursor = end + 1;
    }
    size_t length = strlen(line);
    if (length > 0 && line[length - 1] == '\r')
        line[length - 1] = '\0';
    return line;
}

/* Takes the quotes off the field at `at`; returns what follows the closing one, else NULL. */
static char *unquote(char *at)
{
    char *to = at;
    for (char *from = at + 1; *from != '\0'; from++) {
        if (*from == '"' && from[1] != '"') {
            char *after = from + 1;
            *to = '\0';
            return after;
        }
        if (*from == '"')
            from++;
        *to++ = *from;
    }
    return NULL;
}

int csv_split(char *line, char *fields[CSV_FIELDS_MAX], const char **ret_wrong)
{
    int n = 0;
    for (char *at = line;;) {
        if (n == CSV_FIELDS_MAX) {
            *ret_wrong = "more fields than any table has";
            return -1;
        }
        while (*at == ' ' || *at == '\t')
            at++;
        fields[n++] = at;
        char *end;
        if (*at == '"') {
            end = unquote(at);
            if (end == NULL) {
                *ret_wrong = "a quote is not closed";
                return -1;
            }
            end += strspn(end, " \t");
            if (*end != ',' && *end != '\0') {
                *ret_wrong = "text after a closing quote";
                return -1;
            }
        } else {
            end = at + strcspn(at, ",");
        }
        bool last = *end == '\0';
        bool bare = end != at && *at != '"';
        *end = '\0';
        if (bare)
            g_strchomp(at);
        if (last)
            return n;
        at = end + 1;
    }
}

char *csv_shown(const char *text)
{
    GString *shown = g_string_new(NULL);
    int n = 0;
    for (const char *at = text; *at != '\0'; at = g_utf8_next_char(at), n++) {
        if (n == SHOWN_MAX) {
            g_string_append(shown, "…");
            break;
        }
        gunichar c = g_utf8_get_char(at);
        g_string_append_unichar(shown, g_unichar_isprint(c) ? c : '?');
    }
    return g_string_free(shown, FALSE);
}

gboolean csv_number(const char *text, double *ret_value)
{
    if (*text == '\0' || text[strspn(text, "0123456789+-.eE")] != '\0')
        return FALSE;
    char *end;
    double value = g_ascii_strtod(text, &end);
    if (*end != '\0' || !isfinite(value))
        return FALSE;
    *ret_value = value;
    return TRUE;
}

gboolean csv_time(const char *text, int64_t *ret_utc)
{
    int64_t utc;
    if (!utc_parse(text, &utc, NULL) || utc < FIRST_UTC || utc >= END_UTC)
        return FALSE;
    *ret_utc = utc;
    return TRUE;
}

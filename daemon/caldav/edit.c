/* SPDX-License-Identifier: MIT */
#include "caldav/edit.h"

#include <string.h>

#define READING_MAX 150 /* beyond it is no thermometer's, in °C or °F; chosen */

void caldav_edit_free(CaldavEdit *edit)
{
    if (edit == NULL)
        return;
    g_free(edit->uid);
    g_free(edit->text);
    g_free(edit->location);
    g_free(edit->notes);
    g_free(edit->place);
    g_free(edit);
}

static void cut_end(char *text, const char *end)
{
    if (g_str_has_suffix(text, end))
        text[strlen(text) - strlen(end)] = '\0';
    g_strchomp(text);
}

/* "frame -1.5" → a place and a number. */
static gboolean read_reading(const char *line, char **ret_place, double *ret_temperature)
{
    g_auto(GStrv) parts = g_strsplit(line, "−", -1);
    g_autofree char *text = g_strjoinv("-", parts);
    char *end = NULL;

    cut_end(text, "C");
    cut_end(text, "c");
    cut_end(text, "F");
    cut_end(text, "f");
    cut_end(text, "°");
    g_strdelimit(text, ",", '.');
    char *number = strrchr(text, ' ');
    if (number == NULL || !(g_ascii_isdigit(number[1]) || strchr("+-", number[1]) != NULL))
        return FALSE;
    double value = g_ascii_strtod(number + 1, &end);
    if (end == number + 1 || *end != '\0' || !(value >= -READING_MAX) || !(value <= READING_MAX))
        return FALSE;
    *number = '\0';
    g_strchomp(text);
    cut_end(text, ":");
    if (*text == '\0')
        return FALSE;
    *ret_place = g_strdup(text);
    *ret_temperature = value;
    return TRUE;
}

CaldavEditKind caldav_read_line(const char *line, char **ret_place, double *ret_temperature_c)
{
    static const struct {
        const char *word;
        CaldavEditKind kind;
    } words[] = {
        {"ok", CALDAV_SAID_OK},
        {"missed", CALDAV_SAID_MISSED},
        {"watered", CALDAV_SAID_WATERED},
    };
    g_autofree char *text = g_strstrip(g_strdup(line));

    *ret_place = NULL;
    *ret_temperature_c = 0;
    cut_end(text, ".");
    cut_end(text, "!");
    for (gsize i = 0; i < G_N_ELEMENTS(words); i++) {
        if (g_ascii_strcasecmp(text, words[i].word) == 0)
            return words[i].kind;
    }
    return read_reading(text, ret_place, ret_temperature_c) ? CALDAV_SAID_READING
                                                            : CALDAV_SAID_OTHER;
}

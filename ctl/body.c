/* SPDX-License-Identifier: MIT */
#include "ctl/body.h"

#include <math.h>
#include <string.h>

#define TRUE_MINUS "−"

void body_text(JsonObject *body, const char *name, const char *value)
{
    if (value)
        json_object_set_string_member(body, name, value);
}

void body_option(JsonObject *body, const char *name, const Call *call)
{
    body_text(body, name, call_option(call, name));
}

/* Takes a unit off the end of TEXT. */
static const char *take_unit(char *text)
{
    static const struct {
        const char *suffix, *unit;
    } units[] = {{"°C", "C"}, {"°F", "F"}, {"C", "C"}, {"F", "F"}};

    for (gsize i = 0; i < G_N_ELEMENTS(units); i++) {
        if (g_str_has_suffix(text, units[i].suffix)) {
            text[strlen(text) - strlen(units[i].suffix)] = '\0';
            g_strchomp(text);
            return units[i].unit;
        }
    }
    return NULL;
}

bool body_number(JsonObject *body, const char *name, const char *value, const char **ret_unit)
{
    const bool negative = g_str_has_prefix(value, TRUE_MINUS);
    g_autofree char *text =
        negative ? g_strconcat("-", value + strlen(TRUE_MINUS), NULL) : g_strdup(value);
    const char *unit = ret_unit ? take_unit(text) : NULL;
    char *end;

    if (!*text || strspn(text, "+-.0123456789") != strlen(text))
        return false;
    const double number = g_ascii_strtod(text, &end);
    if (*end || !isfinite(number) || fabs(number) >= 1e15)
        return false;
    if (number == floor(number))
        json_object_set_int_member(body, name, (gint64)number);
    else
        json_object_set_double_member(body, name, number);
    if (ret_unit)
        *ret_unit = unit;
    return true;
}

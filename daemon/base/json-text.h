/* SPDX-License-Identifier: MIT */
/*
 * JSON written as text, member after member. A reply with a thousand batches has 100,000 members;
 * built as a tree of the JSON library and then written, each costs five allocations. NAME is that
 * of a member, and NULL in an array; objects and arrays must be ended as they were begun.
 */
#pragma once

#include <glib.h>

typedef struct JsonText {
    GString *text;    /* (unowned) appended to */
    gboolean between; /* the next member or element has one before it */
} JsonText;

void json_text_begin_object(JsonText *to, const char *name);
void json_text_end_object(JsonText *to);
void json_text_begin_array(JsonText *to, const char *name);
void json_text_end_array(JsonText *to);

/* VALUE is UTF-8; NULL is written as null. */
void json_text_string(JsonText *to, const char *name, const char *value);
void json_text_int(JsonText *to, const char *name, gint64 value);
void json_text_bool(JsonText *to, const char *name, gboolean value);

/* Reads back as the same number. JSON has none that is not finite: null. */
void json_text_double(JsonText *to, const char *name, double value);

/* VALUE rounded to the thousandth; null where it is not finite. */
void json_text_thousandths(JsonText *to, const char *name, double value);

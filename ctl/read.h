/* SPDX-License-Identifier: MIT */
/*
 * Reading of a reply. Whatever the daemon sends, nothing fails: what is missing, null or of another
 * type is empty text, NAN, false or nothing.
 */
#pragma once

#include <json-glib/json-glib.h>
#include <stdbool.h>

const char *read_text(JsonObject *object, const char *name);
double read_number(JsonObject *object, const char *name);
bool read_flag(JsonObject *object, const char *name);
JsonObject *read_object(JsonObject *object, const char *name); /* (nullable) */

/* The objects of an array; how many, and one of them (nullable: it is none). */
guint read_count(JsonObject *object, const char *name);
JsonObject *read_item(JsonObject *object, const char *name, guint i);

/* The texts of an array, joined. The caller owns it. */
char *read_joined(JsonObject *object, const char *name, const char *separator);

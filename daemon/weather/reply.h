/* SPDX-License-Identifier: MIT */
/*
 * What the readers of JSON replies share. Nothing of a reply is believed: it may be cut short,
 * nested without an end, or of other kinds than was said.
 */
#pragma once

#include <json-glib/json-glib.h>

#include "garden/types.h"
#include "weather/fields.h"

#define REPLY_DEPTH_MAX 16  /* objects and arrays in one another; real ones have 7; chosen */
#define REPLY_ROWS_MAX 5000 /* hours; 108 days of an hour each are the most ever given; chosen */

/* The root of a JSON text, owned by the caller. NULL and an error (invalid) where it is none. */
JsonNode *reply_parse(const char *text, gsize length, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* A member that is an object, an array, a text; NULL where it is not there or of another kind. */
JsonObject *reply_object(JsonObject *in, const char *name);
JsonArray *reply_array(JsonObject *in, const char *name);
const char *reply_text(JsonObject *in, const char *name);

/*
 * Puts a number into HOUR: null, or no NODE at all, is missing (NAN), never 0; a radiation a little
 * below 0 is 0. What is not a number, or not to be believed, is an error (invalid) that begins with
 * WHERE and shows the value.
 */
gboolean reply_number(JsonNode *node, const char *where, WeatherFieldKind kind, WeatherHour *hour,
                      GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* A node as it stands in the reply, short and fit for an error; owned by the caller. */
char *reply_shown(JsonNode *node);

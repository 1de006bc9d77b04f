/* SPDX-License-Identifier: MIT */
/*
 * What a handler reads of a request. Members of the body are consumed as they are read; a handler
 * that read all it knows calls control_reject_rest(). Errors are invalid (400) and name the
 * member, the value seen and what would be accepted.
 *
 * REQUIRED false: a member that is missing or null leaves *RET as it was, so put the default there
 * first. What is given back belongs to the request, unless said otherwise.
 */
#pragma once

#include <glib.h>
#include <json-glib/json-glib.h>
#include <stdint.h>

#define CONTROL_TEXT_MAX 2000 /* bytes of a text in a body; chosen */

typedef struct ControlRequest {
    const char *method; /* (unowned) "GET" */
    const char *path;   /* (unowned) decoded */
    GHashTable *params; /* (owned) utf8 -> utf8: what the {…} of the pattern took */
    GHashTable *query;  /* (owned) utf8 -> utf8 */
    JsonObject *body;   /* (owned) (nullable) */
    GPtrArray *asked;   /* (owned) (element-type utf8) names read so far, of body or query */
    struct ControlAsking *asking; /* (unowned) for control_owe() */
} ControlRequest;

/* What {NAME} took; never empty. NAME must stand in the pattern. */
const char *control_param(const ControlRequest *request, const char *name);

/* A query parameter, or NULL; it counts as read. */
const char *control_query(const ControlRequest *request, const char *name);

/* "true" or "1" give TRUE, "false", "0" and no such parameter FALSE. */
gboolean control_query_flag(const ControlRequest *request, const char *name, gboolean *ret,
                            GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Refuses query parameters and body members that nobody read, with the list of those accepted. */
gboolean control_reject_rest(const ControlRequest *request,
                             GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Whether the body has the member, and not as null. */
gboolean control_body_has(const ControlRequest *request, const char *name);

/* Text of 1 to CONTROL_TEXT_MAX bytes without control characters. */
gboolean control_body_string(const ControlRequest *request, const char *name, gboolean required,
                             const char **ret, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* A whole number from LEAST to MOST; 3.0 is one too. */
gboolean control_body_int(const ControlRequest *request, const char *name, gboolean required,
                          int64_t least, int64_t most, int64_t *ret,
                          GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* A number from LEAST to MOST. */
gboolean control_body_double(const ControlRequest *request, const char *name, gboolean required,
                             double least, double most, double *ret,
                             GError **error) G_GNUC_WARN_UNUSED_RESULT;

gboolean control_body_bool(const ControlRequest *request, const char *name, gboolean required,
                           gboolean *ret, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Whole numbers from 1 on, 1 to MOST_N of them, each once: *RET is an array of int64_t, the
 * caller's. */
gboolean control_body_handles(const ControlRequest *request, const char *name, gboolean required,
                              guint most_n, GArray **ret, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * A time: an instant "2026-04-12T17:30:00Z", or by the clocks of ZONE "18:30" (of the day that
 * holds NOW_UTC), "2026-04-12 18:30", "2026-04-12T18:30", or "2026-04-12", which is its first
 * instant. ZONE NULL: only the first.
 */
gboolean control_body_time(const ControlRequest *request, const char *name, gboolean required,
                           GTimeZone *zone, int64_t now_utc, int64_t *ret,
                           GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * A day number: "2026-04-12", or "yesterday", "today", "tonight", "tomorrow" as counted by ZONE
 * from NOW_UTC. Also from text that stood in a query, whose parameter NAME is for the message.
 */
gboolean control_body_day(const ControlRequest *request, const char *name, gboolean required,
                          GTimeZone *zone, int64_t now_utc, int *ret,
                          GError **error) G_GNUC_WARN_UNUSED_RESULT;
gboolean control_day_from_text(const char *name, const char *text, GTimeZone *zone, int64_t now_utc,
                               int *ret, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Frees the request and all in it. NULL is ignored. */
void control_request_free(ControlRequest *request);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(ControlRequest, control_request_free)

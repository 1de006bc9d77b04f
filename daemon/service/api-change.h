/* SPDX-License-Identifier: MIT */
/*
 * A change that the grower asks for: all of it is one commit, then a new plan is made, and the
 * reply, which waits for it, says what came of it. A plan that cannot be made takes nothing back.
 * Internal to api*.c.
 */
#pragma once

#include "control/control.h"
#include "service/service.h"

/* Ready dates and jobs as they are, to be compared with what comes. */
typedef struct ApiBefore ApiBefore;
ApiBefore *api_before_new(const Service *service);
void api_before_free(ApiBefore *before);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(ApiBefore, api_before_free)

/* Writes to the store within a transaction that the caller began. */
typedef gboolean (*ApiWrite)(Service *service, gpointer change, GError **error);

/* All that `write` writes is one commit, or nothing. */
gboolean api_commit(Service *service, ApiWrite write, gpointer change,
                    GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* What a reply to a change says; texts are copied. */
typedef struct ApiDone {
    const char *trigger; /* of the plan, for the record */
    const char *text;    /* what was done, one or two sentences */
    const char *batch;   /* (nullable) name of the batch that is new or changed */
    const char *id;      /* (nullable) of what is new */
    JsonArray *jobs;     /* (owned) (nullable) taken over: jobs reported */
    /* (nullable) adds lines when the new plan is made */
    void (*tell)(const Service *service, gconstpointer told, GString *text);
    /* (nullable) the member `reading`, when the new plan is made; the caller's */
    JsonObject *(*reading)(const Service *service, gconstpointer told);
    gconstpointer told; /* (nullable) told_size bytes that point to nothing, copied */
    gsize told_size;
    gboolean keep_states; /* the states in memory know it already: batches are not read anew */
} ApiDone;

/*
 * After the commit: a new plan is asked for, and REQUEST (nullable) is answered with what is
 * different when it is in place; the loop goes on meanwhile. BEFORE becomes its own. Gives NULL,
 * for the handler to return.
 */
JsonNode *api_done(Service *service, const ControlRequest *request, ApiBefore *before,
                   const ApiDone *done);

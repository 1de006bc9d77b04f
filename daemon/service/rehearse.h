/* SPDX-License-Identifier: MIT */
/*
 * A rehearsal: the same service on the virtual clock, its weather from one table, its grower from a
 * script that does every job at its visit. Nothing leaves the machine.
 */
#pragma once

#include "service/service.h"

typedef struct RehearseOptions {
    char *forecast_path; /* (owned) */
    char *from, *to;     /* (owned) local days of the first site, or day and time */
    char **miss;         /* (owned) (nullable) days on which the scripted grower does not come */
    gint64 seed;         /* of forecast errors; negative none */
    gboolean stay;       /* at the end the clock stands and the socket serves */
    gboolean quiet;      /* decisions are not printed */
} RehearseOptions;

void rehearse_options_clear(RehearseOptions *options);

/* Runs it in `loop` until its end, or with `stay` until the loop is quit. Takes over both options'
 * strings. */
gboolean rehearse_run(GMainLoop *loop, RehearseOptions *options, ServiceOptions *service_options,
                      GError **error) G_GNUC_WARN_UNUSED_RESULT;

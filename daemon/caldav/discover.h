/* SPDX-License-Identifier: MIT */
/* From what the grower knows of a server to where a calendar is, or can be made (RFC 6764 §6). */
#pragma once

#include "caldav/dav.h"

typedef struct CaldavPlace {
    char *calendar; /* (owned) (nullable) the address given is a calendar itself */
    char *home;     /* (owned) (nullable) else: where calendars are made */
} CaldavPlace;

void caldav_place_free(CaldavPlace *place);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(CaldavPlace, caldav_place_free)

/* ADDRESS as url_of_server() gives it. CLIENT must live until `done`. */
void caldav_discover(DavClient *client, const char *address, GCancellable *cancellable,
                     GAsyncReadyCallback done, gpointer data);

/* THOLE_ERROR_CONFLICT: user or secret were refused; _NOT_FOUND: no calendars there. */
CaldavPlace *caldav_discover_finish(GAsyncResult *result, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* SPDX-License-Identifier: MIT */
/*
 * One polite request to a forecast service. Takes compressed replies, follows redirects to safe
 * addresses only (url_is_safe()), verifies the server's certificate against the system's
 * authorities, reads no more than it was told to, and never waits without an end. It neither
 * caches nor retries.
 */
#pragma once

#include <gio/gio.h>

#include "base/clock.h"

#define HTTP_BYTES_MAX (4 * 1024 * 1024) /* after decompression; chosen */
#define HTTP_IDLE_S 30                   /* nothing comes: given up; chosen */
#define HTTP_TOTAL_S 120                 /* something comes, but no end; chosen */
#define HTTP_REDIRECTS_MAX 5             /* chosen */

typedef struct HttpRequest {
    const char *url;               /* absolute */
    const char *user_agent;        /* the whole header */
    const char *if_modified_since; /* (nullable) as an earlier reply's `last_modified`, unchanged */
    gsize bytes_max;               /* 0: HTTP_BYTES_MAX */
    guint idle_s, total_s;         /* 0: HTTP_IDLE_S, HTTP_TOTAL_S */
} HttpRequest;

typedef struct HttpReply {
    guint status;        /* as received: 200, 304, 429 …; a redirect was followed */
    GBytes *body;        /* (owned) empty where there is none; a zero follows its last byte */
    char *last_modified; /* (owned) (nullable) to the letter */
    int64_t expires_utc; /* by this machine's clock; 0 not said */
    int64_t retry_utc;   /* Retry-After, by this machine's clock; 0 not said */
} HttpReply;

void http_reply_free(HttpReply *reply);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(HttpReply, http_reply_free)

/*
 * Sends it, on the main context of the caller; REQUEST only lives during the call. `done` takes the
 * reply with http_get_finish(). CLK must be held by the caller until then.
 */
void http_get(const HttpRequest *request, Clock *clk, GCancellable *cancellable,
              GAsyncReadyCallback done, gpointer data);

/*
 * The reply, whatever its status, owned by the caller. NULL and an error where there is none that
 * is whole: messages name the host, never the rest of the address (it holds coordinates, perhaps a
 * key). Network errors keep GIO's domains.
 */
HttpReply *http_get_finish(GAsyncResult *result, GError **error) G_GNUC_WARN_UNUSED_RESULT;

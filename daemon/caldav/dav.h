/* SPDX-License-Identifier: MIT */
/*
 * One request to a calendar server. The certificate is verified, the secret goes to one origin
 * only, redirects are followed by hand and on it, a body that must be sent again after a 401 is,
 * replies are bounded in size and time. It neither caches nor retries.
 */
#pragma once

#include <gio/gio.h>

#include "base/clock.h"

#define DAV_BYTES_MAX                                                                              \
    (8 * 1024 * 1024)       /* of a reply; a listing of some ten thousand events; chosen */
#define DAV_IDLE_S 30       /* nothing comes: given up; chosen */
#define DAV_TOTAL_S 120     /* something comes, but no end; chosen */
#define DAV_REDIRECTS_MAX 5 /* chosen */

typedef struct DavClient DavClient;

/*
 * For the origin of BASE, an address that url_is_safe(). SECRET is taken over (nullable with USER:
 * no authentication), and overwritten when the client is freed.
 */
DavClient *dav_client_new(const char *base, const char *user, char *secret, const char *user_agent,
                          Clock *clk);
void dav_client_set_limits(DavClient *client, guint idle_s, guint total_s);
void dav_client_free(DavClient *client);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(DavClient, dav_client_free)

/* Where HREF, found in what TO answered, is: its address on the client's origin; NULL elsewhere. */
char *dav_resolve(const DavClient *client, const char *to, const char *href);

/* The path of it, written always the same way; g_free(). */
char *dav_path(const char *address);

typedef struct DavRequest {
    const char *method;
    const char *address;
    const char *depth;        /* (nullable) */
    const char *if_match;     /* (nullable) */
    gboolean if_none_match;   /* "*": only if nothing is there */
    const char *content_type; /* (nullable) */
    const char *body;         /* (nullable) */
    gsize bytes_max;          /* 0: DAV_BYTES_MAX */
} DavRequest;

typedef struct DavReply {
    guint status;
    char *address;   /* (owned) the one that answered, after redirects */
    char *etag;      /* (owned) (nullable) to the letter */
    GBytes *body;    /* (owned) */
    int64_t retry_s; /* Retry-After in seconds from now; 0 not said */
} DavReply;

void dav_reply_free(DavReply *reply);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(DavReply, dav_reply_free)

/* REQUEST only lives during the call; CLIENT until `done`. */
void dav_send(DavClient *client, const DavRequest *request, GCancellable *cancellable,
              GAsyncReadyCallback done, gpointer data);

/* The reply, whatever its status. Errors name the host and never a secret or the user. */
DavReply *dav_send_finish(GAsyncResult *result, GError **error) G_GNUC_WARN_UNUSED_RESULT;

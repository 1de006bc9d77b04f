/* SPDX-License-Identifier: MIT */
#include "feed/visitors.h"

#include <string.h>

#define NETWORK_BYTES 8 /* RFC 4291 §2.5.1: an interface id has 64 bits */

typedef struct Asked {
    int64_t from_utc; /* of the span that `n` is of */
    guint n;
} Asked;

struct Visitors {
    GHashTable *asked;       /* (owned) (element-type GBytes Asked) */
    GHashTable *connections; /* (owned) (element-type GBytes guint); connections hold it too */
};

typedef struct Connected {
    GHashTable *connections; /* (owned) a reference */
    GBytes *peer;            /* (owned) */
} Connected;

static GBytes *key_of(GInetAddress *peer)
{
    const gboolean is_6 = g_inet_address_get_family(peer) == G_SOCKET_FAMILY_IPV6;
    return g_bytes_new(g_inet_address_to_bytes(peer),
                       is_6 ? NETWORK_BYTES : g_inet_address_get_native_size(peer));
}

Visitors *visitors_new(void)
{
    Visitors *visitors = g_new0(Visitors, 1);
    const GDestroyNotify free_key = (GDestroyNotify)g_bytes_unref;

    visitors->asked = g_hash_table_new_full(g_bytes_hash, g_bytes_equal, free_key, g_free);
    visitors->connections = g_hash_table_new_full(g_bytes_hash, g_bytes_equal, free_key, NULL);
    return visitors;
}

void visitors_free(Visitors *visitors)
{
    if (visitors == NULL)
        return;
    g_hash_table_unref(visitors->asked);
    g_hash_table_unref(visitors->connections);
    g_free(visitors);
}

/* A span that is said to begin later is of a clock that was put back since. */
static gboolean is_over(const Asked *asked, int64_t now_utc)
{
    return now_utc >= asked->from_utc + VISITORS_SPAN_S || now_utc < asked->from_utc;
}

static gboolean forgettable(gpointer key, gpointer value, gpointer data)
{
    (void)key;
    return is_over(value, *(const int64_t *)data);
}

guint visitors_ask(Visitors *visitors, GInetAddress *peer, int64_t now_utc)
{
    g_autoptr(GBytes) key = key_of(peer);
    Asked *asked = g_hash_table_lookup(visitors->asked, key);

    if (asked == NULL) {
        if (g_hash_table_size(visitors->asked) >= VISITORS_PEERS_MAX)
            g_hash_table_foreach_remove(visitors->asked, forgettable, &now_utc);
        if (g_hash_table_size(visitors->asked) >= VISITORS_PEERS_MAX)
            return VISITORS_SPAN_S;
        asked = g_new0(Asked, 1);
        asked->from_utc = now_utc;
        g_hash_table_insert(visitors->asked, g_steal_pointer(&key), asked);
    } else if (is_over(asked, now_utc)) {
        *asked = (Asked){.from_utc = now_utc};
    }
    asked->n = MIN(asked->n + 1, 2 * VISITORS_REQUESTS_MAX);
    return asked->n <= VISITORS_REQUESTS_MAX ? 0
                                             : (guint)(asked->from_utc + VISITORS_SPAN_S - now_utc);
}

gboolean visitors_is_flood(const Visitors *visitors, GInetAddress *peer, int64_t now_utc)
{
    g_autoptr(GBytes) key = key_of(peer);
    const Asked *asked = g_hash_table_lookup(visitors->asked, key);

    return asked != NULL && !is_over(asked, now_utc) && asked->n >= 2 * VISITORS_REQUESTS_MAX;
}

static void on_gone(gpointer data, GObject *connection)
{
    Connected *gone = data;
    const guint n = GPOINTER_TO_UINT(g_hash_table_lookup(gone->connections, gone->peer));

    (void)connection;
    if (n > 1)
        g_hash_table_replace(gone->connections, g_bytes_ref(gone->peer), GUINT_TO_POINTER(n - 1));
    else
        g_hash_table_remove(gone->connections, gone->peer);
    g_hash_table_unref(gone->connections);
    g_bytes_unref(gone->peer);
    g_free(gone);
}

gboolean visitors_connect(Visitors *visitors, GInetAddress *peer, GObject *connection)
{
    g_autoptr(GBytes) key = key_of(peer);
    const guint n = GPOINTER_TO_UINT(g_hash_table_lookup(visitors->connections, key));

    if (n >= VISITORS_CONNECTIONS_MAX)
        return FALSE;
    Connected *made = g_new0(Connected, 1);
    made->connections = g_hash_table_ref(visitors->connections);
    made->peer = g_bytes_ref(key);
    g_hash_table_replace(visitors->connections, g_steal_pointer(&key), GUINT_TO_POINTER(n + 1));
    g_object_weak_ref(connection, on_gone, made);
    return TRUE;
}

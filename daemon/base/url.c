/* SPDX-License-Identifier: MIT */
#include "base/url.h"

#include <gio/gio.h>
#include <string.h>

static gboolean is_this_machine(const char *host)
{
    g_autoptr(GInetAddress) address = g_inet_address_new_from_string(host);
    return strcmp(host, "localhost") == 0 ||
           (address != NULL && g_inet_address_get_is_loopback(address));
}

gboolean url_is_safe(const char *text)
{
    g_autoptr(GUri) uri = g_uri_parse(text, G_URI_FLAGS_HAS_PASSWORD, NULL);
    const char *host = uri != NULL ? g_uri_get_host(uri) : NULL;
    if (host == NULL || *host == '\0')
        return FALSE;
    return strcmp(g_uri_get_scheme(uri), "https") == 0 ||
           (strcmp(g_uri_get_scheme(uri), "http") == 0 && is_this_machine(host));
}

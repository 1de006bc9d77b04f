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

char *url_of_server(const char *text)
{
    g_autofree char *address = NULL;
    const char *at = strrchr(text, '@');

    if (strstr(text, "://") != NULL)
        address = g_strdup(text);
    else
        address = g_strdup_printf("https://%s", at != NULL ? at + 1 : text);
    g_autoptr(GUri) uri =
        g_uri_parse(address, G_URI_FLAGS_ENCODED | G_URI_FLAGS_HAS_PASSWORD, NULL);
    if (uri == NULL || !url_is_safe(address) || g_uri_get_userinfo(uri) != NULL ||
        strpbrk(text, " \t") != NULL)
        return NULL;
    const char *path = g_uri_get_path(uri);
    return g_uri_join(G_URI_FLAGS_ENCODED, g_uri_get_scheme(uri), NULL, g_uri_get_host(uri),
                      g_uri_get_port(uri), *path != '\0' ? path : "/", NULL, NULL);
}

/* SPDX-License-Identifier: MIT */
/* The feed: where it listens, and what may not go over the air in the clear. */
#include <gio/gio.h>
#include <string.h>

#include "base/paths.h"
#include "base/secret.h"
#include "base/url.h"
#include "garden/feed-setup.h"
#include "garden/read.h"

#define PEM_BYTES_MAX (64 * 1024) /* of a certificate with its chain, or a key; chosen */
#define LISTEN_FORM                                                                                \
    "accepted is ADDRESS:PORT in numbers, such as " FEED_LISTEN_USUAL " or [::]:8650"
#define ADDRESS_FORM "accepted is https://HOST, with :PORT and /FOLDER where they are needed"

void feed_setup_free(FeedSetup *setup)
{
    if (setup == NULL)
        return;
    secret_free(setup->key);
    g_free(setup->certificate);
    g_free(setup);
}

FeedSetup *feed_setup_copy(const FeedSetup *setup)
{
    FeedSetup *copy = g_memdup2(setup, sizeof *setup);

    copy->certificate = g_strdup(setup->certificate);
    copy->key = g_strdup(setup->key);
    return copy;
}

bool feed_setup_equal(const FeedSetup *a, const FeedSetup *b)
{
    return strcmp(a->host, b->host) == 0 && a->port == b->port && a->plain == b->plain &&
           strcmp(a->outside, b->outside) == 0 && a->refresh_h == b->refresh_h &&
           g_strcmp0(a->certificate, b->certificate) == 0 && g_strcmp0(a->key, b->key) == 0;
}

static gboolean is_port(const char *text, int *ret)
{
    const gsize length = strlen(text);

    if (length < 1 || length > 5 || strspn(text, "0123456789") != length)
        return FALSE;
    *ret = (int)g_ascii_strtoll(text, NULL, 10);
    return *ret <= 65535;
}

static gboolean read_listen(ConfigSection *section, FeedSetup *setup, GError **error)
{
    const char *given = config_get_text(section, "listen");
    const char *text = given != NULL ? given : FEED_LISTEN_USUAL;
    const char *colon = strrchr(text, ':');
    g_autofree char *host = g_strndup(text, colon != NULL ? (gsize)(colon - text) : 0);
    const gsize length = strlen(host);

    if (length > 2 && host[0] == '[' && host[length - 1] == ']') {
        memmove(host, host + 1, length - 2);
        host[length - 2] = '\0';
    } else if (strchr(host, ':') != NULL) {
        *host = '\0'; /* which part of it is the port is not to be guessed */
    }
    g_autoptr(GInetAddress) address = g_inet_address_new_from_string(host);
    if (colon == NULL || address == NULL || strlen(host) >= sizeof setup->host ||
        !is_port(colon + 1, &setup->port))
        return config_refuse(section, "listen", error, "not where to listen; " LISTEN_FORM);
    g_strlcpy(setup->host, host, sizeof setup->host);
    return TRUE;
}

/* What the file named by KEY holds, or NULL; IS_SECRET: nobody else may be able to read it. */
static gboolean read_pem(const Config *config, ConfigSection *section, const char *key,
                         gboolean is_secret, char **ret, GError **error)
{
    const char *name = config_get_text(section, key);
    g_autoptr(GError) cause = NULL;
    gsize length;

    if (name == NULL)
        return TRUE;
    g_autofree char *path = paths_secret(name, config->folder);
    *ret = is_secret ? secret_read_text(path, PEM_BYTES_MAX, &cause)
                     : config_read_file(path, PEM_BYTES_MAX, &length, &cause);
    return *ret != NULL || config_refuse(section, key, error, "%s", cause->message);
}

static gboolean read_certificate(const Config *config, ConfigSection *section, FeedSetup *setup,
                                 GError **error)
{
    g_autoptr(GError) cause = NULL;

    if (!read_pem(config, section, "certificate", FALSE, &setup->certificate, error) ||
        !read_pem(config, section, "key", TRUE, &setup->key, error))
        return FALSE;
    if ((setup->certificate == NULL) != (setup->key == NULL))
        return config_refuse(section, setup->key == NULL ? "certificate" : "key", error,
                             "of no use alone; accepted are certificate= and key= together");
    if (setup->key == NULL)
        return TRUE;
    char *both = g_strconcat(setup->certificate, "\n", setup->key, NULL);
    g_autoptr(GTlsCertificate) certificate = g_tls_certificate_new_from_pem(both, -1, &cause);
    secret_free(both);
    if (certificate == NULL)
        return config_refuse(section, "certificate", error,
                             "no certificate with its key: %s; accepted are two PEM files",
                             cause->message);
    return TRUE;
}

static gboolean read_outside(ConfigSection *section, FeedSetup *setup, GError **error)
{
    const char *text = config_get_text(section, "address");

    if (text == NULL)
        return TRUE;
    g_autoptr(GUri) uri = g_uri_parse(text, G_URI_FLAGS_HAS_PASSWORD, NULL);
    const char *host = uri != NULL ? g_uri_get_host(uri) : NULL;
    gboolean fits = host != NULL && *host != '\0' && strlen(text) < sizeof setup->outside;
    for (const char *p = text; *p != '\0'; p++)
        fits = fits && g_ascii_isgraph(*p);
    if (!fits || g_uri_get_userinfo(uri) != NULL || strpbrk(text, "?#\"<>\\") != NULL ||
        (strcmp(g_uri_get_scheme(uri), "https") != 0 && strcmp(g_uri_get_scheme(uri), "http") != 0))
        return config_refuse(section, "address", error, "not an address to call; " ADDRESS_FORM);
    if (!setup->plain && !url_is_safe(text))
        return config_refuse(section, "address", error,
                             "anybody on the way could read it; accepted is https://, or http:// "
                             "together with plain=yes");
    g_strlcpy(setup->outside, text, sizeof setup->outside);
    for (gsize n = strlen(setup->outside); n > 0 && setup->outside[n - 1] == '/'; n--)
        setup->outside[n - 1] = '\0';
    return TRUE;
}

static gboolean check_reach(ConfigSection *section, const FeedSetup *setup, GError **error)
{
    g_autoptr(GInetAddress) address = g_inet_address_new_from_string(setup->host);

    if (!g_inet_address_get_is_loopback(address) && setup->certificate == NULL && !setup->plain)
        return config_refuse(section, "listen", error,
                             "others could read along without TLS; accepted together with "
                             "certificate= and key=, or with plain=yes where a proxy or a private "
                             "network sees to it");
    if (g_inet_address_get_is_any(address) && setup->outside[0] == '\0')
        return config_refuse(section, NULL, error,
                             "address= is missing; it must be given where every address of this "
                             "machine is listened at: no phone can call %s",
                             setup->host);
    return TRUE;
}

static gboolean read_setup(const Config *config, ConfigSection *section, FeedSetup *setup,
                           GError **error)
{
    if (section->name != NULL)
        return config_refuse(section, NULL, error, "this section has no name; accepted is [feed]");
    setup->refresh_h = FEED_REFRESH_USUAL_H;
    return read_listen(section, setup, error) &&
           config_get_yes(section, "plain", &setup->plain, error) &&
           read_certificate(config, section, setup, error) && read_outside(section, setup, error) &&
           config_get_whole(section, "refresh-hours", 1, 48, "hours", &setup->refresh_h, error) &&
           check_reach(section, setup, error) && config_section_finish(section, error);
}

gboolean read_feed(Config *config, Garden *garden, GError **error)
{
    guint position = 0;
    ConfigSection *section = config_next(config, "feed", &position);

    if (section == NULL)
        return TRUE;
    garden->feed = g_new0(FeedSetup, 1);
    return read_setup(config, section, garden->feed, error);
}

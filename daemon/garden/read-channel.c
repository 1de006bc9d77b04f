/* SPDX-License-Identifier: MIT */
#include <string.h>

#include "base/secret.h"
#include "base/url.h"
#include "garden/garden.h"
#include "garden/read.h"

#define TRUSTED_BYTES_MAX (1024 * 1024) /* of a file of certificates; chosen */
#define DAY_MIN (24 * 60)
#define ADDRESS_FORM "accepted is NAME@HOST in ASCII, such as me@plot.example"
#define SERVER_FORM                                                                                \
    "accepted is smtps://HOST or smtp://HOST, with :PORT where it is not the usual one"

static gboolean is_visible(const char *text)
{
    for (const char *p = text; *p != '\0'; p++) {
        if (!g_ascii_isgraph(*p))
            return FALSE;
    }
    return *text != '\0';
}

/* One mail address, without what would need quotes (RFC 5321 §4.1.2, Dot-string). */
static gboolean is_mail_address(const char *text)
{
    const char *at = strchr(text, '@');

    return is_visible(text) && at != NULL && at > text && at[1] != '\0' &&
           strpbrk(text, "<>()[],;:\\\"|") == NULL && strchr(at + 1, '@') == NULL;
}

/* A key that must be given, put into *TO. */
static gboolean needed(ConfigSection *section, const char *key, char *to, gsize size,
                       GError **error)
{
    const char *text = config_get_text(section, key);

    if (text == NULL || *text == '\0')
        return config_refuse(section, NULL, error, "%s= is missing; it must be given", key);
    if (strlen(text) >= size)
        return config_refuse(section, key, error, "too long; accepted are at most %d bytes",
                             (int)size - 1);
    g_strlcpy(to, text, size);
    return TRUE;
}

/* ---- hours ---- */

static gboolean read_quiet(ConfigSection *section, ChannelSetup *setup, GError **error)
{
    const char *text = config_get_text(section, "quiet"), *p = text;
    int from_min, to_min;

    if (text == NULL)
        return TRUE;
    if (!read_time_of_day(&p, &from_min) || *p++ != '-' || !read_time_of_day(&p, &to_min) ||
        *p != '\0' || from_min == DAY_MIN || from_min == to_min % DAY_MIN)
        return config_refuse(section, "quiet", error,
                             "not a span of hours; accepted is HH:MM-HH:MM, such as 22:00-07:00");
    setup->quiet_from_min = from_min;
    setup->quiet_to_min = to_min % DAY_MIN;
    return TRUE;
}

static gboolean read_digest(ConfigSection *section, ChannelSetup *setup, GError **error)
{
    const char *text = config_get_text(section, "digest"), *p = text;
    int minute;

    if (text == NULL)
        return TRUE;
    if (!read_time_of_day(&p, &minute) || *p != '\0' || minute == DAY_MIN)
        return config_refuse(section, "digest", error,
                             "not a time of the day; accepted is HH:MM, such as 19:00");
    setup->digest_min = minute;
    return TRUE;
}

/* ---- what a kind needs ---- */

static gboolean read_secret_word(const Config *config, ConfigSection *section, ChannelSetup *setup,
                                 GError **error)
{
    char *secret = NULL;

    if (!read_secret(config, section, "secret-file", &secret, error))
        return FALSE;
    if (secret == NULL)
        return TRUE;
    const gsize length = g_strlcpy(setup->secret, secret, sizeof setup->secret);
    secret_free(secret);
    return length < sizeof setup->secret ||
           config_refuse(section, "secret-file", error,
                         "does not hold a secret; accepted is one line, at most %d bytes",
                         (int)sizeof setup->secret - 1);
}

static gboolean read_trusted(const Config *config, ConfigSection *section, ChannelSetup *setup,
                             GError **error)
{
    const char *name = config_get_text(section, "ca-file");
    g_autofree char *path = NULL;
    g_autofree char *bytes = NULL;
    g_autoptr(GError) cause = NULL;
    gsize length;

    if (name == NULL)
        return TRUE;
    path = g_canonicalize_filename(name, config->folder);
    bytes = config_read_file(path, TRUSTED_BYTES_MAX, &length, &cause);
    if (bytes == NULL)
        return config_refuse(section, "ca-file", error, "%s", cause->message);
    if (strstr(bytes, "-----BEGIN CERTIFICATE-----") == NULL ||
        strlen(path) >= sizeof setup->ca_file)
        return config_refuse(section, "ca-file", error,
                             "holds no certificate; accepted is a PEM file with a path of at most "
                             "%d bytes",
                             (int)sizeof setup->ca_file - 1);
    g_strlcpy(setup->ca_file, path, sizeof setup->ca_file);
    return TRUE;
}

static gboolean is_mail_server(const char *text)
{
    g_autoptr(GUri) uri = g_uri_parse(text, G_URI_FLAGS_NONE, NULL);
    const char *scheme = uri != NULL ? g_uri_get_scheme(uri) : "";

    return is_visible(text) && (strcmp(scheme, "smtp") == 0 || strcmp(scheme, "smtps") == 0) &&
           g_uri_get_host(uri) != NULL && *g_uri_get_host(uri) != '\0' &&
           *g_uri_get_path(uri) == '\0' && strpbrk(text, "@?#") == NULL;
}

static gboolean read_server(const Config *config, ConfigSection *section, ChannelSetup *setup,
                            GError **error)
{
    const char *server = config_get_text(section, "server");
    const char *user = config_get_text(section, "user");

    if (server != NULL) {
        if (!is_mail_server(server) || strlen(server) >= sizeof setup->server)
            return config_refuse(section, "server", error, "not a mail server; " SERVER_FORM);
        g_strlcpy(setup->server, server, sizeof setup->server);
    }
    if (!read_secret_word(config, section, setup, error) ||
        !read_trusted(config, section, setup, error))
        return FALSE;
    if (user != NULL && (server == NULL || setup->secret[0] == '\0'))
        return config_refuse(section, "user", error,
                             "a login needs more; accepted together with server= and secret-file=");
    if (user == NULL && setup->secret[0] != '\0')
        return config_refuse(section, "secret-file", error,
                             "nobody's password; accepted together with user=");
    if (user != NULL && (!is_visible(user) || strlen(user) >= sizeof setup->user))
        return config_refuse(section, "user", error,
                             "not a name; accepted is visible ASCII without blanks, at most %d "
                             "bytes",
                             (int)sizeof setup->user - 1);
    g_strlcpy(setup->user, user != NULL ? user : "", sizeof setup->user);
    return TRUE;
}

static gboolean read_mail(const Config *config, ConfigSection *section, ChannelSetup *setup,
                          GError **error)
{
    const char *sendmail = config_get_text(section, "sendmail");

    if (!needed(section, "to", setup->to, sizeof setup->to, error) ||
        !needed(section, "from", setup->from, sizeof setup->from, error))
        return FALSE;
    g_auto(GStrv) addresses = g_strsplit(setup->to, " ", -1);
    for (char **address = addresses; *address != NULL; address++) {
        if (!is_mail_address(*address))
            return config_refuse(section, "to", error,
                                 "not a mail address; " ADDRESS_FORM
                                 ", or several with one blank between");
    }
    if (!is_mail_address(setup->from))
        return config_refuse(section, "from", error, "not a mail address; " ADDRESS_FORM);
    if (sendmail != NULL &&
        (!g_path_is_absolute(sendmail) || strlen(sendmail) >= sizeof setup->sendmail))
        return config_refuse(section, "sendmail", error,
                             "not a program; accepted is its whole path, such as %s",
                             CHANNEL_SENDMAIL_USUAL);
    g_strlcpy(setup->sendmail, sendmail != NULL ? sendmail : CHANNEL_SENDMAIL_USUAL,
              sizeof setup->sendmail);
    return read_server(config, section, setup, error);
}

static gboolean read_webhook(const Config *config, ConfigSection *section, ChannelSetup *setup,
                             GError **error)
{
    if (!needed(section, "url", setup->url, sizeof setup->url, error))
        return FALSE;
    if (!url_is_safe(setup->url) || !is_visible(setup->url) || strchr(setup->url, '#') != NULL)
        return config_refuse(section, "url", error,
                             "not an address to write to; accepted is https://HOST/PATH without # "
                             "(http only for this machine)");
    return read_secret_word(config, section, setup, error) &&
           read_trusted(config, section, setup, error);
}

static gboolean read_command(ConfigSection *section, ChannelSetup *setup, GError **error)
{
    g_auto(GStrv) words = NULL;

    if (!needed(section, "command", setup->command, sizeof setup->command, error))
        return FALSE;
    if (!g_shell_parse_argv(setup->command, NULL, &words, NULL) || !g_path_is_absolute(words[0]))
        return config_refuse(section, "command", error,
                             "not a program; accepted is its whole path, then its arguments, with "
                             "quotes round those that have blanks in them");
    return TRUE;
}

static gboolean read_channel(const Config *config, const Garden *garden, ConfigSection *section,
                             ChannelSetup *setup, GError **error)
{
    static const char *const kinds[] = {"desktop", "mail", "webhook", "command", NULL};
    int kind = -1;

    g_strlcpy(setup->name, section->name, sizeof setup->name);
    setup->order = CHANNEL_ORDER_USUAL;
    setup->limit_s = CHANNEL_LIMIT_USUAL_S;
    setup->digest_min = -1;
    if (!config_get_word(section, "kind", kinds, &kind, error))
        return FALSE;
    if (kind < 0)
        return config_refuse(section, NULL, error,
                             "kind= is missing; accepted is desktop, mail, webhook, command");
    setup->kind = (ChannelKind)kind;
    if (!read_whose(garden, section, &setup->grower, error) ||
        !config_get_whole(section, "order", 1, 9, "", &setup->order, error) ||
        !config_get_whole(section, "limit-seconds", 1, 300, "seconds", &setup->limit_s, error) ||
        !read_quiet(section, setup, error) || !read_digest(section, setup, error))
        return FALSE;
    switch (setup->kind) {
    case CHANNEL_DESKTOP:
        break;
    case CHANNEL_MAIL:
        if (!read_mail(config, section, setup, error))
            return FALSE;
        break;
    case CHANNEL_WEBHOOK:
        if (!read_webhook(config, section, setup, error))
            return FALSE;
        break;
    case CHANNEL_COMMAND:
        if (!read_command(section, setup, error))
            return FALSE;
        break;
    }
    return config_section_finish(section, error);
}

gboolean read_channels(Config *config, Garden *garden, GError **error)
{
    g_autoptr(GPtrArray) sections = read_sections(config, "channel", FALSE, error);

    if (sections == NULL)
        return FALSE;
    garden->channels = g_new0(ChannelSetup, sections->len);
    for (guint i = 0; i < sections->len; i++) {
        if (!read_channel(config, garden, g_ptr_array_index(sections, i), &garden->channels[i],
                          error))
            return FALSE;
        garden->n_channels++;
    }
    return TRUE;
}

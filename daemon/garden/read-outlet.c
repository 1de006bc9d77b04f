/* SPDX-License-Identifier: MIT */
#include <string.h>

#include "base/paths.h"
#include "base/url.h"
#include "garden/outlets.h"
#include "garden/read.h"

#define TITLE_USUAL "thole"

/* A text that need not be given, put into TO. Refused where it does not fit. */
static gboolean fitting(ConfigSection *section, const char *key, char *to, gsize size,
                        GError **error)
{
    const char *text = config_get_text(section, key);

    if (text == NULL)
        return TRUE;
    if (*text == '\0' || strlen(text) >= size || !g_utf8_validate(text, -1, NULL))
        return config_refuse(section, key, error,
                             "cannot be used; accepted are 1 to %d bytes of text", (int)size - 1);
    g_strlcpy(to, text, size);
    return TRUE;
}

static gboolean read_path(const Config *config, ConfigSection *section, OutletSetup *setup,
                          GError **error)
{
    const char *name = config_get_text(section, "path");
    g_autofree char *path = NULL;

    if (name == NULL || *name == '\0')
        return config_refuse(section, NULL, error, "path= is missing; it must be given");
    path = g_canonicalize_filename(name, config->folder);
    if (strlen(path) >= sizeof setup->path)
        return config_refuse(section, "path", error, "too long; accepted are at most %d bytes",
                             (int)sizeof setup->path - 1);
    g_strlcpy(setup->path, path, sizeof setup->path);
    return TRUE;
}

/* ---- a server ---- */

static gboolean read_address(ConfigSection *section, OutletSetup *setup, GError **error)
{
    const char *text = config_get_text(section, "address");
    g_autofree char *whole = text != NULL ? url_of_server(text) : NULL;

    if (text == NULL || *text == '\0')
        return config_refuse(section, NULL, error, "address= is missing; it must be given");
    if (whole == NULL || strlen(text) >= sizeof setup->address)
        return config_refuse(section, "address", error,
                             "not a calendar server; accepted is a host, NAME@HOST, or https://… "
                             "without a name and password (http only for this machine), at most "
                             "%d bytes",
                             (int)sizeof setup->address - 1);
    g_strlcpy(setup->address, text, sizeof setup->address);
    /* A login is most often the whole address (RFC 6764 §6, first choice). */
    if (strstr(text, "://") == NULL && strchr(text, '@') != NULL)
        g_strlcpy(setup->user, text, sizeof setup->user);
    return TRUE;
}

static gboolean read_login(const Config *config, ConfigSection *section, OutletSetup *setup,
                           GError **error)
{
    const char *name = config_get_text(section, "secret-file");

    if (!fitting(section, "user", setup->user, sizeof setup->user, error))
        return FALSE;
    if (strchr(setup->user, ':') != NULL) /* RFC 7617 §2 */
        return config_refuse(section, "user", error, "has a colon; accepted is a name without one");
    if (name == NULL)
        return setup->user[0] == '\0' ||
               config_refuse(section, config_has(section, "user") ? "user" : "address", error,
                             "a login needs more; accepted together with secret-file=");
    if (setup->user[0] == '\0')
        return config_refuse(section, "secret-file", error,
                             "nobody's password; accepted together with user=");
    g_autofree char *path = paths_secret(name, config->folder);
    if (*name == '\0' || strlen(path) >= sizeof setup->secret)
        return config_refuse(section, "secret-file", error,
                             "not a file; accepted is a path of at most %d bytes",
                             (int)sizeof setup->secret - 1);
    g_strlcpy(setup->secret, path, sizeof setup->secret);
    return TRUE;
}

/* Without the usual "#" in front, which a line of the file may not have. */
static gboolean read_colour(ConfigSection *section, OutletSetup *setup, GError **error)
{
    const char *text = config_get_text(section, "colour");

    if (text == NULL)
        return TRUE;
    if (strlen(text) != 6 || strspn(text, "0123456789abcdefABCDEF") != 6)
        return config_refuse(section, "colour", error,
                             "not a colour; accepted is RRGGBB, such as 2f7d32");
    g_snprintf(setup->colour, sizeof setup->colour, "#%s", text);
    return TRUE;
}

static gboolean read_server(const Config *config, ConfigSection *section, OutletSetup *setup,
                            GError **error)
{
    return read_address(section, setup, error) && read_login(config, section, setup, error) &&
           fitting(section, "name", setup->title, sizeof setup->title, error) &&
           read_colour(section, setup, error) &&
           config_get_whole(section, "poll-minutes", 1, 24 * 60, "minutes", &setup->poll_min,
                            error);
}

/* ---- all kinds ---- */

static gboolean read_outlet(const Config *config, const Garden *garden, ConfigSection *section,
                            OutletSetup *setup, GError **error)
{
    static const char *const kinds[] = {"server", "folder", "file", NULL};
    int kind = -1;

    g_strlcpy(setup->name, section->name, sizeof setup->name);
    setup->poll_min = OUTLET_POLL_USUAL_MIN;
    if (!config_get_word(section, "kind", kinds, &kind, error))
        return FALSE;
    if (kind < 0)
        return config_refuse(section, NULL, error,
                             "kind= is missing; accepted is server, folder, file");
    setup->kind = (OutletKind)kind;
    if (!read_whose(garden, section, &setup->grower, error))
        return FALSE;
    if (setup->grower < 0)
        g_strlcpy(setup->title, TITLE_USUAL, sizeof setup->title);
    else
        g_snprintf(setup->title, sizeof setup->title, TITLE_USUAL " %s",
                   garden->growers[setup->grower].name);
    switch (setup->kind) {
    case OUTLET_SERVER:
        if (!read_server(config, section, setup, error))
            return FALSE;
        break;
    case OUTLET_FOLDER:
        if (!read_path(config, section, setup, error))
            return FALSE;
        break;
    case OUTLET_FILE:
        if (!read_path(config, section, setup, error) ||
            !fitting(section, "name", setup->title, sizeof setup->title, error))
            return FALSE;
        break;
    }
    return config_section_finish(section, error);
}

/* Two that write to one place would undo each other's work for ever. */
static gboolean alone(const Garden *garden, int i, const ConfigSection *section, GError **error)
{
    const OutletSetup *setup = &garden->outlets[i];

    for (int k = 0; setup->path[0] != '\0' && k < i; k++) {
        if (strcmp(garden->outlets[k].path, setup->path) == 0)
            return config_refuse(section, "path", error,
                                 "is that of [calendar %s] too; accepted is one of its own",
                                 garden->outlets[k].name);
    }
    return TRUE;
}

gboolean read_outlets(Config *config, Garden *garden, GError **error)
{
    g_autoptr(GPtrArray) sections = read_sections(config, "calendar", FALSE, error);

    if (sections == NULL)
        return FALSE;
    garden->outlets = g_new0(OutletSetup, sections->len);
    for (guint i = 0; i < sections->len; i++) {
        if (!read_outlet(config, garden, g_ptr_array_index(sections, i), &garden->outlets[i],
                         error) ||
            !alone(garden, (int)i, g_ptr_array_index(sections, i), error))
            return FALSE;
        garden->n_outlets++;
    }
    return TRUE;
}

/* SPDX-License-Identifier: MIT */
/*
 * A key file read with care: lines are known, nothing is given twice, every key is consumed as it
 * is read, and what nobody asked for is refused. Whatever is accepted here is a valid GKeyFile too
 * and holds the same values. Comments have lines of their own. The first error is the only one:
 *   thole.conf:LINE: [section] key=value: what is wrong; what would be accepted
 * Messages never repeat the value of latitude or longitude: they end up in logs.
 */
#pragma once

#include <glib.h>

#define CONFIG_BYTES_MAX (1024 * 1024) /* longest file, chosen */
#define CONFIG_SECTIONS_MAX 500        /* most sections in it, chosen */
#define CONFIG_ENTRIES_MAX 200         /* most keys in a section, chosen */

typedef enum ConfigError {
    CONFIG_ERROR_INVALID,    /* what the file says is refused */
    CONFIG_ERROR_UNREADABLE, /* the file could not be read at all */
} ConfigError;
#define CONFIG_ERROR (config_error_quark())
GQuark config_error_quark(void);

typedef struct ConfigEntry {
    char *key, *value; /* (owned) */
    guint line;        /* from 1 */
    gboolean used;
} ConfigEntry;

typedef struct ConfigSection {
    const char *file; /* name shown in messages; (unowned) */
    char *kind;       /* "site" of [site plot]; (owned) */
    char *name;       /* "plot", or NULL in [garden]; (owned) (nullable) */
    guint line;
    gboolean used;
    GPtrArray *entries; /* (owned) (element-type ConfigEntry) */
    GPtrArray *asked;   /* keys that a reader asked for; (owned) (element-type utf8) */
} ConfigSection;

typedef struct Config {
    char *file;          /* shown in messages; (owned) */
    char *folder;        /* absolute; (owned) */
    GPtrArray *sections; /* in file order; (owned) (element-type ConfigSection) */
    GPtrArray *kinds;    /* section kinds that readers asked for; (owned) (element-type utf8) */
} Config;

/* Splits LENGTH bytes into sections and entries. PATH gives the name for messages and the folder.
 */
Config *config_scan(const char *bytes, gsize length, const char *path,
                    GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* The bytes of a regular file of at most MAX bytes, with a zero after them; to be freed with
 * g_free(). */
char *config_read_file(const char *path, gsize max, gsize *ret_length,
                       GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Frees the file and all in it. NULL is ignored. */
void config_free(Config *config);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(Config, config_free)

/* Whether TEXT can name a thing: letters, digits, - and _, no spaces, short enough for NAME_SIZE.
 */
gboolean config_is_name(const char *text);

/* The first LETTERS letters of TEXT, which is UTF-8, and "..." where there are more; to be freed.
 */
char *config_clip(const char *text, glong letters) G_GNUC_WARN_UNUSED_RESULT;

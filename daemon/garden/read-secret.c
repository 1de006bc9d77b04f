/* SPDX-License-Identifier: MIT */
#include <glib/gstdio.h>
#include <string.h>

#include "base/paths.h"
#include "garden/read.h"

#define SECRET_BYTES_MAX 1024 /* of its file; chosen */

/* systemd hands a credential over with an access list, which shows as group bits in its mode. */
static gboolean is_handed_over(const char *path)
{
    const char *credentials = g_getenv("CREDENTIALS_DIRECTORY");
    g_autofree char *folder = g_path_get_dirname(path);
    return credentials != NULL && strcmp(folder, credentials) == 0;
}

gboolean read_secret(const Config *config, ConfigSection *section, const char *key,
                     char **ret_bytes, GError **error)
{
    const char *name = config_get_text(section, key);
    g_autofree char *path = NULL;
    g_autofree char *bytes = NULL;
    g_autoptr(GError) cause = NULL;
    GStatBuf status;
    gsize length = 0;

    if (name == NULL)
        return TRUE;
    path = paths_secret(name, config->folder);
    bytes = config_read_file(path, SECRET_BYTES_MAX, &length, &cause);
    if (bytes == NULL)
        return config_refuse(section, key, error, "%s", cause->message);
    if (g_stat(path, &status) != 0 || ((status.st_mode & 077) != 0 && !is_handed_over(path)))
        return config_refuse(section, key, error,
                             "others than its owner can read it; accepted is mode 0600");
    *ret_bytes = g_steal_pointer(&bytes);
    return TRUE;
}

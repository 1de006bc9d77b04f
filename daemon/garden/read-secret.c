/* SPDX-License-Identifier: MIT */
#include "base/paths.h"
#include "base/secret.h"
#include "garden/read.h"

gboolean read_secret(const Config *config, ConfigSection *section, const char *key,
                     char **ret_secret, GError **error)
{
    const char *name = config_get_text(section, key);
    g_autofree char *path = NULL;
    g_autoptr(GError) cause = NULL;
    char *secret;

    if (name == NULL)
        return TRUE;
    path = paths_secret(name, config->folder);
    secret = secret_read(path, &cause);
    if (secret == NULL)
        return config_refuse(section, key, error, "%s", cause->message);
    *ret_secret = secret;
    return TRUE;
}

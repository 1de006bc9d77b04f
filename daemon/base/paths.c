/* SPDX-License-Identifier: MIT */
#include "base/paths.h"

#include "base/names.h"

#include <glib.h>
#include <string.h>

char *paths_default_config(void)
{
    return g_build_filename(g_get_user_config_dir(), NAME_PROGRAM, NAME_CONFIG_FILE, NULL);
}

char *paths_default_state_dir(void)
{
    return g_build_filename(g_get_user_state_dir(), NAME_PROGRAM, NULL);
}

char *paths_default_socket(void)
{
    return g_build_filename(g_get_user_runtime_dir(), NAME_PROGRAM, NAME_SOCKET_FILE, NULL);
}

char *paths_secret(const char *name, const char *folder)
{
    const char *credentials = g_getenv("CREDENTIALS_DIRECTORY");

    if (credentials != NULL && strchr(name, '/') == NULL) {
        g_autofree char *path = g_build_filename(credentials, name, NULL);
        if (g_file_test(path, G_FILE_TEST_IS_REGULAR))
            return g_steal_pointer(&path);
    }
    return g_canonicalize_filename(name, folder);
}

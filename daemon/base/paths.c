/* SPDX-License-Identifier: MIT */
#include "base/paths.h"

#include "base/names.h"

#include <glib.h>

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

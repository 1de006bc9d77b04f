/* SPDX-License-Identifier: MIT */
#pragma once

#include <glib.h>

/*
 * The first line of a file that only its owner may read: mode 0600 or 0400, or a credential of the
 * service manager (paths_secret()). The caller overwrites and frees it. Errors name the file, never
 * what is in it.
 */
char *caldav_secret_read(const char *path, GError **error) G_GNUC_WARN_UNUSED_RESULT;

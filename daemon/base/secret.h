/* SPDX-License-Identifier: MIT */
#pragma once

#include <glib.h>

#define SECRET_BYTES_MAX 1024 /* of its file; chosen */

/*
 * The one line of a file that only its owner may read: mode 0600 or 0400, or a credential of the
 * service manager; PATH is that of paths_secret(). The end of the line is none of it, blanks in it
 * are. The caller frees it with secret_free(). Errors name the file, never what is in it.
 */
char *secret_read(const char *path, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* The same for text of several lines, such as a key in PEM, of at most MOST bytes. */
char *secret_read_text(const char *path, gsize most, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Overwrites it first. NULL is ignored. */
void secret_free(char *secret);

/* SPDX-License-Identifier: MIT */
#pragma once

#include <glib.h>
#include <sys/types.h>

/*
 * Replaces the file PATH by LENGTH bytes: a new file beside it, synced, renamed over it, and the
 * folder synced. Whoever reads sees the old or the new content, also after a power cut. On failure
 * the old file is as it was and nothing is left beside it; the error says which path. MODE is what
 * the new file gets, less the umask.
 */
gboolean atomic_file_write(const char *path, const void *bytes, gsize length, mode_t mode,
                           GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* SPDX-License-Identifier: MIT */
#include "base/atomic-file.h"

#include "base/error.h"

gboolean atomic_file_write(const char *path, const void *bytes, gsize length, mode_t mode,
                           GError **error)
{
    g_autoptr(GError) problem = NULL;

    if (length > G_MAXSSIZE) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_LIMIT, "cannot write %s: too large", path);
        return FALSE;
    }
    if (!g_file_set_contents_full(path, bytes, (gssize)length,
                                  G_FILE_SET_CONTENTS_CONSISTENT | G_FILE_SET_CONTENTS_DURABLE,
                                  (int)mode, &problem)) {
        const gboolean read_only = g_error_matches(problem, G_FILE_ERROR, G_FILE_ERROR_ROFS);
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_IO, "cannot write %s: %s%s", path,
                    problem->message,
                    read_only ? "; a service writes only where its unit lets it: name the folder "
                                "there in ReadWritePaths="
                              : "");
        return FALSE;
    }
    return TRUE;
}

/* SPDX-License-Identifier: MIT */
#include "calendar/file.h"

#include <glib/gstdio.h>
#include <errno.h>
#include <string.h>
#include <sys/stat.h>

#include "base/atomic-file.h"
#include "base/error.h"
#include "calendar/write.h"

#define FILE_MODE 0640 /* the owner writes; a program in the owner's group may serve it; chosen */
#define BYTES_MAX (64 * 1024 * 1024) /* far beyond any calendar of ours; chosen */

/* Whether there is a file that may be replaced; FALSE with error when there is something else. */
static gboolean look_at(const char *path, gboolean *ret_exists, GError **error)
{
    GStatBuf status;

    if (g_lstat(path, &status) != 0) {
        int code = errno;
        if (code != ENOENT) {
            g_set_error(error, THOLE_ERROR, THOLE_ERROR_IO,
                        "calendar file %s: cannot be looked at: %s", path, g_strerror(code));
            return FALSE;
        }
        *ret_exists = FALSE;
        return TRUE;
    }
    if (!S_ISREG(status.st_mode)) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_CONFLICT,
                    "calendar file %s: is %s; an ordinary file or a free name is accepted", path,
                    S_ISLNK(status.st_mode)   ? "a symbolic link"
                    : S_ISDIR(status.st_mode) ? "a folder"
                                              : "a device, pipe or socket");
        return FALSE;
    }
    if (status.st_size > BYTES_MAX) {
        g_set_error(
            error, THOLE_ERROR, THOLE_ERROR_CONFLICT,
            "calendar file %s: has %" G_GINT64_FORMAT
            " bytes, no calendar of thole is so large; move it away, or choose another name",
            path, (gint64)status.st_size);
        return FALSE;
    }
    *ret_exists = TRUE;
    return TRUE;
}

/* Whether content may be replaced: empty, or a calendar that names this program as its maker. */
static gboolean is_ours(const char *content, gsize length)
{
    return length == 0 ||
           g_strstr_len(content, (gssize)length, "\r\nPRODID:" CALENDAR_PRODUCT "\r\n") != NULL;
}

gboolean calendar_file_publish(const char *path, GBytes *bytes, gboolean *ret_written,
                               GError **error)
{
    gsize length, old_length = 0;
    const char *data = g_bytes_get_data(bytes, &length);
    g_autofree char *old = NULL;
    gboolean exists, differs;

    if (!look_at(path, &exists, error))
        return FALSE;
    if (exists) {
        if (!g_file_get_contents(path, &old, &old_length, error))
            return FALSE;
        if (!is_ours(old, old_length)) {
            g_set_error(error, THOLE_ERROR, THOLE_ERROR_CONFLICT,
                        "calendar file %s: holds something else than a calendar of thole; "
                        "move it away, or choose another name",
                        path);
            return FALSE;
        }
    }
    differs = !exists || length != old_length || memcmp(data, old, length) != 0;
    if (differs && !atomic_file_write(path, data, length, FILE_MODE, error))
        return FALSE;
    if (ret_written != NULL)
        *ret_written = differs;
    return TRUE;
}

/* SPDX-License-Identifier: MIT */
#include "caldav/secret.h"

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/error.h"

#define SECRET_BYTES_MAX 1024 /* chosen */

static gboolean is_private(int file, const char *path, GError **error)
{
    struct stat status;
    const char *credentials = g_getenv("CREDENTIALS_DIRECTORY");
    /* The service manager's own are given by an access list, which shows as bits of the group. */
    mode_t others = credentials != NULL && g_str_has_prefix(path, credentials) ? 007 : 077;

    if (fstat(file, &status) != 0 || !S_ISREG(status.st_mode)) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID, "%s: is no ordinary file", path);
        return FALSE;
    }
    if ((status.st_mode & others) != 0) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID,
                    "%s: others may read it (mode %04o); accepted 0600 or 0400", path,
                    (unsigned)status.st_mode & 07777);
        return FALSE;
    }
    return TRUE;
}

char *caldav_secret_read(const char *path, GError **error)
{
    int file = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK | O_NOCTTY);
    char *secret = NULL;

    if (file < 0) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_IO, "%s: cannot be read: %s", path,
                    g_strerror(errno));
        return NULL;
    }
    if (is_private(file, path, error)) {
        char bytes[SECRET_BYTES_MAX + 1];
        ssize_t length = read(file, bytes, SECRET_BYTES_MAX);
        bytes[MAX(length, 0)] = '\0';
        bytes[strcspn(bytes, "\r\n")] = '\0';
        if (bytes[0] != '\0')
            secret = g_strdup(bytes);
        else
            g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID, "%s: no secret in its first line",
                        path);
        explicit_bzero(bytes, sizeof bytes);
    }
    close(file);
    return secret;
}

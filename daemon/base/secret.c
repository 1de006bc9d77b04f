/* SPDX-License-Identifier: MIT */
#include "base/secret.h"

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/error.h"

/* systemd hands a credential over with an access list, which shows as bits of the group. */
static mode_t bits_of_others(const char *path)
{
    const char *credentials = g_getenv("CREDENTIALS_DIRECTORY");
    g_autofree char *folder = g_path_get_dirname(path);

    return credentials != NULL && strcmp(folder, credentials) == 0 ? 007 : 077;
}

static gboolean is_private(int file, const char *path, GError **error)
{
    struct stat status;

    if (fstat(file, &status) != 0 || !S_ISREG(status.st_mode)) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID, "%s: is no ordinary file", path);
        return FALSE;
    }
    if ((status.st_mode & bits_of_others(path)) != 0) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID,
                    "%s: others may read it (mode %04o); accepted is mode 0600", path,
                    (unsigned)status.st_mode & 07777);
        return FALSE;
    }
    return TRUE;
}

/* All that FILE holds, zero-terminated; one byte more than MOST is read, no further. */
static char *read_bytes(int file, const char *path, gsize most, gsize *ret_length, GError **error)
{
    char *bytes = g_malloc0(most + 2);
    gsize length = 0;
    ssize_t got;

    while ((got = read(file, bytes + length, most + 1 - length)) > 0)
        length += (gsize)got;
    if (got < 0) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_IO, "%s: cannot be read: %s", path,
                    g_strerror(errno));
        explicit_bzero(bytes, most + 2);
        g_free(bytes);
        return NULL;
    }
    *ret_length = length;
    return bytes;
}

static char *read_private(const char *path, gsize most, gsize *ret_length, GError **error)
{
    char *bytes = NULL;
    int file = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK | O_NOCTTY);

    if (file < 0) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_IO, "%s: cannot be read: %s", path,
                    g_strerror(errno));
        return NULL;
    }
    if (is_private(file, path, error))
        bytes = read_bytes(file, path, most, ret_length, error);
    close(file);
    return bytes;
}

/* BYTES are zero-terminated after LENGTH; the end of the line is taken off. */
static gboolean is_one_line(char *bytes, gsize length)
{
    if (length > SECRET_BYTES_MAX || strlen(bytes) != length)
        return FALSE;
    while (length > 0 && (bytes[length - 1] == '\n' || bytes[length - 1] == '\r'))
        bytes[--length] = '\0';
    for (gsize i = 0; i < length; i++) {
        if (g_ascii_iscntrl(bytes[i]))
            return FALSE;
    }
    return length > 0;
}

char *secret_read(const char *path, GError **error)
{
    gsize length;
    char *secret = read_private(path, SECRET_BYTES_MAX, &length, error);

    if (secret == NULL || is_one_line(secret, length))
        return secret;
    g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID,
                "%s: does not hold a secret; accepted is one line", path);
    explicit_bzero(secret, length);
    g_free(secret);
    return NULL;
}

char *secret_read_text(const char *path, gsize most, GError **error)
{
    gsize length;
    char *secret = read_private(path, most, &length, error);

    if (secret == NULL || (length <= most && strlen(secret) == length))
        return secret;
    g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID,
                "%s: is no text, or too long; accepted are up to %d bytes", path, (int)most);
    explicit_bzero(secret, length);
    g_free(secret);
    return NULL;
}

void secret_free(char *secret)
{
    if (secret == NULL)
        return;
    explicit_bzero(secret, strlen(secret));
    g_free(secret);
}

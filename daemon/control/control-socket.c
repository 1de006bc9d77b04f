/* SPDX-License-Identifier: MIT */
#include "control/control-socket.h"

#include <errno.h>
#include <gio/gunixsocketaddress.h>
#include <grp.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/error.h"
#include "base/names.h"

#define NO_GROUP ((gid_t)-1)

static gboolean fail(GError **error, TholeError code, const char *path, const char *what)
{
    g_set_error(error, THOLE_ERROR, code, "control socket %s: %s", path, what);
    return FALSE;
}

static gboolean fail_errno(GError **error, const char *path, const char *what, int number)
{
    g_set_error(error, THOLE_ERROR, THOLE_ERROR_IO, "control socket %s: %s: %s", path, what,
                g_strerror(number));
    return FALSE;
}

/* The group whose members may ask, or none. */
static gid_t find_group(void)
{
    const struct group *entry = getgrnam(NAME_PROGRAM);

    return entry ? entry->gr_gid : NO_GROUP;
}

/* Takes away a socket that nobody listens at; nothing there is fine too. */
static gboolean clear_path(const char *path, GSocketAddress *address, GError **error)
{
    struct stat status;

    if (lstat(path, &status) != 0)
        return errno == ENOENT || fail_errno(error, path, "cannot be looked at", errno);
    if (!S_ISSOCK(status.st_mode))
        return fail(error, THOLE_ERROR_CONFLICT, path,
                    "a file that is no socket stands there; remove it, or name another path");
    g_autoptr(GError) refused = NULL;
    g_autoptr(GSocket) probe = g_socket_new(G_SOCKET_FAMILY_UNIX, G_SOCKET_TYPE_STREAM,
                                            G_SOCKET_PROTOCOL_DEFAULT, &refused);
    if (!probe)
        return fail(error, THOLE_ERROR_IO, path, refused->message);
    g_socket_set_blocking(probe, FALSE); /* a full backlog must not hold us up */
    if (g_socket_connect(probe, address, NULL, &refused) ||
        g_error_matches(refused, G_IO_ERROR, G_IO_ERROR_WOULD_BLOCK) ||
        g_error_matches(refused, G_IO_ERROR, G_IO_ERROR_PENDING))
        return fail(error, THOLE_ERROR_CONFLICT, path, "another program answers there already");
    if (!g_error_matches(refused, G_IO_ERROR, G_IO_ERROR_CONNECTION_REFUSED))
        return fail(error, THOLE_ERROR_IO, path, refused->message);
    if (unlink(path) != 0 && errno != ENOENT)
        return fail_errno(error, path, "a dead socket there cannot be removed", errno);
    return TRUE;
}

/* The file is made with 0600, and opened to the group only when it belongs to it. */
static gboolean open_path(const char *path, ControlMode mode, ControlSocket *socket, GError **error)
{
    struct stat status;

    if (strlen(path) > WIRE_SOCKET_PATH_MAX) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_LIMIT,
                    "control socket %s: the path has %zu bytes; a socket's may have %d", path,
                    strlen(path), WIRE_SOCKET_PATH_MAX);
        return FALSE;
    }
    g_autoptr(GSocketAddress) address = g_unix_socket_address_new(path);
    if (!clear_path(path, address, error))
        return FALSE;
    g_autoptr(GError) cause = NULL;
    socket->socket =
        g_socket_new(G_SOCKET_FAMILY_UNIX, G_SOCKET_TYPE_STREAM, G_SOCKET_PROTOCOL_DEFAULT, &cause);
    if (!socket->socket)
        return fail(error, THOLE_ERROR_IO, path, cause->message);
    /* Linux makes the file with the mode of the unbound socket: there is no moment with more. */
    if (fchmod(g_socket_get_fd(socket->socket), S_IRUSR | S_IWUSR) != 0)
        return fail_errno(error, path, "its mode cannot be set", errno);
    if (!g_socket_bind(socket->socket, address, FALSE, &cause))
        return fail(error, THOLE_ERROR_IO, path, cause->message);
    if (lstat(path, &status) != 0)
        return fail_errno(error, path, "cannot be looked at", errno);
    socket->path = g_strdup(path);
    socket->device = status.st_dev;
    socket->inode = status.st_ino;
    if (mode == CONTROL_SYSTEM && socket->group != NO_GROUP) {
        if (chown(path, (uid_t)-1, socket->group) != 0)
            return fail_errno(error, path, "cannot be given to the group " NAME_PROGRAM, errno);
        if (chmod(path, S_IRUSR | S_IWUSR | S_IRGRP | S_IWGRP) != 0)
            return fail_errno(error, path, "its mode cannot be set", errno);
    }
    return g_socket_listen(socket->socket, &cause) ||
           fail(error, THOLE_ERROR_IO, path, cause->message);
}

static gboolean open_inherited(int fd, ControlSocket *socket, GError **error)
{
    g_autoptr(GError) cause = NULL;
    int listens = 0;

    socket->socket = g_socket_new_from_fd(fd, &cause);
    if (!socket->socket) {
        close(fd);
        return fail(error, THOLE_ERROR_IO, "(inherited)", cause->message);
    }
    if (g_socket_get_family(socket->socket) != G_SOCKET_FAMILY_UNIX ||
        !g_socket_get_option(socket->socket, SOL_SOCKET, SO_ACCEPTCONN, &listens, NULL) || !listens)
        return fail(
            error, THOLE_ERROR_INVALID, "(inherited)",
            "it is not a listening Unix socket; the unit's needs ListenStream= with a path");
    return TRUE;
}

gboolean control_socket_open(const char *path, ControlMode mode, int inherited_fd,
                             ControlSocket *ret, GError **error)
{
    ControlSocket made = {.group = mode == CONTROL_SYSTEM ? find_group() : NO_GROUP};
    const gboolean opened = inherited_fd >= 0 ? open_inherited(inherited_fd, &made, error)
                                              : open_path(path, mode, &made, error);

    if (!opened) {
        control_socket_close(&made);
        return FALSE;
    }
    g_socket_set_blocking(made.socket, FALSE);
    *ret = made;
    return TRUE;
}

void control_socket_close(ControlSocket *socket)
{
    struct stat status;

    if (socket->path && lstat(socket->path, &status) == 0 && status.st_dev == socket->device &&
        status.st_ino == socket->inode)
        unlink(socket->path);
    g_clear_object(&socket->socket);
    g_clear_pointer(&socket->path, g_free);
}

/* The peer's groups as the kernel knows them from the moment it connected: no look-up that may
 * wait. */
static gboolean peer_in_group(int fd, const struct ucred *peer, gid_t group)
{
    socklen_t length = 0;

    if (group == NO_GROUP)
        return FALSE;
    if (peer->gid == group)
        return TRUE;
    if (getsockopt(fd, SOL_SOCKET, SO_PEERGROUPS, NULL, &length) == 0 || errno != ERANGE)
        return FALSE;
    g_autofree gid_t *groups = g_malloc(length);
    if (getsockopt(fd, SOL_SOCKET, SO_PEERGROUPS, groups, &length) != 0)
        return FALSE;
    for (size_t i = 0; i < length / sizeof(gid_t); i++)
        if (groups[i] == group)
            return TRUE;
    return FALSE;
}

gboolean control_socket_peer_allowed(GSocket *connection, ControlMode mode, gid_t group,
                                     uid_t *ret_uid)
{
    struct ucred peer = {.uid = (uid_t)-1};
    socklen_t length = sizeof(peer);
    const int fd = g_socket_get_fd(connection);

    *ret_uid = (uid_t)-1;
    if (getsockopt(fd, SOL_SOCKET, SO_PEERCRED, &peer, &length) != 0 || length != sizeof(peer))
        return FALSE;
    *ret_uid = peer.uid;
    return control_peer_allowed(mode, peer.uid, geteuid(),
                                mode == CONTROL_SYSTEM && peer_in_group(fd, &peer, group));
}

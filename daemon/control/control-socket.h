/* SPDX-License-Identifier: MIT */
/* The listening socket of the control interface, and who is at the other end. Internal to control/. */
#pragma once

#include <gio/gio.h>
#include <sys/types.h>

#include "control/control.h"

typedef struct ControlSocket {
    GSocket *socket; /* (owned) listening, not blocking */
    char *path;      /* (owned) (nullable) to be unlinked; NULL for an inherited one */
    dev_t device;    /* of the file at `path` when it was made: another one is not ours to unlink */
    ino_t inode;
    gid_t group;     /* members may ask in system mode; (gid_t)-1 none */
} ControlSocket;

/* See control_new(). INHERITED_FD is closed on failure. */
gboolean control_socket_open(const char *path, ControlMode mode, int inherited_fd,
                             ControlSocket *ret, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Closes it, and unlinks its file if we made it. */
void control_socket_close(ControlSocket *socket);

/* Whether the peer of CONNECTION may ask; (uid_t)-1 in RET_UID where the kernel does not say who it is. */
gboolean control_socket_peer_allowed(GSocket *connection, ControlMode mode, gid_t group, uid_t *ret_uid);

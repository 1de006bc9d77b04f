/* SPDX-License-Identifier: MIT */
/*
 * The control interface: HTTP/1.1 with JSON bodies on a Unix socket, one handler for each route.
 * Who asks is looked at on every request. A handler runs in the main loop and answers at once, or
 * owes its reply; what it reads of the request and how it refuses: control-request.h.
 */
#pragma once

#include <glib.h>
#include <json-glib/json-glib.h>
#include <sys/types.h>

#include "base/json-text.h"
#include "control/control-request.h"
#include "control/wire.h"

typedef struct Control Control;

typedef enum ControlMode {
    CONTROL_USER,   /* socket 0600; peer uid = own */
    CONTROL_SYSTEM, /* socket 0660 and group `thole` where there is one; peer uid 0, own, or a
                       member */
} ControlMode;

/*
 * Answers REQUEST with an object, which becomes the caller's (`v` is added to it), or NULL and an
 * error: THOLE_ERROR_INVALID gives 400, NOT_FOUND 404, CONFLICT 409, LIMIT 413, all others 500. The
 * error's message is the `detail` that the grower reads. REQUEST is valid during the call.
 */
typedef JsonNode *(*ControlHandler)(const ControlRequest *request, gpointer data, GError **error);

/*
 * Listens at SOCKET_PATH, whose folder must exist; a socket there that nobody listens at any more
 * is replaced, anything else there is refused (conflict). INHERITED_FD is a listening socket that
 * somebody else made (systemd), taken over whatever becomes of the call, or -1: its path is left
 * alone then. Serves in the thread-default main context, from the moment of the call; nothing but
 * 404 until routes are added.
 */
Control *control_new(const char *socket_path, ControlMode mode, int inherited_fd,
                     GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * FN answers METHOD at PATH_PATTERN, "/v1/batches/{name}": each {…} takes one part of the path, and
 * where a plain part fits too, the plain one goes first. A pair may be added once.
 */
void control_add(Control *control, const char *method, const char *path_pattern, ControlHandler fn,
                 gpointer data);

/* For a reply that may be very large: FN writes its members; what it wrote before it gave FALSE and
 * an error is thrown away. */
typedef gboolean (*ControlTextHandler)(const ControlRequest *request, JsonText *to, gpointer data,
                                       GError **error);
void control_add_text(Control *control, const char *method, const char *path_pattern,
                      ControlTextHandler fn, gpointer data);

/*
 * A reply that is not there yet. It must be answered once, as a handler answers, and is used up
 * then; REPLY becomes its own. Without a reply or an error it is dropped: for what outlives its
 * Control. A connection lasts WIRE_IDLE_S, so the answer should come far sooner.
 */
typedef struct ControlOwed ControlOwed;
void control_answer(ControlOwed *owed, JsonNode *reply, const GError *error);

/*
 * For a handler that finds that it must wait: it returns NULL without an error, then or when it has
 * answered already.
 */
ControlOwed *control_owe(const ControlRequest *request) G_GNUC_WARN_UNUSED_RESULT;

/* The same as control_add(), for what must wait for something without holding up the loop. */
typedef void (*ControlLaterHandler)(const ControlRequest *request, ControlOwed *owed,
                                    gpointer data);
void control_add_later(Control *control, const char *method, const char *path_pattern,
                       ControlLaterHandler fn, gpointer data);

/* With HOLD all requests but GET wait, untouched; without, those that waited are answered, in the
 * order in which they came, before it returns. */
void control_hold_changes(Control *control, gboolean hold);

/* Closes all connections, and unlinks the socket if it made it. NULL is ignored. */
void control_free(Control *control);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(Control, control_free)

/* What GET /v1/ says besides the versions. */
typedef struct ControlHello {
    const char *garden;  /* path of the garden's file; (unowned) */
    gboolean is_virtual; /* the clock is a virtual one */
    gint64 now_utc;
} ControlHello;

/* The reply to GET /v1/, for its handler. The caller owns it. */
JsonNode *control_hello_node(const ControlHello *hello);

/*
 * Whether a peer of PEER_UID may ask a daemon of OWN_UID. IN_GROUP: it is a member of the group
 * `thole`, looked at in system mode only.
 */
gboolean control_peer_allowed(ControlMode mode, uid_t peer_uid, uid_t own_uid, gboolean in_group);

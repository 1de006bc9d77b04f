/* SPDX-License-Identifier: MIT */
/* All that tholectl and the daemon share of the control interface. docs/api.md describes it. */
#pragma once

#include <glib.h>
#include <stdbool.h>

#define WIRE_API_VERSION 1
#define WIRE_API_HEADER "Thole-Api"           /* in requests and replies: the version, "1" */
#define WIRE_VERSION_MEMBER "v"               /* in every reply: the version, as a number */
#define WIRE_PREFIX "/v1/"                    /* of every path */
#define WIRE_JSON "application/json"
#define WIRE_PROBLEM_JSON "application/problem+json" /* RFC 9457 */

#define WIRE_BODY_MAX (64 * 1024)             /* bytes of a request's body; more is 413 */
#define WIRE_DEPTH_MAX 16                     /* objects and arrays within each other in a body */
#define WIRE_QUERY_MAX 16                     /* parameters in a query */
#define WIRE_TARGET_MAX 2048                  /* bytes of path and query, as sent */
#define WIRE_REPLY_MAX (64 * 1024 * 1024)     /* bytes of a reply that a client takes; export is the longest */
#define WIRE_IDLE_S 30                        /* a connection idle for longer is closed */
#define WIRE_CLIENT_S 60                      /* a client waits no longer for a reply */
#define WIRE_SOCKET_PATH_MAX 107              /* bytes; sun_path of unix(7) less its zero */

/* How tholectl ends. */
typedef enum WireExit {
    WIRE_EXIT_DONE = 0,
    WIRE_EXIT_REFUSED = 1, /* the daemon said no, or could not */
    WIRE_EXIT_USAGE = 2,
    WIRE_EXIT_NO_DAEMON = 3,
} WireExit;

/* What a problem is; its `type` is "urn:thole:problem:" and the name. */
typedef enum WireProblem {
    WIRE_PROBLEM_INVALID,    /* 400 */
    WIRE_PROBLEM_VERSION,    /* 400: another API version was asked for */
    WIRE_PROBLEM_FORBIDDEN,  /* 403: the peer is not allowed to ask */
    WIRE_PROBLEM_NOT_FOUND,  /* 404 */
    WIRE_PROBLEM_METHOD,     /* 405, with Allow */
    WIRE_PROBLEM_CONFLICT,   /* 409: it makes sense, but not now */
    WIRE_PROBLEM_TOO_LARGE,  /* 413 */
    WIRE_PROBLEM_FAILED,     /* 500 */
} WireProblem;

#define WIRE_PROBLEM_PREFIX "urn:thole:problem:"

/* Name, HTTP status and title of a problem; static. */
const char *wire_problem_name(WireProblem problem);
unsigned int wire_problem_status(WireProblem problem);
const char *wire_problem_title(WireProblem problem);

/* One thing that can be asked for. */
typedef struct WireRoute {
    const char *method;
    const char *path;   /* {name} stands for one part of it */
    const char *schema; /* of the reply: docs/schema/NAME.json */
} WireRoute;

/* Every route of the interface, by path; the daemon answers them all and no other. */
extern const WireRoute wire_routes[];
extern const gsize wire_n_routes;

/* Where the socket and thole.conf of the user's own daemon are. The caller owns them. */
char *wire_default_socket(void);
char *wire_default_config(void);

/* The socket of the system's daemon. */
#define WIRE_SYSTEM_SOCKET "/run/thole/control"

/* SPDX-License-Identifier: MIT */
#pragma once

#include <glib.h>

/* The errors of the project's own, by what can be done about them. */

typedef enum TholeError {
    THOLE_ERROR_INVALID,   /* what was given makes no sense: a file, a key, a request */
    THOLE_ERROR_NOT_FOUND, /* no such thing */
    THOLE_ERROR_CONFLICT,  /* it makes sense, but not in the present state */
    THOLE_ERROR_LIMIT,     /* more, larger or longer than allowed */
    THOLE_ERROR_IO,        /* the system or the network refused */
    THOLE_ERROR_STALE,     /* it was valid once, and is too old now */
    THOLE_ERROR_FAILED,    /* anything else */
} TholeError;

#define THOLE_ERROR (thole_error_quark())
GQuark thole_error_quark(void);

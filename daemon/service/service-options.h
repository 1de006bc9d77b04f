/* SPDX-License-Identifier: MIT */
/* What a service is started with. */
#pragma once

#include <glib.h>

typedef struct ServiceOptions {
    char *config_path, *crops_path, *state_dir, *calendar_path; /* (owned) */
    char *socket_path; /* (owned) (nullable) no control interface */
    int socket_fd;     /* above 0: the listening socket, inherited; socket_path is not used then */
    char *weather; /* (owned) (nullable) source for all sites instead of the file's: rehearsals */
    /* Alarms are shown there, calendars kept, messages sent; never in a rehearsal. */
    gboolean desktop, outlets, channels;
    gboolean system;    /* the system's daemon: group `thole` may ask */
    gboolean throwaway; /* a rehearsal's state: nothing is synchronised */
    gboolean virtual_clock;
} ServiceOptions;

void service_options_clear(ServiceOptions *options);

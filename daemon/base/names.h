/* SPDX-License-Identifier: MIT */
#pragma once

/* Every name that the world outside sees. */

#define NAME_PROGRAM "thole"          /* folder under each XDG base folder; log domain */
#define NAME_CONFIG_FILE "thole.conf" /* in the configuration folder */
/* The grower's own figures, beside thole.conf; the shipped ones, in the data folder. */
#define NAME_CROPS_FILE "crops.conf"
#define NAME_STORE_FILE "thole.db"     /* in the state folder */
#define NAME_CALENDAR_FILE "thole.ics" /* in the state folder */
#define NAME_SOCKET_FILE "control"     /* in the run-time folder */
#define NAME_LOG_TOPIC "THOLE_TOPIC"   /* journal fields */
#define NAME_LOG_OBJECT "THOLE_OBJECT"

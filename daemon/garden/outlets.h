/* SPDX-License-Identifier: MIT */
/* A calendar that is kept for growers, as set up in thole.conf. Plain data; "" where not given. */
#pragma once

#include "garden/types.h"

/* Never change the order: the words are an array. */
typedef enum OutletKind {
    OUTLET_SERVER,
    OUTLET_FOLDER,
    OUTLET_FILE,
} OutletKind;

#define OUTLET_POLL_USUAL_MIN 15 /* chosen: most phones look no oftener */

typedef struct OutletSetup {
    char name[NAME_SIZE];
    OutletKind kind;
    int grower;      /* whose visits; -1: everybody's */
    char title[128]; /* SERVER, FILE: what phones call the calendar */
    char path[512];  /* FOLDER, FILE: absolute */
    /* SERVER */
    char address[512]; /* as url_of_server() takes it */
    char user[256];    /* "": no login */
    char secret[512];  /* path of the file that holds the password; read when it is needed */
    char colour[8];    /* #RRGGBB */
    int poll_min;
} OutletSetup;

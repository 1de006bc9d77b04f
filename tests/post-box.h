/* SPDX-License-Identifier: MIT */
/* A whole service whose messages go to a webhook of this very process, and what came in there. */
#pragma once

#include <libsoup/soup.h>

#include "service-world.h"

typedef struct Letter {
    char *path;                                 /* (owned) "/NAME": of the webhook */
    char *id, *topic, *summary, *body, *grower; /* (owned) (nullable) */
    char *done_url;                             /* (owned) (nullable) */
    gboolean urgent;
    int64_t at_utc;
} Letter;

typedef struct PostBox {
    World *w;
    SoupServer *server;
    char *base;         /* (owned) "http://127.0.0.1:PORT" */
    GPtrArray *letters; /* (owned) (element-type Letter) that were taken */
    guint status;       /* that it answers with; 204 takes it */
    guint refused;      /* answered with another */
} PostBox;

/* CHANNELS: keys of [garden], then sections of thole.conf; each %s is where the box listens. The
 * clock stands still until world_start(). */
PostBox *post_box_new(const char *channels, const char *start);
void post_box_free(PostBox *box);

/* The same garden with other channels; it is read again if it runs. */
void post_box_configure(PostBox *box, const char *channels);

/* How many were taken whose summary, or body, or topic, has that part; the last of them. */
guint post_box_count(const PostBox *box, const char *part);
const Letter *post_box_last(const PostBox *box, const char *part);
void post_box_forget(PostBox *box);

/* All of it, for a message of a failed test. */
char *post_box_text(const PostBox *box);

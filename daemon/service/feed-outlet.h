/* SPDX-License-Identifier: MIT */
/*
 * The feed of the service: opened as thole.conf says, given each grower's calendar after each plan,
 * and each grower's token, which the store keeps. Where it cannot listen, it tries again.
 */
#pragma once

#include "service/service.h"

typedef struct FeedOutlet FeedOutlet;

/* Nothing is served yet, and never in a rehearsal. */
FeedOutlet *feed_outlet_new(Service *service);
void feed_outlet_free(FeedOutlet *outlet);

/* The garden was read: the feed is opened, closed, or moved, and serves what was last published.
 * One that could not be opened is tried again at once. */
void feed_outlet_follow(FeedOutlet *outlet);

/* What service->memory holds is published. */
void feed_outlet_publish(FeedOutlet *outlet);

/* Why it does not serve though it should, or NULL. */
const char *feed_outlet_problem(const FeedOutlet *outlet);

/* What a phone calls, without a slash at its end; NULL: no feed is served. The caller owns it. */
char *feed_outlet_base(const FeedOutlet *outlet);

/* The address of a grower's calendar. It holds the token: for the grower's eyes only, never for a
 * log. NULL: none is served. The caller owns it. */
char *feed_outlet_address(const FeedOutlet *outlet, int grower);

/* A new token, kept; the old one is dead at once. */
gboolean feed_outlet_renew(FeedOutlet *outlet, int grower,
                           GError **error) G_GNUC_WARN_UNUSED_RESULT;

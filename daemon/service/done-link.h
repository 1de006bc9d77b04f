/* SPDX-License-Identifier: MIT */
/*
 * Done links: an address in a message that leads to a page with one button, by which all open jobs
 * of a visit are reported done. Only the button does it: programs that look at links before people
 * do change nothing. A link works once, and not after its time.
 */
#pragma once

#include "feed/page.h"
#include "service/service.h"

/*
 * A new link for a visit that the store has, good until EXPIRES_UTC. NULL where no feed is served,
 * or the store refuses, which is logged. It is a secret: never for a log. The caller owns it.
 */
char *feed_done_url(Service *service, const char *visit_id, int64_t expires_utc);

/* The page of a link (FeedPageFunc); SERVICE is a Service. */
FeedPage *done_link_page(const char *token, gboolean post, gpointer service);

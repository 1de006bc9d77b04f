/* SPDX-License-Identifier: MIT */
/*
 * News to growers by the channels of thole.conf: what the calendar would tell too late, and what
 * cannot be left to it. Which news there is, is found in post-wanted.c; which channel takes it, and
 * when, in notify/route.h. Here it is put into words and kept in the store, so that nothing is told
 * twice. Nothing here waits.
 */
#pragma once

#include "notify/courier.h"

struct Service;
typedef struct Post Post;

/* Reads what was told, and sets up the channels. Nothing is sent where the service has none
 * (ServiceOptions). */
Post *post_new(struct Service *service, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* What is on its way is given up. NULL is ignored. */
void post_free(Post *post);

/* The channels of the garden as it is now; to be called while the former garden is still there.
 * NULL is ignored. */
void post_set_up(Post *post);

/* Looks, in the next turn of the loop, at what is to be told: the plan, the jobs or the time
 * changed. */
void post_look(Post *post);

/* Whether this run sends anything; the calls below need it. NULL does not. */
gboolean post_sends(const Post *post);

/* Sends a test through the channel of that number: courier_test(). */
void post_test(Post *post, int channel, ChannelDone done, gpointer data);

CourierState post_state(const Post *post, int channel);

/* News of the last day that no channel took while it was of use. */
guint post_missed(const Post *post);

/* SPDX-License-Identifier: MIT */
/* What channel.c and the kinds of channels share. Internal to notify/. */
#pragma once

#include <gio/gio.h>

#include "notify/channel.h"

/*
 * Begins to send MESSAGE, of which nothing is kept, and calls DONE from the main context of the
 * caller, later. The result is taken with g_task_propagate_pointer(): a ChannelResult, or NULL and
 * an error where CANCELLABLE ended it. Time limits are the caller's.
 */
typedef void ChannelSend(const ChannelSetup *setup, const ChannelMessage *message, Clock *clk,
                         GCancellable *cancellable, GAsyncReadyCallback done, gpointer data);

ChannelSend channel_send_mail;  /* to a server: channel-smtp.c; else by sendmail */
ChannelSend channel_send_smtp;  /* a thread of its own */
ChannelSend channel_send_local; /* sendmail: channel-command.c */
ChannelSend channel_send_command;
ChannelSend channel_send_webhook;

/* The reason is taken over; its host, or what else it begins with, names who says so. */
ChannelResult *channel_result_new(ChannelOutcome outcome, char *reason);
void channel_result_free(ChannelResult *result);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(ChannelResult, channel_result_free)

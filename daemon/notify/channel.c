/* SPDX-License-Identifier: MIT */
#include "notify/channel.h"

#include "notify/channel-private.h"

struct Channel {
    ChannelSetup setup;
    Clock *clk; /* (unowned) */
    ChannelShow show;
    gpointer show_data;
    struct Attempt *attempt; /* (owned, shared with its callback) (nullable) */
};

/* A message on its way. It outlives a channel that is freed. */
typedef struct Attempt {
    Channel *channel; /* (unowned) (nullable) freed, or told */
    GCancellable *cancellable;
    ChannelDone done;
    gpointer data;
    guint alarm; /* when patience ends, or the desktop that cannot be had is told of */
    gboolean late;
} Attempt;

ChannelResult *channel_result_new(ChannelOutcome outcome, char *reason)
{
    ChannelResult *result = g_new0(ChannelResult, 1);
    result->outcome = outcome;
    result->reason = reason;
    return result;
}

void channel_result_free(ChannelResult *result)
{
    if (result == NULL)
        return;
    g_free(result->reason);
    g_free(result);
}

static void attempt_clear(gpointer data)
{
    g_object_unref(((Attempt *)data)->cancellable);
}

static void attempt_unref(Attempt *attempt)
{
    g_rc_box_release_full(attempt, attempt_clear);
}

/* The channel is free for the next one before anybody hears of it. */
static void finish(Attempt *attempt, const ChannelResult *result)
{
    Channel *channel = attempt->channel;
    if (channel == NULL)
        return;
    attempt->channel = NULL;
    channel->attempt = NULL;
    clock_remove_alarm(channel->clk, attempt->alarm);
    clock_release(channel->clk);
    if (result != NULL)
        attempt->done(result, attempt->data);
    attempt_unref(attempt);
}

/* What began may have ended well behind our back: a kind that knows better says so itself. */
static ChannelResult *too_late(const Channel *channel)
{
    char *reason = g_strdup_printf("no answer within %d s", channel->setup.limit_s);
    ChannelResult *result = channel_result_new(CHANNEL_FAILED, reason);
    result->maybe = TRUE;
    return result;
}

static void patience_over(gpointer data)
{
    Attempt *attempt = data;
    attempt->alarm = 0;
    attempt->late = TRUE;
    g_cancellable_cancel(attempt->cancellable);
    if (attempt->channel->setup.kind != CHANNEL_DESKTOP)
        return;
    g_autoptr(ChannelResult) result = too_late(attempt->channel);
    finish(attempt, result);
}

static void sent(GObject *object, GAsyncResult *async, gpointer data)
{
    Attempt *attempt = data;
    g_autoptr(GError) error = NULL;
    g_autoptr(ChannelResult) result = g_task_propagate_pointer(G_TASK(async), &error);
    (void)object;
    if (result == NULL && attempt->channel != NULL)
        result = attempt->late ? too_late(attempt->channel)
                               : channel_result_new(CHANNEL_FAILED, g_strdup(error->message));
    finish(attempt, result);
    attempt_unref(attempt);
}

static void shown(const ChannelResult *result, gpointer data)
{
    Attempt *attempt = data;
    finish(attempt, result);
    attempt_unref(attempt);
}

static void no_desktop(gpointer data)
{
    Attempt *attempt = data;
    g_autoptr(ChannelResult) result =
        channel_result_new(CHANNEL_FAILED, g_strdup("this tholed has no desktop"));
    attempt->alarm = 0;
    finish(attempt, result);
}

void channel_send_mail(const ChannelSetup *setup, const ChannelMessage *message, Clock *clk,
                       GCancellable *cancellable, GAsyncReadyCallback done, gpointer data)
{
    ChannelSend *send = setup->server[0] != '\0' ? channel_send_smtp : channel_send_local;
    send(setup, message, clk, cancellable, done, data);
}

Channel *channel_new(const ChannelSetup *setup, Clock *clk, ChannelShow show, gpointer show_data)
{
    Channel *channel = g_new0(Channel, 1);
    channel->setup = *setup;
    channel->clk = clk;
    channel->show = show;
    channel->show_data = show_data;
    return channel;
}

void channel_send(Channel *channel, const ChannelMessage *message, ChannelDone done, gpointer data)
{
    static ChannelSend *const kinds[] = {
        [CHANNEL_MAIL] = channel_send_mail,
        [CHANNEL_WEBHOOK] = channel_send_webhook,
        [CHANNEL_COMMAND] = channel_send_command,
    };
    const ChannelKind kind = channel->setup.kind;
    g_return_if_fail(channel->attempt == NULL);
    Attempt *attempt = g_rc_box_new0(Attempt);
    attempt->channel = channel;
    attempt->cancellable = g_cancellable_new();
    attempt->done = done;
    attempt->data = data;
    channel->attempt = attempt;
    clock_hold(channel->clk);
    const int64_t now_utc = clock_now(channel->clk);
    if (kind == CHANNEL_DESKTOP && channel->show == NULL) {
        attempt->alarm = clock_add_alarm(channel->clk, now_utc, no_desktop, attempt);
        return;
    }
    /* Whole seconds: one more, so that it is never less. */
    attempt->alarm =
        clock_add_alarm(channel->clk, now_utc + channel->setup.limit_s + 1, patience_over, attempt);
    if (kind == CHANNEL_DESKTOP)
        channel->show(message, shown, g_rc_box_acquire(attempt), channel->show_data);
    else
        kinds[kind](&channel->setup, message, channel->clk, attempt->cancellable, sent,
                    g_rc_box_acquire(attempt));
}

gboolean channel_is_busy(const Channel *channel)
{
    return channel->attempt != NULL;
}

void channel_free(Channel *channel)
{
    if (channel == NULL)
        return;
    if (channel->attempt != NULL) {
        g_cancellable_cancel(channel->attempt->cancellable);
        finish(channel->attempt, NULL);
    }
    g_free(channel);
}

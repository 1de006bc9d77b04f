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
    guint alarm;         /* when patience ends, or `held` is told */
    ChannelResult *held; /* (owned) (nullable) what the desktop answered, perhaps at once */
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
    Attempt *attempt = data;
    g_object_unref(attempt->cancellable);
    channel_result_free(attempt->held);
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
    if (attempt->held == NULL)
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

static void tell_held(gpointer data)
{
    Attempt *attempt = data;
    attempt->alarm = 0;
    finish(attempt, attempt->held);
}

/* In the next turn of the loop: never from within channel_send(). */
static void hold(Attempt *attempt, const ChannelResult *result)
{
    Clock *clk = attempt->channel->clk;
    attempt->held = channel_result_new(result->outcome, g_strdup(result->reason));
    attempt->held->maybe = result->maybe;
    attempt->held->retry_utc = result->retry_utc;
    clock_remove_alarm(clk, attempt->alarm);
    clock_release(clk); /* nothing is on its way any more */
    attempt->alarm = clock_add_alarm(clk, clock_now(clk), tell_held, attempt);
}

static void shown(const ChannelResult *result, gpointer data)
{
    Attempt *attempt = data;
    if (attempt->channel != NULL && attempt->held == NULL)
        hold(attempt, result);
    attempt_unref(attempt);
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
    /* Whole seconds: one more, so that it is never less. */
    attempt->alarm =
        clock_add_alarm(channel->clk, now_utc + channel->setup.limit_s + 1, patience_over, attempt);
    if (kind == CHANNEL_DESKTOP && channel->show == NULL)
        hold(attempt, &(const ChannelResult){.outcome = CHANNEL_FAILED,
                                             .reason = (char *)"this tholed has no desktop"});
    else if (kind == CHANNEL_DESKTOP)
        channel->show(&channel->setup, message, shown, g_rc_box_acquire(attempt),
                      channel->show_data);
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

/* SPDX-License-Identifier: MIT */
#include "channel-send.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <string.h>

void sent_clear(Sent *sent)
{
    g_free(sent->reason);
    memset(sent, 0, sizeof *sent);
}

ChannelSetup channel_setup(ChannelKind kind)
{
    ChannelSetup setup = {.name = "pocket",
                          .kind = kind,
                          .grower = -1,
                          .order = CHANNEL_ORDER_USUAL,
                          .digest_min = -1,
                          .limit_s = 20,
                          .to = "one@plot.example",
                          .from = "thole@home.example"};
    return setup;
}

void channel_sent(const ChannelResult *result, gpointer data)
{
    Sent *sent = data;
    assert_false(sent->told);
    sent->told = TRUE;
    sent->outcome = result->outcome;
    sent->maybe = result->maybe;
    sent->retry_utc = result->retry_utc;
    sent->reason = g_strdup(result->reason);
    assert_true((result->outcome == CHANNEL_DELIVERED) == (result->reason == NULL));
    assert_true(result->reason == NULL || strstr(result->reason, TEST_SECRET) == NULL);
}

void channel_try(const ChannelSetup *setup, Clock *clk, const ChannelMessage *message, Sent *sent)
{
    g_autoptr(Channel) channel = channel_new(setup, clk, NULL, NULL);
    sent_clear(sent);
    channel_send(channel, message, channel_sent, sent);
    assert_false(sent->told); /* never from within */
    assert_true(channel_is_busy(channel));
    while (!sent->told)
        g_main_context_iteration(NULL, TRUE);
    assert_false(channel_is_busy(channel));
}

/* SPDX-License-Identifier: MIT */
/* The feed: where a phone subscribes, in words and as a picture that it reads. */
#include "ctl/feed.h"
#include "ctl/verbs.h"

#include <unistd.h>

#include "ctl/body.h"
#include "ctl/print.h"
#include "ctl/qr.h"
#include "ctl/read.h"

/* Not on something that is no terminal, unless asked: a log or a file has no use for it. */
static void show_code(const char *address, const Call *call)
{
    const bool asked = call_option(call, "qr") != NULL;
    int columns;

    if (!asked && !isatty(STDOUT_FILENO))
        return;
    g_autofree char *code = qr_text(address, &columns);
    if (code == NULL || (!asked && columns > print_columns()))
        print_wrapped(0, "The QR code does not fit in here; make the window larger, or use --qr.");
    else
        print_raw(code);
}

void show_feed(JsonObject *calendar, const Call *call)
{
    JsonObject *feed = read_object(calendar, "feed");
    const guint n = read_count(feed, "addresses");

    if (feed == NULL)
        return;
    print_blank();
    if (*read_text(feed, "problem")) {
        g_autofree char *line =
            g_strdup_printf("The feed is not served: %s", read_text(feed, "problem"));
        print_alert(PRINT_ALERT, line);
        return;
    }
    for (guint i = 0; i < n; i++) {
        JsonObject *one = read_item(feed, "addresses", i);
        g_autofree char *address = print_clean(read_text(one, "address"), false);
        g_autofree char *head = n > 1 ? g_strdup_printf("The feed of %s:", read_text(one, "grower"))
                                      : g_strdup("The feed:");
        print_styled(PRINT_STRONG, 0, head);
        print_raw(address);
        show_code(address, call);
    }
    print_wrapped(0, read_text(feed, "text"));
}

static void show_renewed(const Reply *reply, const Call *call)
{
    print_wrapped(0, "The address is new, and the old one is dead: tell the phone.");
    show_feed(reply->object, call);
}

WireExit run_calendar_renew(const Call *call)
{
    g_autoptr(JsonObject) body = json_object_new();

    body_text(body, "grower", call->n_args > 0 ? call->args[0] : NULL);
    return client_run(call, "POST", "/v1/calendar/renew", body, show_renewed);
}

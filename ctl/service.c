/* SPDX-License-Identifier: MIT */
/* calendar, calendar test, check, test-alarm, export: the service itself. */
#include "ctl/feed.h"
#include "ctl/print.h"
#include "ctl/read.h"
#include "ctl/show.h"
#include "ctl/table.h"
#include "ctl/verbs.h"

/* The calendars of thole.conf: whose, where, how each stands, and what was done in it. */
static void show_outlets(JsonObject *calendar)
{
    for (guint i = 0; i < read_count(calendar, "outlets"); i++) {
        JsonObject *outlet = read_item(calendar, "outlets", i);
        const char *grower = read_text(outlet, "grower");
        g_autofree char *whose =
            *grower ? g_strdup_printf("of %s", grower) : g_strdup("of everybody");
        g_autofree char *head = show_join(" ", "Calendar", read_text(outlet, "name"), whose,
                                          read_text(outlet, "where"), NULL);
        const gboolean well = g_str_equal(read_text(outlet, "level"), "ok");

        print_blank();
        print_styled(well ? PRINT_STRONG : PRINT_ALERT, 0, head);
        print_wrapped(2, read_text(outlet, "text"));
        for (guint k = 0; k < read_count(outlet, "edits"); k++)
            print_hanging(2, "Edited there:", read_text(read_item(outlet, "edits", k), "text"));
    }
}

static void show_calendar(const Reply *reply, const Call *call)
{
    Table *table = table_new("~When", "~Event", "~Where", NULL);
    guint cancelled = 0;

    for (guint i = 0; i < read_count(reply->object, "events"); i++) {
        JsonObject *event = read_item(reply->object, "events", i);
        if (g_str_equal(read_text(event, "status"), "CANCELLED"))
            cancelled++;
        else
            table_row(table, read_text(event, "when"), read_text(event, "summary"),
                      read_text(event, "site"));
    }
    table_print(table, 0);
    if (cancelled > 0) {
        g_autofree char *line =
            g_strdup_printf("Cancelled, so that a phone takes them off: %u.", cancelled);
        print_wrapped(0, line);
    }
    print_wrapped(0, read_text(reply->object, "text"));
    if (*read_text(reply->object, "file"))
        print_hanging(0, "File:", read_text(reply->object, "file"));
    show_outlets(reply->object);
    show_feed(reply->object, call);
}

WireExit run_calendar(const Call *call)
{
    return client_run(call, "GET", "/v1/calendar", NULL, show_calendar);
}

/* Refused, so to speak, where the reply's flag GOOD is false: a script can ask. */
static WireExit ask_whether(const Call *call, const char *method, const char *path,
                            JsonObject *body, ReplyFunc show, const char *good)
{
    g_autofree char *why = NULL;
    WireExit exit_status = WIRE_EXIT_DONE;
    g_autoptr(Reply) reply = client_ask(call, method, path, body, &exit_status, &why);

    if (!reply) {
        print_error("%s", why);
        return exit_status;
    }
    exit_status = client_print(reply, call, show);
    return exit_status == WIRE_EXIT_DONE && !read_flag(reply->object, good) ? WIRE_EXIT_REFUSED
                                                                            : exit_status;
}

static void show_calendar_test(const Reply *reply, const Call *call)
{
    Table *table = table_new("~Channel", "~Kind", "~Grower", "~What came of it", NULL);

    (void)call;
    for (guint i = 0; i < read_count(reply->object, "channels"); i++) {
        JsonObject *channel = read_item(reply->object, "channels", i);
        g_autofree char *seconds = print_number(read_number(channel, "seconds"), 0);
        g_autofree char *took = g_strdup_printf("%s s", seconds);
        g_autofree char *came = show_join(", ", read_text(channel, "outcome"),
                                          read_text(channel, "reason"), took, NULL);
        table_row(table, read_text(channel, "name"), read_text(channel, "kind"),
                  read_text(channel, "grower"), came);
    }
    table_print(table, 0);
    print_wrapped(0, read_text(reply->object, "text"));
}

WireExit run_calendar_test(const Call *call)
{
    JsonObject *body = json_object_new();

    if (call->n_args > 0)
        json_object_set_string_member(body, "grower", call->args[0]);
    return ask_whether(call, "POST", "/v1/calendar/test", body, show_calendar_test, "ok");
}

/* The items of a level, each under its name. Returns how many. */
static guint show_level(JsonObject *check, const char *level, const char *heading, PrintStyle style)
{
    guint n = 0;

    for (guint i = 0; i < read_count(check, "items"); i++) {
        JsonObject *item = read_item(check, "items", i);
        if (!g_str_equal(read_text(item, "level"), level))
            continue;
        g_autofree char *head =
            show_join(" ", heading, read_text(item, "name"), read_text(item, "object"), NULL);
        print_styled(style, 0, head);
        print_wrapped(2, read_text(item, "text"));
        n++;
    }
    return n;
}

static void show_well(JsonObject *check)
{
    Table *table = table_new("", "~", NULL);

    for (guint i = 0; i < read_count(check, "items"); i++) {
        JsonObject *item = read_item(check, "items", i);
        g_autofree char *text =
            show_join(": ", read_text(item, "object"), read_text(item, "text"), NULL);
        if (g_str_equal(read_text(item, "level"), "ok"))
            table_row(table, read_text(item, "name"), text);
    }
    print_styled(PRINT_STRONG, 0, "In order");
    table_print(table, 2);
}

static void show_check(const Reply *reply, const Call *call)
{
    const guint problems = show_level(reply->object, "problem", "Problem:", PRINT_ALERT);
    const guint warnings = show_level(reply->object, "warning", "Warning:", PRINT_STRONG);

    (void)call;
    show_well(reply->object);
    show_credits(reply->object);
    print_blank();
    if (problems == 0)
        print_wrapped(0, warnings > 1    ? "All is well, but for the warnings above."
                         : warnings == 1 ? "All is well, but for the warning above."
                                         : "All is well.");
    else
        print_wrapped(0, problems > 1 ? "Mend the first problem, then check again."
                                      : "Mend the problem above, then check again.");
}

WireExit run_check(const Call *call)
{
    return ask_whether(call, "GET", "/v1/check", NULL, show_check, "ok");
}

static void show_test_alarm(const Reply *reply, const Call *call)
{
    (void)call;
    print_wrapped(0, read_text(reply->object, "text"));
}

WireExit run_test_alarm(const Call *call)
{
    return ask_whether(call, "POST", "/v1/test-alarm", NULL, show_test_alarm, "shown");
}

static void show_export(const Reply *reply, const Call *call)
{
    (void)call;
    print_raw(reply->text);
}

WireExit run_export(const Call *call)
{
    return client_run(call, "GET", "/v1/export", NULL, show_export);
}

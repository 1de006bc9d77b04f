/* SPDX-License-Identifier: MIT */
/* calendar, check, export: the service itself. */
#include "ctl/print.h"
#include "ctl/read.h"
#include "ctl/show.h"
#include "ctl/table.h"

static void show_calendar(const Reply *reply, const Call *call)
{
    Table *table = table_new("~When", "~Event", "~Where", "~Status", NULL);

    (void)call;
    for (guint i = 0; i < read_count(reply->object, "events"); i++) {
        JsonObject *event = read_item(reply->object, "events", i);
        g_autofree char *status = g_ascii_strdown(read_text(event, "status"), -1);
        table_row(table, read_text(event, "when"), read_text(event, "summary"),
                  read_text(event, "site"), status);
    }
    table_print(table, 0);
    print_wrapped(0, read_text(reply->object, "text"));
    if (*read_text(reply->object, "file"))
        print_hanging(0, "File:", read_text(reply->object, "file"));
}

WireExit run_calendar(const Call *call)
{
    return client_run(call, "GET", "/v1/calendar", NULL, show_calendar);
}

static void show_check(const Reply *reply, const Call *call)
{
    (void)call;
    for (guint i = 0; i < read_count(reply->object, "items"); i++) {
        JsonObject *item = read_item(reply->object, "items", i);
        g_autofree char *about =
            show_join(" ", read_text(item, "name"), read_text(item, "object"), NULL);
        g_autofree char *head = g_strdup_printf("%-7s %s:", read_text(item, "level"), about);
        print_hanging(0, head, read_text(item, "text"));
    }
    print_wrapped(0, read_flag(reply->object, "ok") ? "All is well." : "Something needs you.");
}

/* It is refused, so to speak, where something is a problem: a script can ask. */
WireExit run_check(const Call *call)
{
    g_autofree char *why = NULL;
    WireExit exit_status = WIRE_EXIT_DONE;
    g_autoptr(Reply) reply = client_ask(call, "GET", "/v1/check", NULL, &exit_status, &why);

    if (!reply) {
        print_error("%s", why);
        return exit_status;
    }
    exit_status = client_print(reply, call, show_check);
    return exit_status == WIRE_EXIT_DONE && !read_flag(reply->object, "ok") ? WIRE_EXIT_REFUSED
                                                                            : exit_status;
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

/* SPDX-License-Identifier: MIT */
/* today and week. */
#include "ctl/print.h"
#include "ctl/read.h"
#include "ctl/show.h"
#include "ctl/table.h"

static void show_alerts(JsonObject *today)
{
    const guint n = read_count(today, "alerts");

    for (guint i = 0; i < n; i++) {
        JsonObject *alert = read_item(today, "alerts", i);
        const double handle = read_number(alert, "handle");
        g_autofree char *number = print_number(handle, 0);
        g_autofree char *job = handle > 0 ? g_strdup_printf(" (job %s)", number) : g_strdup("");
        g_autofree char *text = g_strdup_printf("! %s%s", read_text(alert, "text"), job);
        print_styled(read_flag(alert, "urgent") ? PRINT_ALERT : PRINT_STRONG, 0, text);
    }
    if (n > 0)
        print_blank();
}

static void show_site(JsonObject *site, const char *units)
{
    g_autofree char *heading =
        show_join(" · ", read_text(site, "name"), read_text(site, "when"),
                  read_text(read_object(site, "forecast"), "text"), NULL);
    const guint n_visits = read_count(site, "visits");

    print_styled(PRINT_STRONG, 0, heading);
    for (guint i = 0; i < n_visits; i++)
        show_visit(read_item(site, "visits", i), 2, true);
    if (n_visits == 0)
        print_wrapped(2, "Nothing to do here today.");
    show_batches(site, "batches", units, 2);
    print_blank();
}

static void show_today(const Reply *reply, const Call *call)
{
    JsonObject *next = read_object(reply->object, "next_visit");
    const char *units = read_text(reply->object, "units");

    (void)call;
    show_alerts(reply->object);
    for (guint i = 0; i < read_count(reply->object, "sites"); i++)
        show_site(read_item(reply->object, "sites", i), units);
    if (read_count(reply->object, "homeless") > 0) {
        print_styled(PRINT_STRONG, 0, "Without a place");
        show_batches(reply->object, "homeless", units, 2);
        print_blank();
    }
    if (next) {
        print_wrapped(0, "After today:");
        show_visit(next, 2, false);
    } else {
        print_wrapped(0, "No visit is needed in the days ahead.");
    }
}

WireExit run_today(const Call *call)
{
    return client_run(call, "GET", "/v1/today", NULL, show_today);
}

static void show_week(const Reply *reply, const Call *call)
{
    const char *units = read_text(reply->object, "units");

    (void)call;
    for (guint i = 0; i < read_count(reply->object, "days"); i++) {
        JsonObject *day = read_item(reply->object, "days", i);
        g_autofree char *low =
            print_spread(read_number(day, "low_c"), read_number(day, "spread_k"), units);
        g_autofree char *frost =
            *read_text(day, "odds") ? g_strdup_printf("frost %s", read_text(day, "odds")) : g_strdup("");
        g_autofree char *night = g_strdup_printf("night %s %s", low, print_degree(units));
        g_autofree char *estimated = read_joined(day, "estimated", ", ");
        g_autofree char *guess =
            *estimated ? g_strdup_printf("estimated: %s", estimated) : g_strdup("");
        g_autofree char *line = show_join(" · ", read_text(day, "when"), read_text(day, "site"),
                                          night, frost, guess, NULL);
        print_styled(PRINT_STRONG, 0, line);
        for (guint k = 0; k < read_count(day, "visits"); k++)
            show_visit(read_item(day, "visits", k), 2, false);
    }
}

WireExit run_week(const Call *call)
{
    return client_run(call, "GET", "/v1/week", NULL, show_week);
}

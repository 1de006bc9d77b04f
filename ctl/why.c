/* SPDX-License-Identifier: MIT */
/* How a decision came about: sentence by sentence, each with the numbers it rests on. */
#include "ctl/print.h"
#include "ctl/read.h"
#include "ctl/show.h"

static void show_numbers(JsonObject *step, const char *units)
{
    for (guint i = 0; i < read_count(step, "numbers"); i++) {
        JsonObject *number = read_item(step, "numbers", i);
        const bool degrees = g_str_equal(read_text(number, "unit"), "°C");
        const double value = read_number(number, "value"), spread = read_number(number, "spread");
        g_autofree char *plain = print_number(value, 1);
        g_autofree char *told = degrees ? print_spread(value, spread, units) : g_strdup(plain);
        g_autofree char *line =
            g_strdup_printf("%s: %s %s", read_text(number, "name"), told,
                            degrees ? print_degree(units) : read_text(number, "unit"));
        print_styled(PRINT_FAINT, 5, line);
    }
}

static void show_why(const Reply *reply, const Call *call)
{
    const char *units = read_text(reply->object, "units");
    g_autofree char *heading = show_join(" · ", read_text(reply->object, "batch"),
                                         read_text(reply->object, "when"), NULL);

    (void)call;
    print_styled(PRINT_STRONG, 0, heading);
    for (guint i = 0; i < read_count(reply->object, "steps"); i++) {
        JsonObject *step = read_item(reply->object, "steps", i);
        g_autofree char *number = g_strdup_printf("%2u.", i + 1);
        print_hanging(1, number, read_text(step, "text"));
        show_numbers(step, units);
    }
    for (guint i = 0; i < read_count(reply->object, "jobs"); i++)
        show_job(read_item(reply->object, "jobs", i), 0, false);
}

WireExit run_why(const Call *call)
{
    g_autofree char *path = client_path("/v1/why/{batch}", call->args[0]);
    g_autofree char *query =
        call->n_args > 1 ? client_path("?date={date}", call->args[1]) : g_strdup("");
    g_autofree char *target = g_strconcat(path, query, NULL);

    return client_run(call, "GET", target, NULL, show_why);
}

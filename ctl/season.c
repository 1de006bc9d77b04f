/* SPDX-License-Identifier: MIT */
/* sow, season: dates ahead of one sowing, of all batches; the room on the heat. */
#include "ctl/client.h"
#include "ctl/print.h"
#include "ctl/read.h"
#include "ctl/table.h"
#include "ctl/verbs.h"

#include <math.h>
#include <string.h>

static void show_sow(const Reply *reply, const Call *call)
{
    Table *table = table_new("Step", "When", "~", NULL);

    (void)call;
    print_styled(PRINT_STRONG, 0, read_text(reply->object, "headline"));
    for (guint i = 0; i < read_count(reply->object, "steps"); i++) {
        JsonObject *step = read_item(reply->object, "steps", i);
        const double spread_d = read_number(step, "spread_d");
        g_autofree char *days = print_number(fmax(1.0, round(spread_d)), 0);
        g_autofree char *when = isfinite(spread_d)
                                    ? g_strdup_printf("%s ± %s d", read_text(step, "when"), days)
                                    : g_strdup(read_text(step, "when"));
        table_row(table, read_text(step, "step"), when, read_text(step, "note"));
    }
    table_print(table, 2);
    g_autofree char *notes = read_joined(reply->object, "notes", "\n");
    if (*notes)
        print_wrapped(0, notes);
}

static void add_query(GString *target, const char *name, const char *value)
{
    g_autofree char *pattern = g_strdup_printf("%s=%s", name, "{value}");

    if (value == NULL)
        return;
    g_autofree char *pair = client_path(pattern, value);
    g_string_append_printf(target, "%c%s", strchr(target->str, '?') ? '&' : '?', pair);
}

WireExit run_sow(const Call *call)
{
    static const char *const options[] = {"out",         "sow",       "place",
                                          "destination", "container", "number"};
    g_autofree char *path = client_path("/v1/sow/{crop}", call->args[0]);
    g_autoptr(GString) target = g_string_new(path);

    if ((call_option(call, "out") == NULL) == (call_option(call, "sow") == NULL))
        return client_usage(call, "give either --out DATE, the day to plant, or --sow DATE");
    for (gsize i = 0; i < G_N_ELEMENTS(options); i++)
        add_query(target, options[i], call_option(call, options[i]));
    return client_run(call, "GET", target->str, NULL, show_sow);
}

static void show_weeks(JsonObject *reply)
{
    Table *table = table_new("Week of", "~Trays on the heat", NULL);

    for (guint i = 0; i < read_count(reply, "weeks"); i++) {
        JsonObject *week = read_item(reply, "weeks", i);
        g_autoptr(GString) places = g_string_new(NULL);
        for (guint k = 0; k < read_count(week, "places"); k++) {
            JsonObject *place = read_item(week, "places", k);
            const double trays = read_number(place, "trays"), of = read_number(place, "of");
            g_autofree char *used = print_number(trays, 0), *all = print_number(of, 0);
            g_string_append_printf(places, "%s%s %s/%s%s", k > 0 ? "   " : "",
                                   read_text(place, "place"), used, all,
                                   trays > of ? " over full" : "");
        }
        table_row(table, read_text(week, "words"), places->str);
    }
    table_print(table, 2);
}

static void show_season(const Reply *reply, const Call *call)
{
    Table *table = table_new("~Batch", "Up", "Off the heat", "~Plant out", "Frost after", NULL);
    const guint n = read_count(reply->object, "batches");

    (void)call;
    if (n == 0)
        print_wrapped(0, "No batches. Foresee one: tholectl sow CROP --out DATE");
    for (guint i = 0; i < n; i++) {
        JsonObject *batch = read_item(reply->object, "batches", i);
        table_row(table, read_text(batch, "batch"), read_text(batch, "up_words"),
                  read_text(batch, "leave_words"), read_text(batch, "plant_words"),
                  read_text(batch, "odds"));
    }
    table_print(table, 0);
    if (n > 0)
        print_wrapped(0, "from: not before, by what is normal. Frost after: odds of an air frost.");
    if (read_count(reply->object, "weeks") > 0) {
        print_blank();
        show_weeks(reply->object);
    }
    g_autofree char *notes = read_joined(reply->object, "notes", "\n");
    if (*notes) {
        print_blank();
        print_wrapped(0, notes);
    }
}

WireExit run_season(const Call *call)
{
    return client_run(call, "GET", "/v1/season", NULL, show_season);
}

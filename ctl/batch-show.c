/* SPDX-License-Identifier: MIT */
/* All about one batch. */
#include "ctl/print.h"
#include "ctl/read.h"
#include "ctl/show.h"
#include "ctl/table.h"
#include "ctl/verbs.h"

#include <math.h>

#define DAYS_SHOWN 7 /* of those that have been; chosen: the picture has more */

/* A line "label  value", where there is a value. */
static void add_line(Table *table, const char *label, const char *value)
{
    if (*value)
        table_row(table, label, value);
}

static void add_degrees(Table *table, const char *label, double value_c, const char *units,
                        const char *meaning)
{
    if (!isfinite(value_c))
        return;
    g_autofree char *value = print_temperature(value_c, units);
    g_autofree char *text = g_strdup_printf("%s %s%s", value, print_degree(units), meaning);
    table_row(table, label, text);
}

static void show_life(JsonObject *object, JsonObject *batch)
{
    Table *table = table_new("", "~", NULL);
    g_autofree char *number = print_number(read_number(batch, "number"), 0);
    g_autofree char *trays = print_number(read_number(batch, "trays"), 0);
    const char *container = read_text(batch, "container");
    g_autofree char *plants =
        g_strdup_printf("%s in %s%s%s %s", number, trays, *container ? " × " : "", container,
                        g_str_equal(trays, "1") ? "tray" : "trays");
    g_autofree char *place = show_join(", ", read_text(batch, "place"), read_text(batch, "site"),
                                       read_text(batch, "position"), NULL);

    add_line(table, "plants", plants);
    add_line(table, read_flag(object, "bought") ? "bought" : "sown", read_text(object, "sown"));
    add_line(table, "up", read_text(object, "emerged"));
    add_line(table, "stage", read_text(batch, "stage"));
    add_line(table, "stands in", place);
    add_line(table, "ends in",
             *read_text(batch, "destination") ? read_text(batch, "destination")
                                              : "not told yet: tholectl batch destination");
    add_line(table, "settled", read_text(object, "settled"));
    add_line(table, "planted out", read_text(object, "planted"));
    const char *range = read_text(batch, "ready_range");
    g_autofree char *ready =
        g_strconcat(read_text(batch, "ready"), *range ? ", in 8 cases of 10 " : "", range, NULL);
    add_line(table, "ready", ready);
    table_print(table, 2);
    const char *growth = read_text(read_object(object, "growth"), "text");
    if (*growth)
        print_wrapped(2, growth);
    const char *bound = read_text(read_object(batch, "bound"), "text");
    if (*bound)
        print_wrapped(2, bound);
    if (*read_text(object, "waits"))
        print_wrapped(2, read_text(object, "waits"));
    if (*read_text(object, "stays"))
        print_wrapped(2, read_text(object, "stays"));
    g_autofree char *advice = read_joined(object, "advice", "\n");
    if (*advice)
        print_wrapped(2, advice);
}

static void show_hardness(JsonObject *object, JsonObject *batch, const char *units)
{
    JsonObject *ramp = read_object(object, "ramp"), *tonight = read_object(batch, "tonight");
    g_autofree char *days = print_number(read_number(ramp, "exposure_days"), 0);
    g_autofree char *exposure = g_strdup_printf("%s of 6 days in the open", days);
    g_autofree char *had = print_number(read_number(ramp, "exposed_h"), 1);
    g_autofree char *allowed = print_number(read_number(ramp, "allowed_h"), 1);
    g_autofree char *hours = g_strdup_printf("%s of %s h", had, allowed);
    const double tolerance_pct = 100.0 * read_number(ramp, "frost_tolerance");
    g_autofree char *percent = print_number(tolerance_pct, 0);
    g_autofree char *tolerance =
        isfinite(tolerance_pct) ? g_strdup_printf("%s %%", percent) : g_strdup("");
    g_autofree char *leaf =
        print_spread(read_number(tonight, "leaf_c"), read_number(tonight, "spread_k"), units);
    Table *table = table_new("", "~", NULL);

    print_blank();
    print_styled(PRINT_STRONG, 0, "How hard it is");
    add_degrees(table, "bears", read_number(batch, "hardened_to_c"), units,
                " over the coldest ten hours");
    add_line(table, "exposure", exposure);
    add_line(table, "light and wind today", hours);
    add_line(table, "frost tolerance", tolerance);
    add_degrees(table, "air no colder than", read_number(object, "floor_c"), units, "");
    add_degrees(table, "leaves damaged below", read_number(object, "damage_c"), units, "");
    add_degrees(table, "allowed tonight", read_number(batch, "allowed_low_c"), units, "");
    if (tonight) {
        add_degrees(table, "expected tonight", read_number(tonight, "expected_c"), units, "");
        g_autofree char *text = g_strdup_printf("%s %s", leaf, print_degree(units));
        add_line(table, "leaves tonight", text);
        add_line(table, "odds of damage", read_text(tonight, "odds"));
    }
    const double hold_days = read_number(ramp, "hold_days");
    if (hold_days > 0.0) {
        g_autofree char *hold = print_number(hold_days, 0);
        g_autofree char *text = g_strdup_printf("%s d, after a check", hold);
        add_line(table, "held for", text);
    }
    table_print(table, 2);
}

/* "3.2 of 8 h"; "" where it has none, as indoors. */
static char *hours_of(JsonObject *day)
{
    g_autofree char *had = print_number(read_number(day, "exposed_h"), 0);
    g_autofree char *allowed = print_number(read_number(day, "allowed_h"), 0);

    return g_strdup_printf("%s of %s", had, allowed);
}

static void add_day(Table *table, JsonObject *day, const char *units)
{
    const double spread_k = read_number(day, "spread_k"), low_c = read_number(day, "low_c");
    g_autofree char *low =
        isfinite(spread_k) ? print_spread(low_c, spread_k, units) : print_temperature(low_c, units);
    g_autofree char *cold = print_temperature(read_number(day, "cold_c"), units);
    g_autofree char *allowed = print_temperature(read_number(day, "allowed_low_c"), units);
    g_autofree char *bears = print_temperature(read_number(day, "hardened_to_c"), units);
    g_autofree char *marked = g_strconcat(cold, read_flag(day, "check") ? " check" : "", NULL);
    g_autofree char *starred = g_strconcat(low, read_flag(day, "estimated") ? "*" : "", NULL);
    g_autofree char *hours = hours_of(day);
    g_autofree char *risk = print_odds(read_number(day, "damage_odds"));

    table_row(table, read_text(day, "when"), read_text(day, "place"), starred, marked, allowed,
              bears, hours, risk);
}

/* Its days, those that have been or those ahead. */
static void show_days(JsonObject *object, bool planned, const char *heading)
{
    const char *units = read_text(object, "units");
    const guint n = read_count(object, "days");
    guint first = 0, end = 0;
    bool on_normals = false;

    while (end < n && (planned || !read_flag(read_item(object, "days", end), "planned")))
        end++;
    while (planned && first < n && !read_flag(read_item(object, "days", first), "planned"))
        first++;
    if (!planned && end > DAYS_SHOWN)
        first = end - DAYS_SHOWN;
    if (first == end)
        return;
    g_autofree char *low = g_strdup_printf(">Low %s", print_degree(units));
    Table *table = table_new("~Day", "~Night in", low, ">Ten hours", ">Allowed", ">Bears", ">Hours",
                             ">Risk", NULL);
    for (guint i = first; i < end; i++) {
        JsonObject *day = read_item(object, "days", i);
        add_day(table, day, units);
        on_normals = on_normals || read_flag(day, "estimated");
    }
    print_blank();
    print_styled(PRINT_STRONG, 0, heading);
    table_print(table, 2);
    if (on_normals)
        print_wrapped(2, "* No forecast reaches that night: what is usual for the season.");
}

/* The array NAME as "when  what" lines under a heading. */
static void show_history(JsonObject *object, const char *name, const char *heading,
                         const char *when, const char *what)
{
    const guint n = read_count(object, name);
    int width = 0;

    if (n == 0)
        return;
    for (guint i = 0; i < n; i++)
        width = MAX(width, print_width(read_text(read_item(object, name, i), when)));
    print_blank();
    print_styled(PRINT_STRONG, 0, heading);
    for (guint i = 0; i < n; i++) {
        JsonObject *item = read_item(object, name, i);
        const double number = read_number(item, "number");
        g_autofree char *count = isfinite(number) ? print_number(number, 0) : g_strdup("");
        g_autofree char *text = show_join(", ", count, read_text(item, what), NULL);
        const char *stamp = read_text(item, when);
        g_autofree char *head = g_strdup_printf("%s%*s ", stamp, width - print_width(stamp), "");
        print_hanging(2, head, *text ? text : "–");
    }
}

static void show_batch(const Reply *reply, const Call *call)
{
    JsonObject *object = reply->object, *batch = read_object(object, "batch");
    g_autofree char *heading = show_join(" · ", read_text(batch, "name"), read_text(batch, "crop"),
                                         read_text(batch, "cultivar"), NULL);

    (void)call;
    print_styled(PRINT_STRONG, 0, heading);
    show_life(object, batch);
    show_hardness(object, batch, read_text(object, "units"));
    show_days(object, false, "The ramp so far");
    show_days(object, true, "The ramp ahead, as planned");
    if (read_count(object, "jobs") > 0) {
        print_blank();
        print_styled(PRINT_STRONG, 0, "Jobs");
        for (guint i = 0; i < read_count(object, "jobs"); i++)
            show_job(read_item(object, "jobs", i), 2, false);
    }
    show_history(object, "placements", "Where it stood", "from", "place");
    show_history(object, "losses", "Lost", "when", "cause");
    show_history(object, "notes", "Notes", "when", "text");
}

WireExit run_batch_show(const Call *call)
{
    g_autofree char *path = client_path("/v1/batches/{name}", call->args[0]);

    return client_run(call, "GET", path, NULL, show_batch);
}

/* SPDX-License-Identifier: MIT */
#include "ctl/show.h"

#include <string.h>

#include "ctl/print.h"
#include "ctl/read.h"
#include "ctl/table.h"

char *show_join(const char *separator, ...)
{
    GString *joined = g_string_new(NULL);
    const char *part;
    va_list args;

    va_start(args, separator);
    while ((part = va_arg(args, const char *)))
        if (*part)
            g_string_append_printf(joined, "%s%s", joined->len > 0 ? separator : "", part);
    va_end(args);
    return g_string_free(joined, FALSE);
}

void show_job(JsonObject *job, int indent, bool with_reason)
{
    g_autofree char *handle = print_number(read_number(job, "handle"), 0);
    const char *deadline = read_text(job, "deadline"), *what = read_text(job, "text");
    const bool told = !*deadline || strstr(what, deadline);
    g_autofree char *by = told ? g_strdup("") : g_strdup_printf("by %s", deadline);
    g_autofree char *marks = show_join(", ", by, read_flag(job, "urgent") ? "urgent" : "",
                                       read_flag(job, "guard") ? "please report it" : "", NULL);
    g_autofree char *text =
        g_strdup_printf("%s%s%s%s", what, *marks ? " (" : "", marks, *marks ? ")" : "");
    g_autofree char *number = g_strdup_printf("%3s ", handle);

    print_hanging(indent, number, text);
    const char *reason = read_text(read_object(job, "reason"), "text");
    if (with_reason && *reason)
        print_styled(PRINT_FAINT, indent + 5, reason);
}

void show_visit(JsonObject *visit, int indent, bool with_reasons)
{
    const char *leave = read_text(visit, "leave"), *take = read_text(visit, "take_along");
    g_autofree char *minutes = print_number(read_number(visit, "minutes"), 0);
    g_autofree char *leaving = *leave ? g_strdup_printf("leave %s", leave) : g_strdup("");
    g_autofree char *lasting = g_strdup_printf("%s min", minutes);
    g_autofree char *facts =
        show_join(", ", read_text(visit, "site"), leaving, lasting,
                  read_flag(visit, "beyond_cap") ? "one more than usual" : "",
                  read_flag(visit, "fixed") ? "at the time you set" : "", NULL);
    g_autofree char *line = show_join("  ", read_text(visit, "when"), facts, NULL);

    print_styled(PRINT_STRONG, indent, line);
    if (*take)
        print_hanging(indent + 2, "Take along:", take);
    if (*read_text(visit, "helper_text"))
        print_hanging(indent + 2, "Pass on:", read_text(visit, "helper_text"));
    if (*read_text(visit, "note"))
        print_wrapped(indent + 2, read_text(visit, "note"));
    for (guint i = 0; i < read_count(visit, "jobs"); i++)
        show_job(read_item(visit, "jobs", i), indent, with_reasons);
}

void show_how_to_report(GPtrArray *visits)
{
    g_autoptr(GString) handles = g_string_new(NULL);

    for (guint i = 0; i < visits->len; i++) {
        for (guint k = 0; k < read_count(visits->pdata[i], "jobs"); k++) {
            JsonObject *job = read_item(visits->pdata[i], "jobs", k);
            g_autofree char *handle = print_number(read_number(job, "handle"), 0);
            g_string_append_printf(handles, " %s", handle);
        }
    }
    if (handles->len == 0)
        return;
    g_autofree char *line = g_strdup_printf("When done: tholectl done%s", handles->str);
    print_wrapped(0, line);
}

void show_gather(GPtrArray *objects, JsonObject *holder, const char *name)
{
    for (guint i = 0; i < read_count(holder, name); i++)
        g_ptr_array_add(objects, read_item(holder, name, i));
}

/* Whether the name says the crop: "leek-1". */
static bool names_crop(JsonObject *batch)
{
    const char *crop = read_text(batch, "crop");
    g_autofree char *first = g_strndup(crop, strcspn(crop, " "));
    g_autofree char *word = g_utf8_casefold(first, -1);
    g_autofree char *name = g_utf8_casefold(read_text(batch, "name"), -1);

    return strstr(name, word) != NULL;
}

static void add_batch(Table *table, JsonObject *batch, const char *units, bool with_crop)
{
    JsonObject *tonight = read_object(batch, "tonight");
    const char *position = read_text(batch, "position");
    g_autofree char *name =
        show_join(", ", read_text(batch, "name"), with_crop ? read_text(batch, "crop") : "", NULL);
    g_autofree char *shown_position = read_flag(batch, "position_known") || !*position
                                          ? g_strdup(position)
                                          : g_strconcat(position, "?", NULL);
    g_autofree char *place = show_join(", ", read_text(batch, "place"), shown_position, NULL);
    g_autofree char *bears = print_temperature(read_number(batch, "hardened_to_c"), units);
    g_autofree char *allowed = print_temperature(read_number(batch, "allowed_low_c"), units);
    g_autofree char *expected = print_temperature(read_number(tonight, "expected_c"), units);
    g_autofree char *risk = print_odds(read_number(tonight, "damage_odds"));

    table_row(table, name, place, read_text(batch, "stage"), bears, allowed, expected, risk,
              read_text(batch, "ready"));
}

void show_batches(GPtrArray *batches, const char *units)
{
    g_autofree char *bears = g_strdup_printf(">Bears %s", print_degree(units));
    Table *table = table_new("~Batch", "~Place", "~Stage", bears, ">Allowed", ">Expected", ">Risk",
                             "~Ready", NULL);
    bool with_crop = false;

    for (guint i = 0; i < batches->len; i++)
        with_crop = with_crop || !names_crop(batches->pdata[i]);
    for (guint i = 0; i < batches->len; i++)
        add_batch(table, batches->pdata[i], units, with_crop);
    table_print(table, 0);
}

void show_credits(JsonObject *reply)
{
    g_autofree char *credits = read_joined(reply, "credits", "\n");

    if (*credits)
        print_styled(PRINT_FAINT, 0, credits);
}

/* SPDX-License-Identifier: MIT */
#include "ctl/show.h"

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
    const char *deadline = read_text(job, "deadline");
    g_autofree char *by = *deadline ? g_strdup_printf("by %s", deadline) : g_strdup("");
    g_autofree char *marks = show_join(", ", by, read_flag(job, "urgent") ? "urgent" : "",
                                       read_flag(job, "guard") ? "report it" : "", NULL);
    g_autofree char *text = g_strdup_printf("%s%s%s%s", read_text(job, "text"), *marks ? " (" : "",
                                            marks, *marks ? ")" : "");
    g_autofree char *number = g_strdup_printf("%3s ", handle);

    print_hanging(indent, number, text);
    const char *reason = read_text(read_object(job, "reason"), "text");
    if (with_reason && *reason)
        print_styled(PRINT_FAINT, indent + 5, reason);
}

void show_visit(JsonObject *visit, int indent, bool with_reasons)
{
    const char *leave = read_text(visit, "leave");
    g_autofree char *minutes = print_number(read_number(visit, "minutes"), 0);
    g_autofree char *leaving = *leave ? g_strdup_printf("leave %s", leave) : g_strdup("");
    g_autofree char *lasting = g_strdup_printf("%s min", minutes);
    g_autofree char *facts =
        show_join(", ", read_text(visit, "site"), leaving, lasting,
                  read_flag(visit, "beyond_cap") ? "one more than usual" : "",
                  read_flag(visit, "fixed") ? "fixed by you" : "", NULL);
    g_autofree char *line = show_join("  ", read_text(visit, "when"), facts, NULL);

    print_styled(PRINT_STRONG, indent, line);
    for (guint i = 0; i < read_count(visit, "jobs"); i++)
        show_job(read_item(visit, "jobs", i), indent, with_reasons);
}

static void add_batch(Table *table, JsonObject *batch, const char *units)
{
    JsonObject *tonight = read_object(batch, "tonight");
    const char *position = read_text(batch, "position");
    g_autofree char *shown_position =
        read_flag(batch, "position_known") || !*position ? g_strdup(position)
                                                        : g_strconcat(position, "?", NULL);
    g_autofree char *place = show_join(", ", read_text(batch, "place"), shown_position, NULL);
    g_autofree char *hardened = print_temperature(read_number(batch, "hardened_to_c"), units);
    g_autofree char *allowed = print_temperature(read_number(batch, "allowed_low_c"), units);
    g_autofree char *expected = print_temperature(read_number(tonight, "expected_c"), units);

    table_row(table, read_text(batch, "name"), read_text(batch, "crop"), place,
              read_text(batch, "stage"), hardened, allowed, expected, read_text(tonight, "odds"),
              read_text(batch, "ready"));
}

void show_batches(JsonObject *holder, const char *name, const char *units, int indent)
{
    if (read_count(holder, name) == 0)
        return;
    g_autofree char *hard = g_strdup_printf(">Hard %s", print_degree(units));
    Table *table = table_new("~Batch", "~Crop", "~Place", "~Stage", hard, ">May", ">Will", "~Harm",
                             "~Ready", NULL);
    for (guint i = 0; i < read_count(holder, name); i++)
        add_batch(table, read_item(holder, name, i), units);
    table_print(table, indent);
}

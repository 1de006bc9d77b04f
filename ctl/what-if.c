/* SPDX-License-Identifier: MIT */
/* what-if: what would differ; nothing is changed by asking. */
#include "ctl/body.h"
#include "ctl/print.h"
#include "ctl/read.h"
#include "ctl/show.h"
#include "ctl/verbs.h"

/* The texts of an array, each behind FIRST. */
static void show_texts(JsonObject *object, const char *name, const char *first, int indent)
{
    g_autofree char *joined = read_joined(object, name, "\n");
    g_auto(GStrv) texts = g_strsplit(joined, "\n", -1);

    for (guint i = 0; texts[i] != NULL; i++)
        if (*texts[i])
            print_hanging(indent, first, texts[i]);
}

static void show_visit_change(JsonObject *visit)
{
    const char *change = read_text(visit, "change"), *site = read_text(visit, "site");
    const char *was = read_text(visit, "was"), *when = read_text(visit, "when");
    g_autofree char *number = print_number(read_number(visit, "minutes"), 0);
    g_autofree char *what = NULL;

    if (g_str_equal(change, "gone"))
        what = g_strdup_printf("%s  %s: no visit", was, site);
    else if (g_str_equal(change, "new"))
        what = g_strdup_printf("%s  %s: one visit more, %s min", when, site, number);
    else if (g_str_equal(change, "moved"))
        what = g_strdup_printf("%s  %s: instead of %s", when, site, was);
    else
        what = g_strdup_printf("%s  %s: other jobs", when, site);
    print_wrapped(2, what);
    show_texts(visit, "jobs", "+", 4);
    show_texts(visit, "jobs_left_out", "−", 4);
}

static void show_what_if(const Reply *reply, const Call *call)
{
    JsonObject *object = reply->object;

    (void)call;
    print_wrapped(0, read_text(object, "supposed"));
    print_styled(PRINT_STRONG, 0, read_text(object, "text"));
    if (read_count(object, "batches") > 0)
        print_blank();
    for (guint i = 0; i < read_count(object, "batches"); i++) {
        JsonObject *batch = read_item(object, "batches", i);
        print_wrapped(2, read_text(batch, "odds"));
        print_wrapped(2, read_text(batch, "ready"));
    }
    if (read_count(object, "visits") > 0) {
        print_blank();
        print_styled(PRINT_STRONG, 0, "Visits (+ a job more, − a job less)");
    }
    for (guint i = 0; i < read_count(object, "visits"); i++)
        show_visit_change(read_item(object, "visits", i));
    if (read_count(object, "limits_passed") > 0) {
        print_blank();
        print_styled(PRINT_STRONG, 0, "Limits that would be passed");
        show_texts(object, "limits_passed", "!", 2);
    }
    if (read_count(object, "limits_kept") > 0) {
        print_blank();
        print_styled(PRINT_STRONG, 0, "Limits that would be kept, and are not as it is");
        show_texts(object, "limits_kept", "·", 2);
    }
    print_blank();
    print_styled(PRINT_FAINT, 0, "Only reckoned: nothing was changed.");
}

static WireExit ask(const Call *call, JsonObject *body, const char *change)
{
    body_text(body, "change", change);
    return client_run(call, "POST", "/v1/what-if", body, show_what_if);
}

WireExit run_what_if_skip(const Call *call)
{
    g_autoptr(JsonObject) body = json_object_new();

    const char *word = call->args[0];

    /* as for done: 7, J7 and #7 */
    if (!body_number(body, "job", word + (*word == 'J' || *word == 'j' || *word == '#'), NULL))
        return client_usage(call, "%s is not the number of a job", call->args[0]);
    return ask(call, body, "skip");
}

WireExit run_what_if_frost(const Call *call)
{
    g_autoptr(JsonObject) body = json_object_new();
    const char *unit = NULL;

    body_text(body, "site", call->args[0]);
    body_text(body, "night", call->args[1]);
    if (!body_number(body, "low", call->args[2], &unit))
        return client_usage(call, "%s is not a temperature", call->args[2]);
    body_text(body, "unit", unit);
    return ask(call, body, "frost");
}

WireExit run_what_if_place(const Call *call)
{
    g_autoptr(JsonObject) body = json_object_new();
    const char *trays = call_option(call, "trays");

    body_text(body, "kind", call->args[0]);
    body_text(body, "site", call->args[1]);
    if (trays != NULL && !body_number(body, "trays", trays, NULL))
        return client_usage(call, "%s is not a number of trays", trays);
    return ask(call, body, "place");
}

WireExit run_what_if_sown(const Call *call)
{
    g_autoptr(JsonObject) body = json_object_new();

    body_text(body, "batch", call->args[0]);
    body_text(body, "sown", call->args[1]);
    return ask(call, body, "sown");
}

/* SPDX-License-Identifier: MIT */
/* visit list, move, drop, offer, undo. */
#include "ctl/body.h"
#include "ctl/print.h"
#include "ctl/read.h"
#include "ctl/show.h"
#include "ctl/verbs.h"

static void show_line(JsonObject *visit)
{
    g_autoptr(GString) text = g_string_new(read_text(visit, "site"));
    JsonArray *jobs = json_object_has_member(visit, "jobs") &&
                              JSON_NODE_HOLDS_ARRAY(json_object_get_member(visit, "jobs"))
                          ? json_object_get_array_member(visit, "jobs")
                          : NULL;
    const guint n = jobs != NULL ? json_array_get_length(jobs) : 0;

    for (guint i = 0; i < n; i++) {
        JsonNode *job = json_array_get_element(jobs, i);
        g_string_append_printf(text, "%s %d",
                               i > 0    ? ","
                               : n == 1 ? "; job"
                                        : "; jobs",
                               JSON_NODE_HOLDS_VALUE(job) ? (int)json_node_get_int(job) : 0);
    }
    if (read_flag(visit, "begun"))
        g_string_append(text, "; it has begun");
    if (read_flag(visit, "fixed"))
        g_string_append(text, "; you set this time");
    print_hanging(0, read_text(visit, "when"), text->str);
}

static void show_visits(const Reply *reply, const Call *call)
{
    const guint n = read_count(reply->object, "visits"),
                n_wishes = read_count(reply->object, "wishes"),
                n_answers = read_count(reply->object, "answers");

    (void)call;
    for (guint i = 0; i < n; i++)
        show_line(read_item(reply->object, "visits", i));
    if (n == 0)
        print_wrapped(0, "No visit is planned.");
    for (guint i = 0; i < n_wishes; i++) {
        JsonObject *wish = read_item(reply->object, "wishes", i);
        g_autofree char *number = print_number(read_number(wish, "number"), 0);
        g_autofree char *text =
            g_strdup_printf("%s. %s", read_text(wish, "text"), read_text(wish, "cost"));
        if (i == 0) {
            print_blank();
            print_styled(PRINT_STRONG, 0, "Said of visits (undo by number)");
        }
        print_hanging(0, number, text);
    }
    for (guint i = 0; i < n_answers; i++) {
        if (i == 0) {
            print_blank();
            print_styled(PRINT_STRONG, 0, "Answered in the calendar");
        }
        print_wrapped(0, read_text(read_item(reply->object, "answers", i), "text"));
    }
}

WireExit run_visit_list(const Call *call)
{
    return client_run(call, "GET", "/v1/visits", NULL, show_visits);
}

/* "7", "J7": of that job's visit; else a site's name. */
static void add_visit(JsonObject *body, const char *word)
{
    const char *digits = *word == 'J' || *word == 'j' ? word + 1 : word;
    guint64 handle;

    if (g_ascii_string_to_unsigned(digits, 10, 1, G_MAXINT32, &handle, NULL))
        json_object_set_int_member(body, "job", (gint64)handle);
    else
        body_text(body, "site", word);
}

/* visit move, with a time, and visit drop. */
WireExit run_visit_change(const Call *call)
{
    g_autoptr(JsonObject) body = json_object_new();

    add_visit(body, call->args[0]);
    if (call->n_args == 1)
        return client_run(call, "POST", "/v1/visits/drop", body, show_done);
    body_text(body, "at", call->args[1]);
    return client_run(call, "POST", "/v1/visits/move", body, show_done);
}

WireExit run_visit_offer(const Call *call)
{
    g_autoptr(JsonObject) body = json_object_new();

    body_text(body, "site", call->args[0]);
    body_text(body, "from", call->args[1]);
    body_text(body, "to", call->args[2]);
    body_option(body, "grower", call);
    return client_run(call, "POST", "/v1/visits/offer", body, show_done);
}

WireExit run_visit_undo(const Call *call)
{
    g_autoptr(JsonObject) body = json_object_new();
    guint64 number;

    if (!g_ascii_string_to_unsigned(call->args[0], 10, 1, G_MAXINT32, &number, NULL))
        return client_usage(call, "%s is not a number of \"visit list\"", call->args[0]);
    json_object_set_int_member(body, "number", (gint64)number);
    return client_run(call, "POST", "/v1/visits/undo", body, show_done);
}

/* SPDX-License-Identifier: MIT */
/* What the grower tells: done, missed, cover, reading, frost, away. */
#include "ctl/body.h"
#include "ctl/print.h"
#include "ctl/read.h"
#include "ctl/show.h"
#include "ctl/verbs.h"

/* Two of the numbers just shown, as an example; one where there is but one. */
static void show_how(const Reply *reply)
{
    JsonObject *visit = read_item(reply->object, "visits", 0);
    const guint n = MIN(read_count(visit, "jobs"), 2);
    g_autoptr(GString) numbers = g_string_new(NULL);

    for (guint i = 0; i < n; i++) {
        g_autofree char *handle =
            print_number(read_number(read_item(visit, "jobs", i), "handle"), 0);
        g_string_append_printf(numbers, " %s", handle);
    }
    g_autofree char *line = g_strdup_printf(
        "Report them by number: tholectl done%s, or: tholectl done all", numbers->str);
    print_wrapped(0, line);
}

static void show_open(const Reply *reply, const Call *call)
{
    const guint n = read_count(reply->object, "visits");

    (void)call;
    for (guint i = 0; i < n; i++)
        show_visit(read_item(reply->object, "visits", i), 0, false);
    if (n > 0)
        show_how(reply);
    else
        print_wrapped(0, "There is no job to report.");
}

/* A job's number, as it is shown: 7; J7 and #7 are taken too. */
static bool add_handle(JsonArray *jobs, const char *word)
{
    const char *digits = word + (*word == 'J' || *word == 'j' || *word == '#');
    guint64 handle;

    if (!g_ascii_string_to_unsigned(digits, 10, 1, 1000000000, &handle, NULL))
        return false;
    json_array_add_int_element(jobs, (gint64)handle);
    return true;
}

WireExit run_report(const Call *call)
{
    g_autoptr(JsonObject) body = json_object_new();

    if (call->n_args == 0)
        return client_run(call, "GET", "/v1/jobs", NULL, show_open);
    body_text(body, "state", call->command->name);
    body_option(body, "at", call);
    const char *minutes = call_option(call, "minutes");
    guint64 n;
    if (minutes != NULL && !g_ascii_string_to_unsigned(minutes, 10, 1, 100000, &n, NULL))
        return client_usage(call, "--minutes takes a whole number");
    if (minutes != NULL)
        json_object_set_int_member(body, "minutes", (gint64)n);
    if (call->n_args == 1 && g_str_equal(call->args[0], "all") &&
        g_str_equal(call->command->name, "done")) {
        json_object_set_boolean_member(body, "all", TRUE);
    } else {
        g_autoptr(JsonArray) jobs = json_array_new();
        for (int i = 0; i < call->n_args; i++)
            if (!add_handle(jobs, call->args[i]))
                return client_usage(call, "%s is not the number of a job", call->args[i]);
        json_object_set_array_member(body, "jobs", g_steal_pointer(&jobs));
    }
    return client_run(call, "POST", "/v1/jobs/report", body, show_done);
}

WireExit run_cover(const Call *call)
{
    g_autofree char *path = client_path("/v1/places/{name}/cover", call->args[0]);
    g_autoptr(JsonObject) body = json_object_new();

    body_text(body, "position", call->args[1]);
    body_option(body, "at", call);
    return client_run(call, "POST", path, body, show_done);
}

WireExit run_reading(const Call *call)
{
    g_autoptr(JsonObject) body = json_object_new();
    const bool is_min = call_option(call, "min") != NULL, is_max = call_option(call, "max") != NULL;
    const char *unit = NULL;

    if (is_min && is_max)
        return client_usage(call, "--min and --max do not go together");
    body_text(body, "place", call->args[0]);
    if (!body_number(body, "value", call->args[1], &unit))
        return client_usage(call, "%s is not a temperature", call->args[1]);
    body_text(body, "unit", unit);
    body_text(body, "kind", is_min ? "min" : is_max ? "max" : "now");
    if (call_option(call, "since") != NULL && !is_min && !is_max)
        return client_usage(call, "--since goes with --min or --max");
    body_option(body, "since", call);
    if (call_option(call, "moved") != NULL)
        json_object_set_boolean_member(body, "moved", TRUE);
    body_option(body, "at", call);
    return client_run(call, "POST", "/v1/readings", body, show_done);
}

WireExit run_water(const Call *call)
{
    g_autoptr(JsonObject) body = json_object_new();

    body_text(body, "of", call->args[0]);
    body_option(body, "at", call);
    return client_run(call, "POST", "/v1/waterings", body, show_done);
}

WireExit run_frost(const Call *call)
{
    g_autoptr(JsonObject) body = json_object_new();
    const char *unit = NULL;

    body_text(body, "site", call->args[0]);
    body_text(body, "night", call->args[1]);
    if (!body_number(body, "low", call->args[2], &unit))
        return client_usage(call, "%s is not a temperature", call->args[2]);
    body_text(body, "unit", unit);
    return client_run(call, "POST", "/v1/frosts", body, show_done);
}

static void show_aways(const Reply *reply, const Call *call)
{
    const guint n = read_count(reply->object, "aways");

    (void)call;
    for (guint i = 0; i < n; i++)
        print_wrapped(0, read_text(read_item(reply->object, "aways", i), "text"));
    if (n == 0)
        print_wrapped(0, "No absence is planned.");
}

WireExit run_away(const Call *call)
{
    g_autoptr(JsonObject) body = json_object_new();

    if (call->n_args == 0)
        return client_run(call, "GET", "/v1/aways", NULL, show_aways);
    if (call->n_args == 1) {
        if (!g_str_equal(call->args[0], "end"))
            return client_usage(call, "from when, and until when?");
        return client_run(call, "POST", "/v1/aways/end", NULL, show_done);
    }
    body_text(body, "from", call->args[0]);
    body_text(body, "to", call->args[1]);
    body_option(body, "helper", call);
    body_option(body, "visits", call);
    body_option(body, "site", call);
    body_option(body, "grower", call);
    return client_run(call, "POST", "/v1/aways", body, show_done);
}

/* SPDX-License-Identifier: MIT */
/* What changes a batch, and the list of them. */
#include "ctl/body.h"
#include "ctl/print.h"
#include "ctl/read.h"
#include "ctl/show.h"
#include "ctl/verbs.h"

#include <string.h>

static WireExit not_a_number(const Call *call, const char *value)
{
    return client_usage(call, "%s is not a number", value);
}

/* What follows POST in the command's route. */
static const char *route_path(const Call *call)
{
    return strchr(call->command->routes, ' ') + 1;
}

WireExit run_batch_add(const Call *call)
{
    g_autoptr(JsonObject) body = json_object_new();

    body_text(body, "crop", call->args[0]);
    if (!body_number(body, "number", call->args[1], NULL))
        return not_a_number(call, call->args[1]);
    body_text(body, "place", call->args[2]);
    body_option(body, "name", call);
    body_option(body, "cultivar", call);
    body_option(body, "container", call);
    body_option(body, "sown", call);
    body_option(body, "destination", call);
    if (call_option(call, "bought"))
        json_object_set_boolean_member(body, "bought", TRUE);
    return client_run(call, "POST", "/v1/batches", body, show_done);
}

WireExit run_batch_split(const Call *call)
{
    g_autofree char *path = client_path(route_path(call), call->args[0]);
    g_autoptr(JsonObject) body = json_object_new();

    if (!body_number(body, "number", call->args[1], NULL))
        return not_a_number(call, call->args[1]);
    body_option(body, "name", call);
    body_option(body, "place", call);
    return client_run(call, "POST", path, body, show_done);
}

/* The member that the second word of a command is, by its last part. */
static const char *second_member(const char *command)
{
    static const struct {
        const char *command, *member;
    } members[] = {
        {"batch move", "place"},       {"batch destination", "place"}, {"batch plant-out", "place"},
        {"batch pot-on", "container"}, {"batch lost", "number"},       {"batch note", "text"},
        {"batch height", "cm"},
    };

    for (gsize i = 0; i < G_N_ELEMENTS(members); i++)
        if (g_str_equal(members[i].command, command))
            return members[i].member;
    return NULL;
}

/* The commands that say one thing of a batch: its options are members of the same name. */
WireExit run_batch_change(const Call *call)
{
    g_autofree char *path = client_path(route_path(call), call->args[0]);
    g_autoptr(JsonObject) body = json_object_new();
    const char *member = second_member(call->command->name);
    const char *second = call->args[1];

    if (second && member && (g_str_equal(member, "number") || g_str_equal(member, "cm"))) {
        if (!body_number(body, member, second, NULL))
            return not_a_number(call, second);
    } else if (second && member) {
        body_text(body, member, second);
    }
    for (const CommandOption *option = call->command->options; option && option->name; option++) {
        const char *value = call_option(call, option->name);
        if (!value)
            continue;
        if (!g_str_equal(option->name, "number"))
            body_text(body, option->name, value);
        else if (!body_number(body, option->name, value, NULL))
            return not_a_number(call, value);
    }
    return client_run(call, "POST", path, body, show_done);
}

/* Between which days each is ready. */
static void show_ranges(const GPtrArray *batches)
{
    g_autoptr(GString) text = g_string_new(NULL);

    for (guint i = 0; i < batches->len; i++) {
        const char *range = read_text(batches->pdata[i], "ready_range");
        if (*range)
            g_string_append_printf(text, "%s%s %s", text->len > 0 ? ", " : "",
                                   read_text(batches->pdata[i], "name"), range);
    }
    if (text->len > 0) {
        g_string_append_c(text, '.');
        g_string_prepend(text, "Ready in 8 cases of 10: ");
        print_wrapped(0, text->str);
    }
}

static void show_list(const Reply *reply, const Call *call)
{
    g_autoptr(GPtrArray) batches = g_ptr_array_new();

    (void)call;
    show_gather(batches, reply->object, "batches");
    if (batches->len == 0) {
        print_wrapped(0, "There is no batch yet. Begin one: tholectl batch add tomato 12 sill");
        return;
    }
    show_batches(batches, read_text(reply->object, "units"));
    show_ranges(batches);
    print_wrapped(0, "Degrees: average of the coldest ten hours tonight. Risk: odds of damage.");
}

WireExit run_batch_list(const Call *call)
{
    const bool ended = call_option(call, "ended") != NULL;

    return client_run(call, "GET", ended ? "/v1/batches?ended=true" : "/v1/batches", NULL,
                      show_list);
}

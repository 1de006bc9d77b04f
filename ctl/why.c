/* SPDX-License-Identifier: MIT */
/* How a decision came about, sentence by sentence; the numbers beside them are for --json. */
#include "ctl/print.h"
#include "ctl/read.h"
#include "ctl/show.h"
#include "ctl/verbs.h"

static void show_why(const Reply *reply, const Call *call)
{
    g_autoptr(GPtrArray) holders = g_ptr_array_new();
    g_autofree char *heading =
        show_join(" · ", read_text(reply->object, "batch"), read_text(reply->object, "when"), NULL);

    (void)call;
    print_styled(PRINT_STRONG, 0, heading);
    for (guint i = 0; i < read_count(reply->object, "steps"); i++) {
        g_autofree char *number = g_strdup_printf("%2u.", i + 1);
        print_blank();
        print_hanging(0, number, read_text(read_item(reply->object, "steps", i), "text"));
    }
    if (read_count(reply->object, "jobs") > 0)
        print_blank();
    g_ptr_array_add(holders, reply->object);
    show_how_to_report(holders);
}

WireExit run_why(const Call *call)
{
    g_autofree char *path = client_path("/v1/why/{batch}", call->args[0]);
    g_autofree char *query =
        call->n_args > 1 ? client_path("?date={date}", call->args[1]) : g_strdup("");
    g_autofree char *target = g_strconcat(path, query, NULL);

    return client_run(call, "GET", target, NULL, show_why);
}

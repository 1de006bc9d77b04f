/* SPDX-License-Identifier: MIT */
/* draw site NAME --output FILE: the days ahead as a picture. */
#include "ctl/client.h"
#include "ctl/draw/save.h"
#include "ctl/print.h"

static void save(const Reply *reply, const char *path, WireExit *ret)
{
    g_autofree char *why = NULL;
    g_autoptr(GError) error = NULL;
    g_autoptr(Figure) figure = figure_new(reply->object, &why);
    g_autoptr(GBytes) bytes = figure != NULL ? save_bytes(figure, save_format(path), &why) : NULL;
    gsize length = 0;

    *ret = WIRE_EXIT_REFUSED;
    if (bytes == NULL) {
        print_error("%s", why);
        return;
    }
    const char *data = g_bytes_get_data(bytes, &length);
    /* a viewer sees the old picture or the new one */
    if (!g_file_set_contents_full(path, data, (gssize)length, G_FILE_SET_CONTENTS_CONSISTENT, 0644,
                                  &error)) {
        print_error("%s", error->message);
        return;
    }
    g_autofree char *text = g_strdup_printf("Drawn: %s", path);
    print_wrapped(0, text);
    *ret = WIRE_EXIT_DONE;
}

WireExit run_draw(const Call *call)
{
    const char *path = call_option(call, "output"), *days = call_option(call, "days");
    g_autofree char *why = NULL;
    WireExit exit_status = WIRE_EXIT_DONE;

    if (path == NULL)
        return client_usage(call, "where to? Give --output FILE.svg, FILE.png or FILE.pdf");
    if (save_format(path) == SAVE_NONE)
        return client_usage(call, "%s ends in none of .svg, .png, .pdf", path);
    g_autofree char *site = client_path("/v1/course/{site}", call->args[0]);
    g_autofree char *given = days != NULL ? client_path("?days={days}", days) : g_strdup("");
    g_autofree char *asked = g_strconcat(site, given, NULL);
    g_autoptr(Reply) reply = client_ask(call, "GET", asked, NULL, &exit_status, &why);
    if (reply == NULL) {
        print_error("%s", why);
        return exit_status;
    }
    if (reply->status != 200 || call_option(call, "json") != NULL)
        return client_print(reply, call, show_done);
    save(reply, path, &exit_status);
    return exit_status;
}

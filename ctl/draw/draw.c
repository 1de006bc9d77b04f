/* SPDX-License-Identifier: MIT */
/* draw site NAME, draw batch NAME: the days of it as a picture, to the file of --output. */
#include "ctl/client.h"
#include "ctl/draw/paint.h"
#include "ctl/draw/ramp-paint.h"
#include "ctl/print.h"
#include "ctl/verbs.h"

/* What a reply becomes as a file; NULL and why (the caller's) where it cannot be drawn. */
typedef GBytes *(*DrawFunc)(JsonObject *reply, SaveAs as, char **ret_why);

static GBytes *draw_site(JsonObject *reply, SaveAs as, char **ret_why)
{
    g_autoptr(Figure) figure = figure_new(reply, ret_why);

    if (figure == NULL)
        return NULL;
    const Picture picture = paint_picture(figure);
    return save_bytes(&picture, as, ret_why);
}

static GBytes *draw_batch(JsonObject *reply, SaveAs as, char **ret_why)
{
    g_autoptr(RampFigure) figure = ramp_figure_new(reply, ret_why);

    if (figure == NULL)
        return NULL;
    const Picture picture = ramp_picture(figure);
    return save_bytes(&picture, as, ret_why);
}

static WireExit save(GBytes *bytes, const char *path)
{
    g_autoptr(GError) error = NULL;
    gsize length = 0;
    const char *data = g_bytes_get_data(bytes, &length);

    /* a viewer sees the old picture or the new one */
    if (!g_file_set_contents_full(path, data, (gssize)length, G_FILE_SET_CONTENTS_CONSISTENT, 0644,
                                  &error)) {
        print_error("%s", error->message);
        return WIRE_EXIT_REFUSED;
    }
    g_autofree char *text = g_strdup_printf("Drawn: %s", path);
    print_wrapped(0, text);
    return WIRE_EXIT_DONE;
}

/* `asked`: the path of the reply that `draw` takes. */
static WireExit draw_reply(const Call *call, const char *asked, DrawFunc draw)
{
    const char *path = call_option(call, "output");
    g_autofree char *why = NULL;
    WireExit exit_status = WIRE_EXIT_DONE;

    if (path == NULL)
        return client_usage(call, "where to? Give --output FILE.svg, FILE.png or FILE.pdf");
    if (save_format(path) == SAVE_NONE)
        return client_usage(call, "%s ends in none of .svg, .png, .pdf", path);
    g_autoptr(Reply) reply = client_ask(call, "GET", asked, NULL, &exit_status, &why);
    if (reply == NULL) {
        print_error("%s", why);
        return exit_status;
    }
    if (reply->status != 200 || call_option(call, "json") != NULL)
        return client_print(reply, call, show_done);
    g_autoptr(GBytes) bytes = draw(reply->object, save_format(path), &why);
    if (bytes == NULL) {
        print_error("%s", why);
        return WIRE_EXIT_REFUSED;
    }
    return save(bytes, path);
}

WireExit run_draw(const Call *call)
{
    const char *days = call_option(call, "days");
    g_autofree char *site = client_path("/v1/course/{site}", call->args[0]);
    g_autofree char *given = days != NULL ? client_path("?days={days}", days) : g_strdup("");
    g_autofree char *asked = g_strconcat(site, given, NULL);

    return draw_reply(call, asked, draw_site);
}

WireExit run_draw_batch(const Call *call)
{
    g_autofree char *asked = client_path("/v1/batches/{name}", call->args[0]);

    return draw_reply(call, asked, draw_batch);
}

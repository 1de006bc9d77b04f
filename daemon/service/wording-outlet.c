/* SPDX-License-Identifier: MIT */
#include "service/wording-outlet.h"

#include <string.h>

static void append_problem(GString *to, const WordingContext *context, const WordingOutlet *outlet)
{
    g_autofree char *problem = g_strdup(outlet->problem);
    g_autofree char *tried = wording_when(context, 0, outlet->tried_utc);
    g_autofree char *next = wording_when(context, 0, outlet->next_utc);
    g_autofree char *delivered = wording_when(context, 0, outlet->delivered_utc);

    while (g_str_has_suffix(problem, "."))
        problem[strlen(problem) - 1] = '\0';
    if (!outlet->kept) {
        g_string_append_printf(to, "Not kept: %s.", problem);
        return;
    }
    g_string_append_printf(to, "It could not be delivered%s%s: %s.", *tried != '\0' ? " " : "",
                           tried, problem);
    if (outlet->refused && outlet->kind == OUTLET_SERVER && *outlet->secret != '\0')
        g_string_append_printf(to,
                               " Put the right password into %s, on its first line, or mend user= "
                               "in thole.conf; the file is read anew at each try.",
                               outlet->secret);
    else if (outlet->refused && outlet->kind == OUTLET_SERVER)
        g_string_append(to, " It wants a login: give user= and secret-file= in thole.conf.");
    if (*next != '\0')
        g_string_append_printf(to, " Tried again %s, or at once when thole.conf is read again.",
                               next);
    if (*delivered != '\0')
        g_string_append_printf(to, " What stands there is of %s.", delivered);
    else
        g_string_append(to, " Nothing was delivered yet.");
}

char *wording_outlet(const WordingContext *context, const WordingOutlet *outlet)
{
    g_autoptr(GString) to = g_string_new(NULL);
    g_autofree char *delivered = wording_when(context, 0, outlet->delivered_utc);

    if (outlet->rehearsal)
        return g_strdup("Not kept in a rehearsal.");
    if (*outlet->problem != '\0')
        append_problem(to, context, outlet);
    else if (*delivered == '\0')
        g_string_append(to, "Nothing was delivered yet.");
    else if (outlet->pending == 0)
        g_string_append_printf(to, "As of %s all stands there as it should.", delivered);
    else
        g_string_append_printf(to, "What stands there is of %s.", delivered);
    if (outlet->pending > 0 && outlet->kept)
        g_string_append_printf(to, " %u %s %s.", outlet->pending,
                               outlet->pending == 1 ? "event" : "events",
                               *outlet->problem != '\0' ? (outlet->pending == 1 ? "waits" : "wait")
                               : outlet->pending == 1   ? "is on the way"
                                                        : "are on the way");
    return g_string_free(g_steal_pointer(&to), FALSE);
}

char *wording_outlet_where(const OutletSetup *setup)
{
    if (setup->kind != OUTLET_SERVER)
        return g_strdup_printf("in %s", setup->path);
    g_autoptr(GUri) uri = g_uri_parse(setup->address, G_URI_FLAGS_NONE, NULL);
    const char *at = strrchr(setup->address, '@');
    if (uri == NULL || g_uri_get_host(uri) == NULL)
        return g_strdup_printf("on %s", at != NULL ? at + 1 : setup->address);
    return g_uri_get_port(uri) < 0
               ? g_strdup_printf("on %s", g_uri_get_host(uri))
               : g_strdup_printf("on %s:%d", g_uri_get_host(uri), g_uri_get_port(uri));
}

char *wording_outlet_edit(const WordingContext *context, int site, const char *event,
                          const char *kind, int64_t start_utc, const char *text)
{
    static const struct {
        const char *kind, *words;
    } rows[] = {
        {"deleted", "deleted"},
        {"cancelled", "marked as cancelled"},
        {"done", "marked as done"},
        {"restored", "put back"},
        {"other", "an event of your own"},
        {"other-gone", "an event of your own was taken away"},
        {"lost", "all events were gone at once; they are put again"},
    };
    g_autofree char *to = wording_when(context, site, start_utc);
    g_autofree char *words = NULL;

    for (gsize i = 0; i < G_N_ELEMENTS(rows) && words == NULL; i++) {
        if (strcmp(rows[i].kind, kind) == 0)
            words = g_strdup(rows[i].words);
    }
    if (strcmp(kind, "moved") == 0)
        words = g_strdup_printf("moved to %s", to);
    else if (strcmp(kind, "renamed") == 0)
        words = *text != '\0' ? g_strdup_printf("renamed to “%s”", text)
                              : g_strdup("its title taken back");
    else if (words == NULL)
        words = g_strdup_printf("a line was added, “%s”", text);
    if (strcmp(kind, "other") == 0 && *text != '\0')
        return g_strdup_printf("“%s”: %s.", text, words);
    if (strcmp(kind, "other-gone") == 0 || strcmp(kind, "lost") == 0) {
        words[0] = g_ascii_toupper(words[0]);
        return g_strconcat(words, ".", NULL);
    }
    return g_strdup_printf("%s: %s.", event != NULL ? event : "An event of a time past", words);
}

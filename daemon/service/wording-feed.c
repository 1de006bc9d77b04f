/* SPDX-License-Identifier: MIT */
#include "service/wording-feed.h"

/* Which phones drop alarms, and where that is known from: docs/feed.md. */
char *wording_feed(gboolean several, gboolean only_here)
{
    return g_strconcat(
        only_here ? "Only this machine reaches it yet: for a phone, give listen= or address= in "
                    "[feed] of thole.conf. "
                  : "",
        several ? "Each grower's phone subscribes to that grower's address; "
                : "A phone subscribes to this address; ",
        "who knows it can read the calendar, so keep it to yourself. A phone looks by itself, "
        "and may see a change hours late. Alarms: an Android phone with ICSx5 keeps them. An "
        "iPhone or iPad may have \"Remove Alarms\" switched on in the subscription: switch it off. "
        "Google Calendar, Outlook and Nextcloud are said to drop them from subscriptions. Try it "
        "once with tholectl test-alarm.",
        NULL);
}

char *wording_link_title(const WordingContext *context, const Visit *visit)
{
    if (visit == NULL)
        return g_strdup("This visit");
    g_autofree char *when = wording_when(context, visit->site, visit->start_utc);
    return g_strdup_printf("%s, %s", when, context->garden->sites[visit->site].name);
}

char *wording_link_ask(guint n_jobs)
{
    return g_strdup(n_jobs == 1 ? "Was this done?" : "Was all of this done?");
}

char *wording_link_button(void)
{
    return g_strdup("Yes, done");
}

char *wording_link_kept(void)
{
    return g_strdup("Kept as done:");
}

char *wording_link_undo(void)
{
    return g_strdup("Was it a mistake? Say how it stands now with tholectl; this link has done its "
                    "work.");
}

char *wording_link_used(const WordingContext *context, int site, int64_t used_utc)
{
    g_autofree char *when = wording_when(context, site, used_utc);
    return g_strdup_printf("It was done already: reported with this link, %s.", when);
}

char *wording_link_nothing_open(void)
{
    return g_strdup("Nothing of this visit is open any more: it was reported already, or the plan "
                    "has changed since.");
}

char *wording_link_failed(const GError *error)
{
    return error != NULL
               ? g_strdup_printf("It was not kept: %s. Nothing has changed; try again later.",
                                 error->message)
               : g_strdup("It was not kept. Nothing has changed; try again later.");
}

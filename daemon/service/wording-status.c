/* SPDX-License-Identifier: MIT */
#include "service/wording-status.h"

#include "service/wording-names.h"

char *wording_status(const WordingContext *context, const WordingStatus *status)
{
    g_autoptr(GString) text = g_string_new(NULL);

    if (status->no_plan)
        g_string_append(text, "No new plan could be made, see: tholectl check. ");
    if (status->next == NULL) {
        g_string_append(text, "No visit is planned.");
    } else {
        const Visit *visit = status->next;
        g_autofree char *when = wording_when(context, visit->site, visit->start_utc);
        g_autofree char *site = wording_site_words(context, visit->site);
        g_string_append_printf(text,
                               status->begun ? "Since %s a visit to %s: %d %s open."
                                             : "Next visit %s to %s: %d %s.",
                               when, site, status->n_jobs, status->n_jobs == 1 ? "job" : "jobs");
    }
    if (status->n_alerts > 0)
        g_string_append_printf(text, " %u %s you, see: tholectl.", status->n_alerts,
                               status->n_alerts == 1 ? "thing needs" : "things need");
    return g_string_free(g_steal_pointer(&text), FALSE);
}

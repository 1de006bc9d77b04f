/* SPDX-License-Identifier: MIT */
#include "service/done-link.h"

#include "base/log.h"
#include "service/api-report.h"
#include "service/feed-outlet.h"
#include "service/wording-feed.h"
#include "store/store-done-links.h"

#define TOPIC "feed"

static char *hash_of(const char *token)
{
    return g_compute_checksum_for_string(G_CHECKSUM_SHA256, token, -1);
}

char *feed_done_url(Service *service, const char *visit_id, int64_t expires_utc)
{
    g_autofree char *base = feed_outlet_base(service->feed);
    StoreDoneLink link = {.expires_utc = expires_utc};
    g_autoptr(GError) error = NULL;
    char token[ID_SIZE];

    if (base == NULL)
        return NULL;
    store_new_id(token);
    g_autofree char *hash = hash_of(token);
    g_strlcpy(link.hash, hash, sizeof link.hash);
    g_strlcpy(link.visit_id, visit_id, sizeof link.visit_id);
    if (!store_put_done_link(service->store, &link, clock_now(service->clk), &error)) {
        log_warning(TOPIC, NULL, "a message goes out without a Done link: %s", error->message);
        return NULL;
    }
    return g_strconcat(base, "/done/", token, NULL);
}

static const OpenVisit *find_visit(const Service *service, const char *id)
{
    for (guint i = 0; i < service->visits->len; i++) {
        const OpenVisit *visit = g_ptr_array_index(service->visits, i);
        if (g_str_equal(visit->visit.id, id))
            return visit;
    }
    return NULL;
}

/* The jobs still to be reported, as sentences; NULL where there are none. */
static char **open_jobs(const Service *service, const OpenVisit *visit)
{
    const WordingContext words = service_wording(service);
    g_autoptr(GStrvBuilder) lines = g_strv_builder_new();
    guint n = 0;

    for (guint i = 0; visit != NULL && i < visit->jobs->len; i++) {
        const OpenJob *job = &g_array_index(visit->jobs, OpenJob, i);
        if (job->state != STORE_JOB_PLANNED)
            continue;
        g_autofree char *text = wording_visit_job(&words, &visit->visit, &job->job);
        g_strv_builder_add(lines, text);
        n++;
    }
    return n > 0 ? g_strv_builder_end(lines) : NULL;
}

static FeedPage *page_new(char *title, char *lead)
{
    FeedPage *page = g_new0(FeedPage, 1);

    page->title = title;
    page->lead = lead;
    return page;
}

/* All is reported that is open, and the link is spent. */
static FeedPage *report(Service *service, const StoreDoneLink *link, char *title, char **lines)
{
    g_autoptr(GError) error = NULL;

    if (!api_report_visit(service, link->visit_id, &error)) {
        FeedPage *page = page_new(title, wording_link_failed(error));
        log_warning(TOPIC, NULL, "a report by a Done link was not kept: %s",
                    error != NULL ? error->message : "nothing is open");
        page->failed = TRUE;
        return page;
    }
    /* Should this fail, the link leads to a visit with nothing open: no harm is done. */
    if (!store_use_done_link(service->store, link->hash, clock_now(service->clk), &error))
        log_warning(TOPIC, NULL, "a Done link was not marked as used: %s, ignoring",
                    error->message);
    FeedPage *page = page_new(title, wording_link_kept());
    page->lines = g_strdupv(lines);
    page->note = wording_link_undo();
    return page;
}

FeedPage *done_link_page(const char *token, gboolean post, gpointer data)
{
    Service *service = data;
    const WordingContext words = service_wording(service);
    g_autofree char *hash = hash_of(token);
    g_autoptr(GError) error = NULL;
    StoreDoneLink link;
    gboolean found;

    if (!store_get_done_link(service->store, hash, &link, &found, &error)) {
        log_warning(TOPIC, NULL, "the record cannot be read: %s", error->message);
        return NULL;
    }
    if (!found || link.expires_utc <= clock_now(service->clk))
        return NULL;
    const OpenVisit *visit = find_visit(service, link.visit_id);
    char *title = wording_link_title(&words, visit != NULL ? &visit->visit : NULL);
    if (link.used_utc != 0)
        return page_new(
            title, wording_link_used(&words, visit != NULL ? visit->visit.site : 0, link.used_utc));
    g_auto(GStrv) lines = open_jobs(service, visit);
    if (lines == NULL)
        return page_new(title, wording_link_nothing_open());
    if (post)
        return report(service, &link, title, lines);
    FeedPage *page = page_new(title, wording_link_ask(g_strv_length(lines)));
    page->lines = g_steal_pointer(&lines);
    page->button = wording_link_button();
    return page;
}

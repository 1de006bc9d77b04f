/* SPDX-License-Identifier: MIT */
#include "service/wording-news.h"

#include "service/wording-notice.h"
#include "service/wording-private.h"

#include <string.h>

static bool fits(const char *text)
{
    return g_utf8_strlen(text, -1) <= WORDING_SUMMARY_MAX;
}

static char *cut(const char *text)
{
    if (fits(text))
        return g_strdup(text);
    g_autofree char *start = g_utf8_substring(text, 0, WORDING_SUMMARY_MAX - 1);

    return g_strconcat(g_strchomp(start), "…", NULL);
}

/* What no visit can do, and nobody can come to in time. */
static bool is_too_late(const WordingContext *context, const Visit *visit, const Job *jobs,
                        int n_jobs)
{
    return visit == NULL && n_jobs == 1 && wording_is_too_late(context, &jobs[0]);
}

/* The degrees go first, then its end. */
static char *question(const char *summary)
{
    g_autofree char *asked = g_strdup_printf("Done? %s", summary);
    char *degrees = strrchr(asked, '(');

    if (!fits(asked) && degrees != NULL) {
        *degrees = '\0';
        g_strchomp(asked);
    }
    return cut(asked);
}

char *wording_news_summary(const WordingContext *context, WordingNews why, const Visit *visit,
                           const Job *jobs, int n_jobs)
{
    if (is_too_late(context, visit, jobs, n_jobs))
        return wording_too_late_summary(context, &jobs[0]);
    g_autofree char *summary = wording_summary(context, visit, jobs, n_jobs);
    return why == WORDING_NEWS_QUESTION ? question(summary) : g_steal_pointer(&summary);
}

char *wording_news_body(const WordingContext *context, WordingNews why, const Visit *visit,
                        const Job *jobs, int n_jobs)
{
    static const char *const leads[] = {
        [WORDING_NEWS_CHANGED] = "New in the plan, or changed; your phone's calendar may tell it "
                                 "too late.\n",
        [WORDING_NEWS_WARNING] = "",
        [WORDING_NEWS_LEAVE] = "It is time to leave.\n",
        [WORDING_NEWS_QUESTION] = "Nobody has reported this yet, and plants depend on it. Report "
                                  "it with \"tholectl done\" or \"tholectl missed\".\n",
    };
    const bool goes = why != WORDING_NEWS_LEAVE || visit != NULL;

    if (is_too_late(context, visit, jobs, n_jobs))
        return wording_too_late_notice(context, &jobs[0]);
    g_autofree char *notice = wording_notice(context, visit, jobs, n_jobs);

    return g_strconcat(goes ? leads[why] : "", notice, NULL);
}

/* "the plot, Thu 18:00" */
static char *where_and_when(const WordingContext *context, const Visit *visit)
{
    g_autofree char *where = wording_site_words(context, visit->site);
    g_autofree char *when = wording_when(context, visit->site, visit->start_utc);

    return g_strdup_printf("%s%s%s", where, *where != '\0' ? ", " : "", when);
}

char *wording_withdrawn_summary(const WordingContext *context, const Visit *visit)
{
    g_autofree char *what = where_and_when(context, visit);
    g_autofree char *text = g_strdup_printf("No visit: %s", what);

    return cut(text);
}

char *wording_withdrawn_body(const WordingContext *context, const Visit *visit)
{
    g_autofree char *what = where_and_when(context, visit);

    return g_strdup_printf("You need not go: %s. The plan has changed, and this visit is off. Its "
                           "alarm in your phone's calendar may still ring.",
                           what);
}

char *wording_tomorrow_summary(const WordingContext *context, int n_visits, const Visit *first)
{
    g_autofree char *clock = wording_clock(context, first->site, first->start_utc);

    if (n_visits == 1)
        return g_strdup_printf("Tomorrow: one visit, %s", clock);
    return g_strdup_printf("Tomorrow: %d visits, the first %s", n_visits, clock);
}

char *wording_news_visit(const WordingContext *context, const Visit *visit, const Job *jobs,
                         int n_jobs)
{
    g_autofree char *summary = wording_summary(context, visit, jobs, n_jobs);
    g_autofree char *notice = wording_notice(context, visit, jobs, n_jobs);

    return g_strdup_printf("%s\n%s", summary, notice);
}

char *wording_together(const char *first, int n)
{
    if (first == NULL)
        return g_strdup_printf("%d changes of the plan", n);
    g_autofree char *text = g_strdup_printf("%s, and %d more", first, n - 1);

    return fits(text) ? g_steal_pointer(&text) : cut(first);
}

char *wording_done_link(const char *url)
{
    return g_strdup_printf("\nAll of it done? Say so here, once: %s\n", url);
}

char *wording_channel_test_summary(void)
{
    return g_strdup("Test message, nothing to do");
}

char *wording_channel_test_body(const char *channel)
{
    g_autofree char *name = wording_name(channel, NAME_SIZE);

    return g_strdup_printf("You asked for it with \"tholectl calendar test\". If you can read "
                           "this, the channel %s reaches you.",
                           name);
}

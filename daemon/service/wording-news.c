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

/* A calendar shows the day of an event, a message does not: told the evening before, it is named.
 */
static char *dated(const WordingContext *context, const Visit *visit, const char *notice)
{
    int today, day, minute;
    const char *rest = strchr(notice, '\n');

    if (visit == NULL || rest == NULL ||
        !wording_local(context, visit->site, context->now_utc, &today, &minute) ||
        !wording_local(context, visit->site, visit->start_utc, &day, &minute) || day == today)
        return g_strdup(notice);
    g_autofree char *clock = wording_clock(context, visit->site, visit->start_utc);
    g_autofree char *when = wording_when(context, visit->site, visit->start_utc);
    g_autofree char *where = g_strndup(notice, (gsize)(rest - notice));
    if (!g_str_has_suffix(where, clock))
        return g_strdup(notice);
    where[strlen(where) - strlen(clock)] = '\0';
    return g_strconcat(where, when, rest, NULL);
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

    g_autofree char *told = dated(context, visit, notice);

    return g_strconcat(goes ? leads[why] : "", told, NULL);
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

char *wording_channels_tested(int n, int n_delivered)
{
    if (n == 0)
        return g_strdup("No channel is set up: the calendar alone reminds, and the desktop where "
                        "there is one. \"man thole.conf\" tells how to add a [channel NAME].");
    if (n == 1 && n_delivered == 1)
        return g_strdup("The message was taken: look whether it is there.");
    if (n == n_delivered)
        return g_strdup_printf("All %d messages were taken: look whether they are there.", n);
    if (n_delivered == 0)
        return g_strdup_printf("%s", n == 1 ? "The message did not go out."
                                            : "None of the messages went out.");
    return g_strdup_printf("%d of %d messages went out: look whether %s there.", n_delivered, n,
                           n_delivered == 1 ? "it is" : "they are");
}

const char *wording_channel_kind(ChannelKind kind)
{
    switch (kind) {
    case CHANNEL_DESKTOP:
        return "desktop";
    case CHANNEL_MAIL:
        return "mail";
    case CHANNEL_WEBHOOK:
        return "webhook";
    case CHANNEL_COMMAND:
        return "command";
    }
    return "";
}

char *wording_channel(const WordingContext *context, const WordingChannel *channel)
{
    GString *text = g_string_new(wording_channel_kind(channel->kind));

    if (!channel->sends)
        return g_string_free(g_string_append(text, "; a rehearsal sends nothing"), FALSE);
    if (channel->failing_utc != 0) {
        g_autofree char *since = wording_when(context, 0, channel->failing_utc);
        g_autofree char *next = wording_when(context, 0, channel->next_utc);
        g_string_append_printf(text,
                               ", failing since %s: %s; tried again %s with what is to be told",
                               since, channel->trouble, next);
    } else if (channel->trouble != NULL) {
        g_string_append_printf(text, ", the last message was refused: %s", channel->trouble);
    }
    if (channel->delivered_utc != 0) {
        g_autofree char *delivered = wording_when(context, 0, channel->delivered_utc);
        g_string_append_printf(text, "%s the last message that was taken %s",
                               channel->trouble != NULL ? ";" : ",", delivered);
    } else {
        g_string_append_printf(text, "%s nothing was sent yet",
                               channel->trouble != NULL ? "; before that" : ",");
    }
    return g_string_free(text, FALSE);
}

char *wording_delivery(const char *const *ways, int n_ways)
{
    if (n_ways == 0)
        return g_strdup("only by the calendar, and a phone may see a change late: look at tholectl "
                        "today when frost is about, or add a [channel NAME] to thole.conf");
    GString *text = g_string_new("by the calendar");

    for (int i = 0; i < n_ways; i++)
        g_string_append_printf(text, "%s%s", i + 1 < n_ways ? ", " : " and ", ways[i]);
    return g_string_free(text, FALSE);
}

char *wording_missed(guint n)
{
    return g_strdup_printf("%u %s of the last day reached nobody in time; see the channels above",
                           n, n == 1 ? "message" : "messages");
}

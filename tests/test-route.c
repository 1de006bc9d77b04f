/* SPDX-License-Identifier: MIT */
/* What must be told besides the calendar, and by which channel: decided without one. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <string.h>

#include "base/local-time.h"
#include "notify/route.h"

#define T0 INT64_C(1776358800) /* Thursday 16 April 2026, 17:00 UTC; in London 18:00 */
#define MIN_S 60
#define NEVER 9999

/* ---- one news, two or three channels ---- */

enum { A, B, C, NONE = -1, LET_GO = -2 };

typedef struct Stand {
    gboolean there, busy;
    int retry, told_last; /* minutes from now; told_last: of any message; 0: never */
    const char *quiet;    /* "18:00-07:00" of London */
    int state;            /* ToldState + 1 of this news; 0: nothing */
    int at;
    gboolean other_run, other_words;
} Stand;

typedef struct Row {
    const char *sentence;
    int from, seen_by, last, answer_by; /* minutes from now */
    gboolean urgent, kills, once;
    Stand on[3];
    int channel;
    int next; /* minutes from now; NEVER */
} Row;

#define TOLD_AT(minutes) .state = TOLD_DELIVERED + 1, .at = (minutes)
#define THERE                                                                                      \
    {                                                                                              \
        .there = TRUE                                                                              \
    }
#define BOTH                                                                                       \
    {                                                                                              \
        THERE, THERE                                                                               \
    }

static const Row rows[] = {
    {"not before its time", 5, 300, 400, .on = BOTH, .channel = NONE, .next = 5},
    {"routine waits a little for more", 0, 300, 400, .on = BOTH, .channel = NONE, .next = 2},
    {"then it goes to the first channel", -2, 300, 400, .on = BOTH, .channel = A, .next = 401},
    {"urgent does not wait", 0, 300, 400, .urgent = TRUE, .on = BOTH, .channel = A, .next = 401},
    {"nor does what must be seen soon", 0, 20, 400, .on = BOTH, .channel = A, .next = 401},
    {"a message just before: routine waits", -5, 300, 400,
     .on = {{.there = TRUE, .told_last = -3}, THERE}, .channel = NONE, .next = 7},
    {"a message just before: urgent does not", -5, 300, 400, .urgent = TRUE,
     .on = {{.there = TRUE, .told_last = -3}, THERE}, .channel = A, .next = 401},
    {"told: never again", -60, 300, 400, .on = {{.there = TRUE, TOLD_AT(-50)}, THERE},
     .channel = NONE, .next = NEVER},
    {"told by the second: never again", -60, 300, 400, .on = {THERE, {.there = TRUE, TOLD_AT(-50)}},
     .channel = NONE, .next = NEVER},
    {"other words: told again", -60, 300, 400,
     .on = {{.there = TRUE, TOLD_AT(-50), .other_words = TRUE}, THERE}, .channel = A, .next = 401},
    {"other words of a warning: told once", -60, 300, 400, .once = TRUE,
     .on = {{.there = TRUE, TOLD_AT(-50), .other_words = TRUE}, THERE}, .channel = NONE,
     .next = NEVER},
    {"on its way", -3, 300, 400,
     .on = {{.there = TRUE, .busy = TRUE, .state = TOLD_HANDED + 1}, THERE}, .channel = NONE,
     .next = NEVER},
    {"the channel is busy with another", -3, 300, 400, .on = {{.there = TRUE, .busy = TRUE}, THERE},
     .channel = NONE, .next = 401},
    {"handed over by a run that was killed: routine counts as told", -3, 300, 400,
     .on = {{.there = TRUE, .state = TOLD_HANDED + 1, .other_run = TRUE}, THERE}, .channel = NONE,
     .next = NEVER},
    {"handed over by a run that was killed: urgent is told", -3, 300, 400, .urgent = TRUE,
     .on = {{.there = TRUE, .state = TOLD_HANDED + 1, .other_run = TRUE}, THERE}, .channel = A,
     .next = 401},
    {"the first channel failed: routine waits for it", -3, 300, 400,
     .on = {{.there = TRUE, .retry = 4, .state = TOLD_FAILED + 1, .at = -1}, THERE},
     .channel = NONE, .next = 4},
    {"but not long", -3, 300, 400,
     .on = {{.there = TRUE, .retry = 8, .state = TOLD_FAILED + 1, .at = -1}, THERE}, .channel = B,
     .next = 401},
    {"nor where it must be seen soon", -3, 33, 400,
     .on = {{.there = TRUE, .retry = 4, .state = TOLD_FAILED + 1, .at = -1}, THERE}, .channel = B,
     .next = 401},
    {"the first channel failed: urgent goes on", -3, 300, 400, .urgent = TRUE,
     .on = {{.there = TRUE, .retry = 4, .state = TOLD_FAILED + 1, .at = -1}, THERE}, .channel = B,
     .next = 401},
    {"both failed: the first that may be tried again", -3, 300, 400, .urgent = TRUE,
     .on = {{.there = TRUE, .retry = 4}, {.there = TRUE, .retry = 2}}, .channel = NONE, .next = 2},
    {"refused: on to the next", -3, 300, 400,
     .on = {{.there = TRUE, .state = TOLD_REFUSED + 1, .at = -1}, THERE}, .channel = B,
     .next = 401},
    {"refused by the only one: again in an hour", -3, 300, 400,
     .on = {{.there = TRUE, .state = TOLD_REFUSED + 1, .at = -1}}, .channel = NONE, .next = 59},
    {"quiet hours, and time: routine waits for the morning", -3, 840, 900,
     .on = {{.there = TRUE, .quiet = "17:30-07:00"}, THERE}, .channel = NONE, .next = 780},
    {"quiet hours, and no time: by the next", -3, 800, 900,
     .on = {{.there = TRUE, .quiet = "17:30-07:00"}, THERE}, .channel = B, .next = 901},
    {"quiet hours, urgent: by the next", -3, 840, 900, .urgent = TRUE,
     .on = {{.there = TRUE, .quiet = "17:30-07:00"}, THERE}, .channel = B, .next = 901},
    {"quiet hours everywhere, urgent: the first that ends", -3, 840, 900, .urgent = TRUE,
     .on = {{.there = TRUE, .quiet = "17:30-07:00"}, {.there = TRUE, .quiet = "17:30-06:00"}},
     .channel = NONE, .next = 720},
    {"what kills wakes", -3, 840, 900, .urgent = TRUE, .kills = TRUE,
     .on = {{.there = TRUE, .quiet = "17:30-07:00"}, THERE}, .channel = A, .next = 901},
    {"quiet until noon of the same day", -3, 840, 900,
     .on = {{.there = TRUE, .quiet = "08:00-18:00"}}, .channel = A, .next = 901},
    {"quiet from now", -3, 840, 900, .on = {{.there = TRUE, .quiet = "18:00-18:10"}},
     .channel = NONE, .next = 10},
    {"it would gather into the quiet hours: now", 0, 840, 900,
     .on = {{.there = TRUE, .quiet = "18:01-07:00"}}, .channel = A, .next = 901},
    {"an answer is not due", -60, 300, 400, .answer_by = 20, .urgent = TRUE,
     .on = {{.there = TRUE, TOLD_AT(-50)}, THERE}, .channel = NONE, .next = 20},
    {"no answer: by the next channel", -60, 300, 400, .answer_by = -1, .urgent = TRUE,
     .on = {{.there = TRUE, TOLD_AT(-50)}, THERE}, .channel = B, .next = NEVER},
    {"no answer, but told a moment ago", -60, 300, 400, .answer_by = -1, .urgent = TRUE,
     .on = {{.there = TRUE, TOLD_AT(-4)}, THERE}, .channel = NONE, .next = 6},
    {"no answer to the second: by the third", -60, 300, 400, .answer_by = -30, .urgent = TRUE,
     .on = {{.there = TRUE, TOLD_AT(-50)}, {.there = TRUE, TOLD_AT(-15)}, THERE}, .channel = C,
     .next = NEVER},
    {"no answer, the first had failed: it comes round to it", -60, 300, 400, .answer_by = -30,
     .urgent = TRUE, .on = {THERE, {.there = TRUE, TOLD_AT(-15)}}, .channel = A, .next = NEVER},
    {"no answer to any: nothing more", -60, 300, 400, .answer_by = -30, .urgent = TRUE,
     .on = {{.there = TRUE, TOLD_AT(-50)}, {.there = TRUE, TOLD_AT(-15)}}, .channel = NONE,
     .next = NEVER},
    {"of no more use, and never told", -60, -20, -1, .on = BOTH, .channel = LET_GO, .next = NEVER},
    {"of no more use, told", -60, -20, -1, .on = {{.there = TRUE, TOLD_AT(-50)}, THERE},
     .channel = NONE, .next = NEVER},
    {"nobody to tell it", -60, 300, 400, .channel = NONE, .next = 401},
};

static void read_hours(const char *text, ChannelSetup *setup)
{
    int h1, m1, h2, m2;
    if (text == NULL)
        return;
    assert_int_equal(sscanf(text, "%d:%d-%d:%d", &h1, &m1, &h2, &m2), 4);
    setup->quiet_from_min = 60 * h1 + m1;
    setup->quiet_to_min = 60 * h2 + m2;
}

static int try_row(const Row *row, int *ret_next)
{
    static const char *const names[] = {"a", "b", "c"};
    g_autoptr(GTimeZone) zone = g_time_zone_new_identifier("Europe/London");
    g_autoptr(GPtrArray) news = g_ptr_array_new_with_free_func((GDestroyNotify)news_free);
    g_autoptr(GPtrArray) told = g_ptr_array_new_with_free_func((GDestroyNotify)told_free);
    ChannelSetup setups[3] = {0};
    RouteChannel channels[3] = {0};
    int n_channels = 0;
    for (int i = 0; i < 3 && row->on[i].there; i++, n_channels++) {
        const Stand *on = &row->on[i];
        g_strlcpy(setups[i].name, names[i], sizeof setups[i].name);
        setups[i].grower = i == 1 ? -1 : 0;
        setups[i].order = CHANNEL_ORDER_USUAL;
        read_hours(on->quiet, &setups[i]);
        channels[i] =
            (RouteChannel){.setup = &setups[i],
                           .zone = zone,
                           .busy = on->busy,
                           .retry_utc = on->retry != 0 ? T0 + on->retry * MIN_S : 0,
                           .told_utc = on->told_last != 0 ? T0 + on->told_last * MIN_S : 0};
        if (on->state == 0)
            continue;
        Told *one = told_new("key", names[i]);
        one->state = (ToldState)(on->state - 1);
        one->at_utc = T0 + on->at * MIN_S;
        one->this_run = !on->other_run;
        g_free(one->sense);
        one->sense = g_strdup(on->other_words ? "other" : "sense");
        g_ptr_array_add(told, one);
    }
    News *n = news_new("key", 0, CHANNEL_TOPIC_CHANGE);
    n->from_utc = T0 + row->from * MIN_S;
    n->seen_by_utc = T0 + row->seen_by * MIN_S;
    n->last_utc = T0 + row->last * MIN_S + (row->last == -1 ? 59 : 0);
    n->answer_by_utc = row->answer_by != 0 ? T0 + row->answer_by * MIN_S : 0;
    n->urgent = row->urgent;
    n->kills = row->kills;
    n->once = row->once;
    g_free(n->sense);
    n->sense = g_strdup("sense");
    g_ptr_array_add(news, n);
    g_autoptr(GArray) acts = route_decide(news, channels, n_channels, told, T0);
    const int64_t next_utc = route_next_utc(news, channels, n_channels, told, T0);
    *ret_next = next_utc == 0 ? NEVER : (int)((next_utc - T0 + MIN_S - 1) / MIN_S);
    assert_in_range(acts->len, 0, 1);
    if (acts->len == 0)
        return NONE;
    const int channel = g_array_index(acts, RouteAct, 0).channel;
    return channel < 0 ? LET_GO : channel;
}

static void test_rows(void **state)
{
    guint wrong = 0;
    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        int next;
        const int channel = try_row(&rows[i], &next);
        if (channel == rows[i].channel && next == rows[i].next)
            continue;
        print_error("%s: channel %d, wanted %d; next %d, wanted %d\n", rows[i].sentence, channel,
                    rows[i].channel, next, rows[i].next);
        wrong++;
    }
    assert_int_equal(wrong, 0);
}

/* ---- many ---- */

static News *simple(const char *key, int grower, gboolean urgent)
{
    News *n = news_new(key, grower, CHANNEL_TOPIC_CHANGE);
    n->from_utc = T0;
    n->seen_by_utc = T0 + 3 * 3600;
    n->last_utc = T0 + 4 * 3600;
    n->urgent = urgent;
    return n;
}

/* One urgent takes along what only waited for more, the urgent first; each grower's own. */
static void test_burst(void **state)
{
    g_autoptr(GTimeZone) zone = g_time_zone_new_utc();
    g_autoptr(GPtrArray) news = g_ptr_array_new_with_free_func((GDestroyNotify)news_free);
    g_autoptr(GPtrArray) told = g_ptr_array_new();
    const ChannelSetup setups[] = {{.name = "one", .grower = 0, .order = 7},
                                   {.name = "two", .grower = 1, .order = 5}};
    const RouteChannel channels[] = {{.setup = &setups[0], .zone = zone},
                                     {.setup = &setups[1], .zone = zone}};
    (void)state;
    g_ptr_array_add(news, simple("n1", 0, FALSE));
    g_ptr_array_add(news, simple("n2", 0, FALSE));
    g_ptr_array_add(news, simple("n3", 1, FALSE));
    g_autoptr(GArray) none = route_decide(news, channels, 2, told, T0);
    assert_int_equal(none->len, 0);
    g_ptr_array_add(news, simple("n4", 0, TRUE));
    g_autoptr(GArray) acts = route_decide(news, channels, 2, told, T0);
    assert_int_equal(acts->len, 1);
    const RouteAct *act = &g_array_index(acts, RouteAct, 0);
    assert_int_equal(act->channel, 0);
    assert_int_equal(act->news->len, 3);
    assert_string_equal(((News *)act->news->pdata[0])->key, "n4");
    assert_string_equal(((News *)act->news->pdata[1])->key, "n1");
}

static void test_order(void **state)
{
    g_autoptr(GTimeZone) zone = g_time_zone_new_utc();
    g_autoptr(GPtrArray) news = g_ptr_array_new_with_free_func((GDestroyNotify)news_free);
    g_autoptr(GPtrArray) told = g_ptr_array_new();
    const ChannelSetup setups[] = {{.name = "late", .grower = 0, .order = 7},
                                   {.name = "shared", .grower = -1, .order = 2},
                                   {.name = "other", .grower = 1, .order = 1},
                                   {.name = "same", .grower = 0, .order = 2}};
    RouteChannel channels[4];
    static const int wanted[] = {1, 3, 0};
    (void)state;
    for (int i = 0; i < 4; i++)
        channels[i] = (RouteChannel){.setup = &setups[i], .zone = zone};
    g_ptr_array_add(news, simple("n", 0, TRUE));
    for (int i = 0; i < 3; i++) {
        g_autoptr(GArray) acts = route_decide(news, channels, 4, told, T0);
        assert_int_equal(g_array_index(acts, RouteAct, 0).channel, wanted[i]);
        channels[wanted[i]].retry_utc = T0 + 60;
    }
}

static void test_after(void **state)
{
    static const struct {
        ChannelResult result;
        gboolean urgent;
        ToldState state;
    } cases[] = {
        {{.outcome = CHANNEL_DELIVERED}, TRUE, TOLD_DELIVERED},
        {{.outcome = CHANNEL_REFUSED}, FALSE, TOLD_REFUSED},
        {{.outcome = CHANNEL_FAILED}, FALSE, TOLD_FAILED},
        {{.outcome = CHANNEL_FAILED, .maybe = TRUE}, FALSE, TOLD_DELIVERED},
        {{.outcome = CHANNEL_FAILED, .maybe = TRUE}, TRUE, TOLD_FAILED},
    };
    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(cases); i++)
        assert_int_equal(told_after(&cases[i].result, cases[i].urgent), cases[i].state);
    assert_int_equal(route_retry_utc(1, T0, 0), T0 + 60);
    assert_int_equal(route_retry_utc(2, T0, 1), T0 + 150);
    assert_int_equal(route_retry_utc(99, T0, 0), T0 + 900);
}

/* Of London in 2026: clocks go forward on 29 March at 01:00 UTC, back on 25 October. */
static void test_quiet_hours(void **state)
{
    static const struct {
        const char *hours, *at, *until; /* NULL: not quiet */
    } cases[] = {
        {"22:00-07:00", "2026-04-16T20:59:59Z", NULL},
        {"22:00-07:00", "2026-04-16T21:00:00Z", "2026-04-17T06:00:00Z"},
        {"22:00-07:00", "2026-04-17T05:59:59Z", "2026-04-17T06:00:00Z"},
        {"22:00-07:00", "2026-04-17T06:00:00Z", NULL},
        {"22:00-07:00", "2026-03-28T23:00:00Z", "2026-03-29T06:00:00Z"},
        {"22:00-07:00", "2026-10-24T23:00:00Z", "2026-10-25T07:00:00Z"},
        {"01:30-02:30", "2026-03-29T01:15:00Z", NULL}, /* its start comes with the gap's end */
        {"13:00-14:00", "2026-04-16T12:30:00Z", "2026-04-16T13:00:00Z"},
        {"08:00-08:00", "2026-04-16T07:00:00Z", NULL},
    };
    g_autoptr(GTimeZone) zone = g_time_zone_new_identifier("Europe/London");
    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(cases); i++) {
        ChannelSetup setup = {0};
        int64_t at_utc, until_utc = 0;
        read_hours(cases[i].hours, &setup);
        assert_true(utc_parse(cases[i].at, &at_utc, NULL));
        if (cases[i].until != NULL)
            assert_true(utc_parse(cases[i].until, &until_utc, NULL));
        if (route_quiet_until(&setup, zone, at_utc) != until_utc)
            fail_msg("%s at %s", cases[i].hours, cases[i].at);
    }
}

/* ---- what is news ---- */

typedef struct EventRow {
    const char *sentence;
    int changed, leave, end, deadline; /* minutes from now; deadline 0: none */
    gboolean withdrawn, warning, guards;
    int lag_h;
    const char *keys; /* of the news */
} EventRow;

static const EventRow event_rows[] = {
    {"published well ahead: the calendar tells it", -600, 60, 120, .lag_h = 6, .keys = ""},
    {"changed inside the lag", -10, 300, 360, .lag_h = 6, .keys = "v v/leave"},
    {"the same, where phones ask more often", -10, 300, 360, .lag_h = 1, .keys = ""},
    {"changed just before: leaving is not told again", -10, 40, 100, .lag_h = 1, .keys = "v"},
    {"in time for its alarm, not for its deadline", -10, 360, 420, .deadline = 300, .lag_h = 6,
     .keys = "v v/leave"},
    {"a warning is told whatever the lag", -10, 600, 660, .warning = TRUE, .lag_h = 1,
     .keys = "v v/leave"},
    {"withdrawn inside the lag", -10, 300, 360, .withdrawn = TRUE, .lag_h = 6, .keys = "v"},
    {"withdrawn in time", -10, 500, 560, .withdrawn = TRUE, .lag_h = 6, .keys = ""},
    {"a guarding job is asked for, later", -600, 60, 120, .deadline = 180, .guards = TRUE,
     .lag_h = 6, .keys = "ask-v"},
    {"asked for: nothing else is said", -10, -60, 20, .deadline = 45, .guards = TRUE, .lag_h = 6,
     .keys = "ask-v"},
    {"withdrawn: nothing is asked", -600, -60, 20, .deadline = 45, .withdrawn = TRUE,
     .guards = TRUE, .lag_h = 6, .keys = ""},
};

static void test_events(void **state)
{
    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(event_rows); i++) {
        const EventRow *row = &event_rows[i];
        const NewsEvent event = {.key = "v",
                                 .changed_utc = T0 + row->changed * MIN_S,
                                 .leave_utc = T0 + row->leave * MIN_S,
                                 .start_utc = T0 + (row->leave + 20) * MIN_S,
                                 .end_utc = T0 + row->end * MIN_S,
                                 .deadline_utc =
                                     row->deadline != 0 ? T0 + row->deadline * MIN_S : 0,
                                 .way_s = 20 * MIN_S,
                                 .withdrawn = row->withdrawn,
                                 .warning = row->warning,
                                 .guards = row->guards};
        g_autoptr(GPtrArray) news = g_ptr_array_new_with_free_func((GDestroyNotify)news_free);
        g_autoptr(GString) keys = g_string_new(NULL);
        news_add_event(news, &event, row->lag_h * 3600, T0);
        for (guint k = 0; k < news->len; k++) {
            const News *n = news->pdata[k];
            g_string_append_printf(keys, "%s%s", k > 0 ? " " : "", n->key);
            assert_true(n->from_utc <= n->last_utc);
            assert_true(n->from_utc <= n->seen_by_utc);
        }
        if (g_strcmp0(keys->str, row->keys) != 0)
            fail_msg("%s: %s", row->sentence, keys->str);
    }
}

/* Who was warned in the morning is told at 16:50 what else to do at 17:10; not what is seen in
 * time. */
static void test_warned_before(void **state)
{
    NewsEvent event = {.key = "v",
                       .changed_utc = T0 - 12 * 3600,
                       .leave_utc = T0,
                       .start_utc = T0 + 20 * MIN_S,
                       .end_utc = T0 + 40 * MIN_S,
                       .warning = TRUE};
    (void)state;
    for (int lag_h = 1; lag_h <= 48; lag_h += 47) {
        for (int changed_h = 0; changed_h < 2; changed_h++) {
            g_autoptr(GPtrArray) news = g_ptr_array_new_with_free_func((GDestroyNotify)news_free);
            event.changed_utc = changed_h == 0 ? T0 - 12 * 3600 : T0 - 20 * MIN_S;
            news_add_event(news, &event, lag_h * 3600, T0 - 20 * MIN_S);
            const News *n = news->pdata[0];
            assert_string_equal(n->key, "v");
            assert_true(n->urgent);
            assert_int_equal(n->once, lag_h == 1 && changed_h == 0);
        }
    }
}

/* Asked half an hour before it is too late, and by three channels before it is. */
static void test_question(void **state)
{
    const NewsEvent event = {.key = "v",
                             .changed_utc = T0 - 36000,
                             .leave_utc = T0,
                             .start_utc = T0 + 20 * MIN_S,
                             .end_utc = T0 + 40 * MIN_S,
                             .deadline_utc = T0 + 105 * MIN_S,
                             .way_s = 20 * MIN_S,
                             .guards = TRUE};
    g_autoptr(GPtrArray) news = g_ptr_array_new_with_free_func((GDestroyNotify)news_free);
    (void)state;
    assert_int_equal(news_too_late_utc(&event), T0 + 85 * MIN_S);
    assert_int_equal(news_ask_utc(&event), T0 + 55 * MIN_S);
    news_add_event(news, &event, 3600, T0);
    assert_int_equal(news->len, 1);
    const News *n = news->pdata[0];
    assert_int_equal(n->from_utc, T0 + 55 * MIN_S);
    assert_int_equal(n->answer_by_utc, T0 + 65 * MIN_S);
    assert_true(n->answer_by_utc + ROUTE_ANSWER_S < news_too_late_utc(&event));
    assert_true(n->urgent && n->once && !n->kills);
    /* Not before the visit begins. */
    NewsEvent late = event;
    late.start_utc = T0 + 80 * MIN_S;
    assert_int_equal(news_ask_utc(&late), T0 + 80 * MIN_S);
}

static void test_digest(void **state)
{
    g_autoptr(GTimeZone) zone = g_time_zone_new_identifier("Europe/London");
    ChannelSetup setup = {.name = "pocket", .grower = 0, .digest_min = 19 * 60};
    g_autoptr(News) n = news_digest(&setup, 0, zone, T0);
    (void)state;
    assert_string_equal(n->key, "digest-2026-04-16-0/pocket");
    assert_string_equal(n->only, "pocket");
    assert_int_equal(n->from_utc, T0 + 3600);
    assert_int_equal(n->last_utc, T0 + 6 * 3600 - 1);
    setup.digest_min = -1;
    assert_null(news_digest(&setup, 0, zone, T0));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_rows),          cmocka_unit_test(test_burst),
        cmocka_unit_test(test_order),         cmocka_unit_test(test_after),
        cmocka_unit_test(test_quiet_hours),   cmocka_unit_test(test_events),
        cmocka_unit_test(test_warned_before), cmocka_unit_test(test_question),
        cmocka_unit_test(test_digest),
    };
    return cmocka_run_group_tests_name("route", tests, NULL, NULL);
}

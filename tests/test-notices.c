/* SPDX-License-Identifier: MIT */
/* What becomes of alarms on the desktop, decided without one; and text made fit for a server. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>
#include <string.h>

#include "notify/due.h"
#include "notify/message.h"

#define T0 INT64_C(1776355200) /* Thursday 16 April 2026, 16:00 UTC */
#define MIN_S 60

/* An alarm, what is known of it, and what comes of it: times in minutes from now. */
typedef struct Row {
    const char *sentence;
    int due, last;
    gboolean critical, once, unwanted, known;
    NoticeState state;
    int was_due, again, retry;
    gboolean this_run, open, other_words;
    int act; /* -1: nothing */
} Row;

static const Row rows[] = {
    {"not before its time", 1, 20, .act = -1},
    {"at its time", 0, 20, .act = NOTICE_SHOW},
    {"late, and still of use", -15, 20, .act = NOTICE_SHOW},
    {"at its last moment", -30, 0, .act = NOTICE_SHOW},
    {"the visit is over: no more", -30, -1, .act = -1},
    {"shown once", -5, 20, .known = TRUE, .state = NOTICE_SHOWN, .was_due = -5, .act = -1},
    {"moved to earlier: it was shown", -15, 20, .known = TRUE, .state = NOTICE_SHOWN, .was_due = -5,
     .act = -1},
    {"moved to later: not at once", 30, 60, .known = TRUE, .state = NOTICE_SHOWN, .was_due = -5,
     .act = -1},
    {"moved to later: at its new time", 0, 60, .known = TRUE, .state = NOTICE_SHOWN, .was_due = -30,
     .act = NOTICE_SHOW},
    {"an alert is shown once wherever it moves", 0, 60, .once = TRUE, .known = TRUE,
     .state = NOTICE_SHOWN, .was_due = -30, .act = -1},
    {"seen, and on the screen with other words", -5, 20, .known = TRUE, .state = NOTICE_SHOWN,
     .was_due = -5, .open = TRUE, .other_words = TRUE, .act = NOTICE_REPLACE},
    {"other words, but gone from the screen", -5, 20, .known = TRUE, .state = NOTICE_SHOWN,
     .was_due = -5, .other_words = TRUE, .act = -1},
    {"later has not come", -5, 20, .known = TRUE, .state = NOTICE_LATER, .was_due = -5, .again = 15,
     .act = -1},
    {"later has come", -20, 20, .known = TRUE, .state = NOTICE_LATER, .was_due = -20, .again = 0,
     .act = NOTICE_SHOW},
    {"later is too late: what was said is said", -20, -1, .known = TRUE, .state = NOTICE_LATER,
     .was_due = -20, .again = 0, .act = NOTICE_SAID},
    {"the clock was put back: later is never longer than agreed", -20, 200, .known = TRUE,
     .state = NOTICE_LATER, .was_due = -20, .again = 120, .act = NOTICE_SHOW},
    {"waits, not tried again yet", -5, 20, .known = TRUE, .state = NOTICE_WAITING, .was_due = -5,
     .retry = 2, .act = -1},
    {"waits, tried again", -5, 20, .known = TRUE, .state = NOTICE_WAITING, .was_due = -5,
     .retry = 0, .act = NOTICE_SHOW},
    {"waited until it was of no more use", -30, -1, .known = TRUE, .state = NOTICE_WAITING,
     .was_due = -30, .retry = 0, .act = NOTICE_LET_GO},
    {"waits, and moved to later", 10, 60, .known = TRUE, .state = NOTICE_WAITING, .was_due = -5,
     .retry = 0, .act = -1},
    {"given to a server that has not answered", -5, 20, .critical = TRUE, .known = TRUE,
     .state = NOTICE_HANDED, .was_due = -5, .this_run = TRUE, .act = -1},
    {"killed while it was given: routine is not shown twice", -5, 20, .known = TRUE,
     .state = NOTICE_HANDED, .was_due = -5, .act = -1},
    {"killed while it was given: frost is", -5, 20, .critical = TRUE, .known = TRUE,
     .state = NOTICE_HANDED, .was_due = -5, .act = NOTICE_SHOW},
    {"killed while it was given, and long over", -50, -1, .critical = TRUE, .known = TRUE,
     .state = NOTICE_HANDED, .was_due = -50, .act = -1},
    {"answered", -5, 20, .known = TRUE, .state = NOTICE_ANSWERED, .was_due = -5, .act = -1},
    {"missed, then moved to later", 0, 20, .known = TRUE, .state = NOTICE_MISSED, .was_due = -60,
     .act = NOTICE_SHOW},
    {"not wanted any more, on the screen", .unwanted = TRUE, .known = TRUE, .state = NOTICE_SHOWN,
     .open = TRUE, .act = NOTICE_CLOSE},
    {"not wanted any more, gone", .unwanted = TRUE, .known = TRUE, .state = NOTICE_SHOWN,
     .act = -1},
    {"not wanted any more, waiting", .unwanted = TRUE, .known = TRUE, .state = NOTICE_WAITING,
     .act = NOTICE_LET_GO},
    {"not wanted any more, put off", .unwanted = TRUE, .known = TRUE, .state = NOTICE_LATER,
     .again = 10, .act = NOTICE_SAID},
};

static NoticeWanted *wanted_of(const Row *row)
{
    NoticeWanted *w = notice_wanted_new("key", T0 + row->due * MIN_S, T0 + row->last * MIN_S);
    w->critical = row->critical;
    w->once = row->once;
    w->sense = g_strdup(row->other_words ? "other" : "sense");
    return w;
}

static NoticeMemory *memory_of(const Row *row)
{
    NoticeMemory *m = notice_memory_new("key");
    m->state = row->state;
    m->due_utc = T0 + row->was_due * MIN_S;
    m->again_utc = T0 + row->again * MIN_S;
    m->retry_utc = T0 + row->retry * MIN_S;
    m->this_run = row->this_run;
    m->open = row->open;
    m->sense = g_strdup("sense");
    return m;
}

static void test_rows(void **state)
{
    guint wrong = 0;
    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_autoptr(GPtrArray) wanted =
            g_ptr_array_new_with_free_func((GDestroyNotify)notice_wanted_free);
        g_autoptr(GPtrArray) memory =
            g_ptr_array_new_with_free_func((GDestroyNotify)notice_memory_free);
        if (!rows[i].unwanted)
            g_ptr_array_add(wanted, wanted_of(&rows[i]));
        if (rows[i].known)
            g_ptr_array_add(memory, memory_of(&rows[i]));
        g_autoptr(GArray) acts = notices_decide(wanted, memory, T0);
        const int act = acts->len == 0 ? -1 : (int)g_array_index(acts, NoticeAct, 0).kind;
        if (act == rows[i].act && acts->len <= 1)
            continue;
        print_message("# %s: %d (expected %d), %u acts\n", rows[i].sentence, act, rows[i].act,
                      acts->len);
        wrong++;
    }
    assert_int_equal(wrong, 0);
}

/* Whenever it is looked at in between, nothing is to be done; then there is. */
static void test_next(void **state)
{
    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        if (rows[i].act >= 0 || rows[i].unwanted)
            continue;
        g_autoptr(GPtrArray) wanted =
            g_ptr_array_new_with_free_func((GDestroyNotify)notice_wanted_free);
        g_autoptr(GPtrArray) memory =
            g_ptr_array_new_with_free_func((GDestroyNotify)notice_memory_free);
        g_ptr_array_add(wanted, wanted_of(&rows[i]));
        if (rows[i].known)
            g_ptr_array_add(memory, memory_of(&rows[i]));
        const int64_t next_utc = notices_next_utc(wanted, memory, T0);
        const int64_t end_utc = next_utc == 0 ? T0 + 7200 : next_utc;
        for (int64_t utc = T0; utc < end_utc; utc += 10) {
            g_autoptr(GArray) acts = notices_decide(wanted, memory, utc);
            if (acts->len > 0)
                fail_msg("%s: something at %+d s, looked at again at %+d s", rows[i].sentence,
                         (int)(utc - T0), (int)(end_utc - T0));
        }
    }
}

static void test_retry(void **state)
{
    static const int minutes[] = {1, 1, 2, 4, 8, 15, 15, 15};
    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(minutes); i++)
        assert_int_equal(notices_retry_utc((int)i, T0), T0 + minutes[i] * MIN_S);
    assert_int_equal(notices_retry_utc(1000000, T0), T0 + 15 * MIN_S);
}

/* An alarm is never shown twice, whatever is looked at when: random lives of one alarm that moves,
 * with a server that is there or not. */
static void test_never_twice(void **state)
{
    const char *given = g_getenv("THOLE_TEST_SEED");
    const guint32 seed =
        given != NULL ? (guint32)g_ascii_strtoull(given, NULL, 10) : g_random_int();
    g_autoptr(GRand) random = g_rand_new_with_seed(seed);
    print_message("# THOLE_TEST_SEED=%u\n", seed);
    (void)state;
    for (int life = 0; life < 2000; life++) {
        g_autoptr(GPtrArray) wanted =
            g_ptr_array_new_with_free_func((GDestroyNotify)notice_wanted_free);
        g_autoptr(GPtrArray) memory =
            g_ptr_array_new_with_free_func((GDestroyNotify)notice_memory_free);
        NoticeWanted *w = notice_wanted_new("key", T0 + 3600, T0 + 5400);
        int64_t now_utc = T0, shown_for_utc = 0;
        g_ptr_array_add(wanted, w);
        for (int turn = 0; turn < 40; turn++) {
            now_utc += g_rand_int_range(random, -300, 900);
            if (g_rand_int_range(random, 0, 8) == 0) {
                const int shift_s = 1800 * g_rand_int_range(random, -1, 2);
                w->due_utc += shift_s;
                w->last_utc += shift_s;
            }
            g_autoptr(GArray) acts = notices_decide(wanted, memory, now_utc);
            for (guint i = 0; i < acts->len; i++) {
                NoticeAct *act = &g_array_index(acts, NoticeAct, i);
                NoticeMemory *m = act->memory;
                if (m == NULL) {
                    m = notice_memory_new("key");
                    g_ptr_array_add(memory, m);
                }
                const gboolean server = g_rand_boolean(random);
                if (act->kind == NOTICE_LET_GO)
                    m->state = NOTICE_MISSED;
                if (act->kind != NOTICE_SHOW)
                    continue;
                m->due_utc = MAX(m->due_utc, w->due_utc);
                m->state = server ? NOTICE_SHOWN : NOTICE_WAITING;
                if (!server)
                    continue;
                assert_true(now_utc >= w->due_utc && now_utc <= w->last_utc);
                if (w->due_utc <= shown_for_utc)
                    fail_msg("life %d: shown twice", life);
                shown_for_utc = w->due_utc;
                m->shown_utc = now_utc;
            }
        }
    }
}

static void test_text(void **state)
{
    static const struct {
        const char *text, *summary, *markup, *plain;
    } texts[] = {
        {"Close frame by 19:00", "Close frame by 19:00", "Close frame by 19:00",
         "Close frame by 19:00"},
        {"a <b>&amp; b", "a <b>&amp; b", "a &lt;b&gt;&amp;amp; b", "a <b>&amp; b"},
        {"two\nlines", "two lines", "two\nlines", "two\nlines"},
        {"a\tb\x1b[1m", "a b [1m", "a b [1m", "a b [1m"},
        {"−2 °C\xff!", "−2 °C\xef\xbf\xbd!", "−2 °C\xef\xbf\xbd!", "−2 °C\xef\xbf\xbd!"},
        {"", "thole", "", ""},
        {"  ", "thole", "  ", "  "},
    };
    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(texts); i++) {
        g_autofree char *summary = notify_summary_text(texts[i].text);
        g_autofree char *markup = notify_body_text(texts[i].text, TRUE);
        g_autofree char *plain = notify_body_text(texts[i].text, FALSE);
        assert_string_equal(summary, texts[i].summary);
        assert_string_equal(markup, texts[i].markup);
        assert_string_equal(plain, texts[i].plain);
    }
    g_autofree char *none = notify_summary_text(NULL);
    assert_string_equal(none, "thole");
    g_autofree char *much = g_strnfill(100000, '&');
    g_autofree char *cut = notify_body_text(much, FALSE);
    assert_int_equal(g_utf8_strlen(cut, -1), NOTIFY_BODY_MAX);
    assert_true(g_str_has_suffix(cut, "&…"));
    g_autofree char *line = notify_summary_text(much);
    assert_int_equal(g_utf8_strlen(line, -1), NOTIFY_SUMMARY_MAX);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_rows),  cmocka_unit_test(test_next),
        cmocka_unit_test(test_retry), cmocka_unit_test(test_never_twice),
        cmocka_unit_test(test_text),
    };
    return cmocka_run_group_tests_name("notices", tests, NULL, NULL);
}

/* SPDX-License-Identifier: MIT */
/* News carried on the virtual clock, over channels that answer as they are told to. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <string.h>

#include "notify/courier.h"

#define T0 INT64_C(1776358800) /* 2026-04-16T17:00:00Z */

typedef struct World {
    Clock *clk;
    Courier *courier;
    Garden garden;
    Site site;
    Grower growers[2];
    ChannelSetup channels[3];
    GPtrArray *wanted; /* (element-type News) */
    GString *log;      /* what went where, and when */
    GPtrArray *ids;
    GPtrArray *kept; /* (element-type Told) as the store would have it */
    /* by channel: how it answers; -1 never */
    int answers[3];
    int64_t retry_after_s;
    ChannelDone done; /* of the message that is never answered */
    gpointer done_data;
    ChannelResult tested;
    gboolean was_tested;
} World;

static GPtrArray *wanted(gpointer data)
{
    const World *w = data;
    GPtrArray *list = g_ptr_array_new();
    for (guint i = 0; i < w->wanted->len; i++)
        g_ptr_array_add(list, w->wanted->pdata[i]);
    return list;
}

static void words(const GPtrArray *news, char **ret_summary, char **ret_body, char **ret_done_url,
                  gpointer data)
{
    GString *summary = g_string_new(NULL);
    (void)data;
    for (guint i = 0; i < news->len; i++)
        g_string_append_printf(summary, "%s%s", i > 0 ? "+" : "",
                               ((const News *)news->pdata[i])->key);
    *ret_summary = g_string_free(summary, FALSE);
    *ret_body = g_strdup("body");
    *ret_done_url = g_strdup("https://plot.example/done");
}

static void keep(const Told *told, gpointer data)
{
    World *w = data;
    Told *copy = told_find(w->kept, told->key, told->channel);
    if (copy == NULL) {
        copy = told_new(told->key, told->channel);
        g_ptr_array_add(w->kept, copy);
    }
    copy->state = told->state;
    copy->at_utc = told->at_utc;
    g_free(copy->sense);
    copy->sense = g_strdup(told->sense);
}

static void show(const ChannelSetup *setup, const ChannelMessage *message, ChannelDone done,
                 gpointer done_data, gpointer data)
{
    World *w = data;
    const int i = (int)(strchr("abc", setup->name[0]) - "abc");
    const int64_t minutes = (clock_now(w->clk) - T0) / 60;
    g_string_append_printf(w->log, "%d %s %s%s; ", (int)minutes, setup->name, message->summary,
                           message->urgent ? "!" : "");
    g_ptr_array_add(w->ids, g_strdup(message->id));
    assert_int_equal(message->sent_utc, clock_now(w->clk));
    const ChannelResult result = {
        .outcome = (ChannelOutcome)w->answers[i],
        .retry_utc = w->retry_after_s > 0 ? clock_now(w->clk) + w->retry_after_s : 0,
        .reason = w->answers[i] == CHANNEL_DELIVERED ? NULL : (char *)"the channel is out"};
    /* Kept before it is handed over. */
    gboolean kept = message->topic == CHANNEL_TOPIC_TEST;
    for (guint k = 0; k < w->kept->len; k++) {
        const Told *told = w->kept->pdata[k];
        kept = kept || (strcmp(told->channel, setup->name) == 0 && told->state == TOLD_HANDED);
    }
    assert_true(kept);
    if (w->answers[i] >= 0) {
        done(&result, done_data);
        return;
    }
    w->done = done;
    w->done_data = done_data;
}

static void begin_service(World *w)
{
    const CourierHooks hooks = {wanted, words, keep, show};
    w->courier = courier_new(w->clk, &hooks, w);
    for (guint i = 0; i < w->kept->len; i++) {
        const Told *kept = w->kept->pdata[i];
        Told *told = told_new(kept->key, kept->channel);
        told->state = kept->state;
        told->at_utc = kept->at_utc;
        g_free(told->sense);
        told->sense = g_strdup(kept->sense);
        courier_remember(w->courier, told);
    }
    courier_set_up(w->courier, &w->garden);
}

static void end_service(World *w)
{
    courier_free(w->courier);
    if (w->done != NULL) { /* the desktop answers nobody */
        const ChannelResult late = {.outcome = CHANNEL_DELIVERED};
        w->done(&late, w->done_data);
    }
    w->courier = NULL;
    w->done = NULL;
}

static int setup(void **state)
{
    World *w = g_new0(World, 1);
    w->clk = clock_virtual_new(NULL, T0);
    g_strlcpy(w->site.zone, "Europe/London", sizeof w->site.zone);
    for (int i = 0; i < 2; i++)
        g_snprintf(w->growers[i].name, sizeof w->growers[i].name, "g%d", i);
    for (int i = 0; i < 3; i++) {
        w->channels[i] = (ChannelSetup){
            .kind = CHANNEL_DESKTOP, .grower = -1, .order = 1 + i, .limit_s = 30, .digest_min = -1};
        w->channels[i].name[0] = "abc"[i];
    }
    w->garden = (Garden){.sites = &w->site,
                         .n_sites = 1,
                         .growers = w->growers,
                         .n_growers = 2,
                         .channels = w->channels,
                         .n_channels = 3};
    w->wanted = g_ptr_array_new_with_free_func((GDestroyNotify)news_free);
    w->kept = g_ptr_array_new_with_free_func((GDestroyNotify)told_free);
    w->ids = g_ptr_array_new_with_free_func(g_free);
    w->log = g_string_new(NULL);
    *state = w;
    return 0;
}

static int teardown(void **state)
{
    World *w = *state;
    if (w->courier != NULL)
        end_service(w);
    clock_free(w->clk);
    g_ptr_array_unref(w->wanted);
    g_ptr_array_unref(w->kept);
    g_ptr_array_unref(w->ids);
    g_string_free(w->log, TRUE);
    g_free(w);
    return 0;
}

static News *add(World *w, const char *key, int from_min, gboolean urgent)
{
    News *n = news_new(key, 0, CHANNEL_TOPIC_WARNING);
    n->from_utc = T0 + 60 * from_min;
    n->seen_by_utc = n->from_utc + 5 * 3600;
    n->last_utc = n->from_utc + 6 * 3600;
    n->urgent = urgent;
    g_ptr_array_add(w->wanted, n);
    return n;
}

static void reached(gpointer data)
{
    *(gboolean *)data = TRUE;
}

static void go_on(World *w, int to_min)
{
    gboolean there = FALSE;
    clock_virtual_set_end(w->clk, T0 + 60 * to_min, reached, &there);
    while (!there)
        g_main_context_iteration(NULL, TRUE);
}

static void assert_log(World *w, const char *wanted_log)
{
    if (strcmp(w->log->str, wanted_log) != 0)
        fail_msg("%s\n  wanted: %s", w->log->str, wanted_log);
    g_string_truncate(w->log, 0);
}

static void test_carried(void **state)
{
    World *w = *state;
    begin_service(w);
    add(w, "n1", 10, FALSE);
    add(w, "n2", 11, FALSE);
    add(w, "n3", 30, TRUE);
    courier_look(w->courier);
    go_on(w, 120);
    assert_log(w, "12 a n1+n2; 30 a n3!; ");
    assert_int_equal(courier_count(w->courier, TOLD_DELIVERED, T0), 3);
    const CourierState stands = courier_state(w->courier, 0);
    assert_int_equal(stands.delivered_utc, T0 + 1800);
    assert_null(stands.trouble);
    assert_false(stands.busy);
    /* The next run knows what the last one told. */
    end_service(w);
    begin_service(w);
    go_on(w, 300);
    assert_log(w, "");
}

static void test_failing(void **state)
{
    World *w = *state;
    begin_service(w);
    w->answers[0] = CHANNEL_FAILED;
    w->answers[1] = CHANNEL_REFUSED;
    add(w, "n1", 10, TRUE);
    courier_look(w->courier);
    go_on(w, 20);
    assert_log(w, "10 a n1!; 10 b n1!; 10 c n1!; ");
    CourierState stands = courier_state(w->courier, 0);
    assert_int_equal(stands.failures, 1);
    assert_string_equal(stands.trouble, "the channel is out");
    assert_true(stands.retry_utc > T0 + 600);
    assert_int_equal(courier_state(w->courier, 1).failures, 0);
    assert_int_equal(courier_count(w->courier, TOLD_REFUSED, T0), 1);

    /* All are out: tried again, further and further apart, until the end; then missed. */
    w->answers[1] = w->answers[2] = CHANNEL_FAILED;
    News *n = add(w, "n2", 60, TRUE);
    n->last_utc = n->from_utc + 3600;
    courier_look(w->courier);
    go_on(w, 130);
    const guint tries = w->ids->len - 3;
    assert_in_range(tries, 12, 24); /* 1, 2, 4, 8, 15 … minutes apart, on each of three */
    g_ptr_array_set_size(w->ids, 0);
    assert_int_equal(courier_count(w->courier, TOLD_MISSED, T0), 1);
    g_string_truncate(w->log, 0);
    go_on(w, 600);
    assert_log(w, "");
    /* One comes back. */
    w->answers[1] = CHANNEL_DELIVERED;
    add(w, "n3", 610, TRUE);
    courier_look(w->courier);
    go_on(w, 640);
    assert_log(w, "610 a n3!; 610 b n3!; ");
}

/* The other side may ask for patience, but not for ever; the same message keeps its id. */
static void test_asked_to_wait(void **state)
{
    World *w = *state;
    w->garden.n_channels = 1;
    begin_service(w);
    w->answers[0] = CHANNEL_FAILED;
    w->retry_after_s = 1200;
    add(w, "n1", 0, TRUE);
    courier_look(w->courier);
    go_on(w, 30);
    assert_log(w, "0 a n1!; 20 a n1!; ");
    w->retry_after_s = 90000;
    go_on(w, 110);
    assert_log(w, "40 a n1!; 100 a n1!; ");
    assert_string_equal(w->ids->pdata[0], w->ids->pdata[3]);
    /* Other words are another message. */
    News *n = w->wanted->pdata[0];
    g_free(n->sense);
    n->sense = g_strdup("other");
    w->answers[0] = CHANNEL_DELIVERED;
    go_on(w, 170);
    assert_log(w, "160 a n1!; ");
    assert_string_not_equal(w->ids->pdata[0], w->ids->pdata[4]);
}

/* What was to be tried again by a clock that ran ahead is tried by the right one. */
static void test_clock_put_back(void **state)
{
    World *w = *state;
    w->garden.n_channels = 1;
    begin_service(w);
    w->answers[0] = CHANNEL_FAILED;
    w->retry_after_s = 90000;
    add(w, "n1", 0, TRUE);
    courier_look(w->courier);
    go_on(w, 1);
    assert_log(w, "0 a n1!; ");
    w->answers[0] = CHANNEL_DELIVERED;
    clock_virtual_step_wall(w->clk, -2 * 86400);
    add(w, "n2", -2 * 1440, TRUE);
    courier_look(w->courier);
    go_on(w, 10 - 2 * 1440);
    assert_log(w, "-2879 a n2!; ");
}

/* No word comes: after its limit it counts as failed, and as perhaps taken. */
static void test_silent(void **state)
{
    World *w = *state;
    w->answers[0] = -1;
    begin_service(w);
    add(w, "n1", 10, TRUE);
    add(w, "n2", 10, FALSE);
    courier_look(w->courier);
    while (w->done == NULL)
        g_main_context_iteration(NULL, TRUE);
    assert_true(courier_state(w->courier, 0).busy);
    /* Killed, and begun again: the urgent one is told, the routine one is not. */
    end_service(w);
    assert_log(w, "10 a n1+n2!; ");
    w->answers[0] = CHANNEL_DELIVERED;
    begin_service(w);
    go_on(w, 60);
    assert_log(w, "10 a n1!; ");
}

/* Another file of the garden while a message is on its way. */
static void test_set_up_again(void **state)
{
    World *w = *state;
    w->answers[0] = -1;
    begin_service(w);
    add(w, "n1", 10, TRUE);
    courier_look(w->courier);
    while (w->done == NULL)
        g_main_context_iteration(NULL, TRUE);
    ChannelSetup others[] = {w->channels[1]};
    Garden garden = w->garden;
    garden.channels = others;
    garden.n_channels = 1;
    courier_set_up(w->courier, &garden);
    go_on(w, 60);
    assert_log(w, "10 a n1!; 10 b n1!; ");
    end_service(w);
}

/* What the calendar says, since when: not anew because a figure moved, or tholed was restarted; and
 * it is no channel that told it. */
static void test_said_since(void **state)
{
    World *w = *state;
    begin_service(w);
    assert_int_equal(courier_said_since(w->courier, "n1", "close the frame"), T0);
    go_on(w, 30);
    assert_int_equal(courier_said_since(w->courier, "n1", "close the frame"), T0);
    assert_int_equal(courier_said_since(w->courier, "n2", "close the frame"), T0 + 1800);
    end_service(w);
    begin_service(w);
    go_on(w, 40);
    assert_int_equal(courier_said_since(w->courier, "n1", "close the frame"), T0);
    assert_int_equal(courier_said_since(w->courier, "n1", "open the frame"), T0 + 2400);
    assert_int_equal(courier_said_since(w->courier, "n1", "close the frame"), T0 + 2400);
    add(w, "n1", 50, TRUE);
    courier_look(w->courier);
    go_on(w, 60);
    assert_log(w, "50 a n1!; ");
}

static void tested(const ChannelResult *result, gpointer data)
{
    World *w = data;
    assert_false(w->was_tested);
    w->was_tested = TRUE;
    w->tested.outcome = result->outcome;
}

static void test_test(void **state)
{
    World *w = *state;
    begin_service(w);
    w->answers[2] = CHANNEL_REFUSED;
    for (int i = 1; i < 3; i++) {
        w->was_tested = FALSE;
        courier_test(w->courier, i, "Test", "Nothing to do.", tested, w);
        assert_false(w->was_tested);
        while (!w->was_tested)
            g_main_context_iteration(NULL, TRUE);
        assert_int_equal(w->tested.outcome, i == 1 ? CHANNEL_DELIVERED : CHANNEL_REFUSED);
    }
    assert_log(w, "0 b Test; 0 c Test; ");
    assert_null(courier_state(w->courier, 2).trouble);
    w->answers[0] = -1;
    w->was_tested = FALSE;
    courier_test(w->courier, 0, "Test", "Nothing to do.", tested, w);
    end_service(w);
    assert_true(w->was_tested);
    assert_int_equal(w->tested.outcome, CHANNEL_FAILED);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_carried, setup, teardown),
        cmocka_unit_test_setup_teardown(test_failing, setup, teardown),
        cmocka_unit_test_setup_teardown(test_asked_to_wait, setup, teardown),
        cmocka_unit_test_setup_teardown(test_clock_put_back, setup, teardown),
        cmocka_unit_test_setup_teardown(test_silent, setup, teardown),
        cmocka_unit_test_setup_teardown(test_set_up_again, setup, teardown),
        cmocka_unit_test_setup_teardown(test_said_since, setup, teardown),
        cmocka_unit_test_setup_teardown(test_test, setup, teardown),
    };
    return cmocka_run_group_tests_name("courier", tests, NULL, NULL);
}

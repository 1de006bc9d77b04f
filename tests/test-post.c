/* SPDX-License-Identifier: MIT */
/* What goes out by channels, from the forecast to the receiver: a whole service on the virtual
 * clock, webhooks in this process. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <string.h>

#include "base/local-time.h"
#include "control-client.h"
#include "feed-client.h"
#include "post-box.h"
#include "service/post.h"
#include "service/wishes.h"
#include "store/store-batches.h"

#define START "2026-04-08T16:00:00Z" /* a Wednesday, 17:00 in London */
#define HOOK(name, more) "[channel " name "]\nkind=webhook\nurl=%s/" name "\n" more
#define QUIET "quiet=22:00-07:00\n"

static const WorldWeather mild = {.low_c = 6, .high_c = 14};
/* In the night to Saturday, with a visit on Friday at 18:00 that saves the lettuces. */
static const WorldWeather frost = {.low_c = 6, .high_c = 14, .cold_day = 3, .cold_c = -5};
/* In the very night. */
static const WorldWeather killing = {.low_c = 6, .high_c = 14, .cold_day = 1, .cold_c = -9};

static void plant(PostBox *box)
{
    world_add_batch(box->w, "lettuce", 24, "frame", STAGE_HARDENING, 50);
    world_add_batch(box->w, "cabbage", 24, "sill", STAGE_GROWING_ON, 50);
    world_run_for(box->w, 60);
}

static PostBox *box_with(const char *channels, const WorldWeather *weather)
{
    PostBox *box = post_box_new(channels, START);
    world_start(box->w);
    world_forecast(box->w, weather);
    plant(box);
    return box;
}

static void run_to(PostBox *box, const char *at)
{
    world_run(box->w, world_utc(at));
}

/* Each letter's time, receiver, topic, and how its summary begins. */
static char *course_of(const PostBox *box)
{
    GString *text = g_string_new(NULL);
    for (guint i = 0; i < box->letters->len; i++) {
        const Letter *letter = box->letters->pdata[i];
        g_autofree char *at = utc_format(letter->at_utc);
        g_autofree char *begins = g_strndup(letter->summary, 12);
        g_string_append_printf(text, "%.16s %s %s%s %s\n", at, letter->path, letter->topic,
                               letter->urgent ? "!" : "", begins);
    }
    return g_string_free(text, FALSE);
}

static void assert_course(const PostBox *box, const char *wanted)
{
    g_autofree char *course = course_of(box);
    g_autofree char *text = post_box_text(box);
    if (!g_str_equal(course, wanted))
        fail_msg("it went:\n%swanted:\n%s\n%s", course, wanted, text);
}

static const Letter *the_one(const PostBox *box, const char *part)
{
    if (post_box_count(box, part) != 1) {
        g_autofree char *text = post_box_text(box);
        fail_msg("not one with \"%s\": %s", part, text);
    }
    return post_box_last(box, part);
}

/* ---- when, and to whom ---- */

#define COURSE                                                                                     \
    "2026-04-08T16:00 /a change Prop frame 2\n"   /* nearer than 6 h */                            \
    "2026-04-09T18:02 /a digest Tomorrow: on\n"   /* 19:00, and two minutes for more */            \
    "2026-04-10T06:00 /a warning! Carry lettuc\n" /* 12 h before 17:40 it was quiet until 07:00 */ \
    "2026-04-10T16:40 /a warning! Carry lettuc\n" /* time to leave */                              \
    "2026-04-10T17:10 /a question! Done? Carry \n" /* by 19:00, 20 min away: half an hour before   \
                                                    */

/* One that guards: a warning in the morning, when to leave, was it done; and the evening before. */
static void test_course(void **state)
{
    (void)state;
    PostBox *box = box_with(HOOK("a", "digest=19:00\n" QUIET), &frost);
    run_to(box, "2026-04-10T18:01:00Z");
    assert_course(box, COURSE);
    const Letter *change = the_one(box, "Prop frame 20 cm");
    assert_string_equal(change->summary, "Prop frame 20 cm, water frame by 19:00");
    assert_true(g_str_has_prefix(change->body, "New in the plan, or changed; your phone's calendar "
                                               "may tell it too late.\nplot, 17:30\n"
                                               "Take along: water, if the site has none. Leave at "
                                               "17:10.\n- Prop the frame 20 cm by 19:00. "));
    const Letter *asked = the_one(box, "Done? ");
    assert_string_equal(asked->summary, "Done? Carry lettuces to sill by 19:00");
    assert_true(
        g_str_has_prefix(asked->body, "Nobody has reported this yet, and plants depend on it. "));
    assert_true(g_str_has_prefix(the_one(box, "It is time to leave.\n")->body, "It is time"));
    const Letter *tomorrow = the_one(box, "Tomorrow");
    assert_string_equal(tomorrow->summary, "Tomorrow: one visit, 18:00");
    assert_true(g_str_has_prefix(tomorrow->body, "Carry lettuces to sill by 19:00 (−3° tonight)\n"
                                                 "plot, 18:00\n"));
    for (guint i = 0; i < box->letters->len; i++) {
        const Letter *letter = box->letters->pdata[i];
        assert_true(g_utf8_strlen(letter->summary, -1) <= WORDING_SUMMARY_MAX);
        assert_string_equal(letter->grower != NULL ? letter->grower : "one", "one");
    }
    post_box_free(box);
}

/* Restarts, reloads and plans in between: each news once all the same. */
static void test_never_twice(void **state)
{
    (void)state;
    static const char channels[] = HOOK("a", "digest=19:00\n" QUIET);
    PostBox *box = post_box_new(channels, START);
    const int64_t end_utc = world_utc("2026-04-10T22:00:00Z");
    g_free(box->w->weather);
    box->w->weather = g_strdup_printf("file:%s", box->w->csv);
    world_write_csv(box->w, &frost);
    world_start(box->w);
    plant(box);
    for (int i = 0; world_now(box->w) < end_utc; i++) {
        world_run(box->w, MIN(world_now(box->w) + 97 * 60, end_utc));
        if (i % 3 == 0) {
            world_stop(box->w);
            world_start(box->w);
        } else if (i % 3 == 1) {
            post_box_configure(box, channels);
        } else {
            service_ask_plan(box->w->service, "again");
        }
        world_run_for(box->w, 0);
    }
    for (guint i = 0; i < box->letters->len; i++) {
        const Letter *one = box->letters->pdata[i];
        for (guint k = 0; k < i; k++) {
            const Letter *other = box->letters->pdata[k];
            if (g_str_equal(one->id, other->id) || g_str_equal(one->body, other->body))
                fail_msg("twice: %s\n%s", one->summary, one->body);
        }
    }
    assert_int_equal(post_box_count(box, "Tomorrow: "), 3); /* one an evening */
    assert_int_equal(post_box_count(box, "warning"), 2);    /* it comes, and it is time to leave */
    (void)the_one(box, "It is time to leave.");
    (void)the_one(box, "question");
    post_box_free(box);
}

/* What kills wakes, however quiet it is; the rest does not. */
static void test_frost_at_night(void **state)
{
    (void)state;
    PostBox *box = post_box_new(HOOK("a", "quiet=21:00-07:00\n"), START);
    world_start(box->w);
    world_forecast(box->w, &mild);
    world_add_batch(box->w, "lettuce", 24, "bed", STAGE_PLANTED_OUT, 60);
    run_to(box, "2026-04-08T20:40:00Z"); /* nobody goes out any more */
    post_box_forget(box);
    world_forecast(box->w, &killing);
    assert_true(box->w->service->alerts->len > 0);
    world_run_for(box->w, 60);
    const Letter *warning = the_one(box, "warning");
    assert_true(warning->urgent);
    assert_in_range(warning->at_utc, world_utc("2026-04-08T20:40:00Z"),
                    world_utc("2026-04-08T20:40:01Z"));
    assert_non_null(strstr(warning->summary, "lettuces"));
    assert_string_equal(warning->grower, "one");
    /* The forecast changes its mind, twice: it was told. */
    world_forecast(box->w, &mild);
    world_run_for(box->w, 600);
    world_forecast(box->w, &killing);
    world_run_for(box->w, 60);
    (void)the_one(box, "lettuces");
    post_box_free(box);
}

/* Seen in the evening for a frost of the night after: nobody is woken for it. */
static void test_frost_that_can_wait(void **state)
{
    (void)state;
    PostBox *box = box_with(HOOK("a", QUIET), &mild);
    run_to(box, "2026-04-09T22:00:00Z");
    post_box_forget(box);
    static const WorldWeather tomorrow = {.low_c = 6, .high_c = 14, .cold_day = 2, .cold_c = -5};
    world_forecast(box->w, &tomorrow);
    run_to(box, "2026-04-10T05:59:00Z");
    assert_int_equal(box->letters->len, 0);
    run_to(box, "2026-04-10T06:01:00Z");
    assert_string_equal(the_one(box, "Carry lettuces")->topic, "warning");
    post_box_free(box);
}

/* Warned in the morning; half an hour before it is time to leave there is more to save. */
static void test_more_to_save(void **state)
{
    (void)state;
    PostBox *box = box_with(HOOK("a", QUIET), &frost);
    run_to(box, "2026-04-10T16:10:00Z");
    (void)the_one(box, "warning");
    world_add_batch(box->w, "lettuce", 24, "frame", STAGE_HARDENING, 50);
    world_run_for(box->w, 60);
    assert_int_equal(post_box_count(box, "warning"), 2);
    const Letter *letter = post_box_last(box, "warning");
    assert_true(letter->urgent);
    assert_true(g_str_has_prefix(letter->body, "New in the plan, or changed; "));
    assert_non_null(strstr(letter->body, "lettuce-2"));
    post_box_free(box);
}

/* Many changes at one time are one message. */
static void test_burst(void **state)
{
    (void)state;
    PostBox *box = post_box_new("feed-lag-hours=48\n" HOOK("a", ""), START);
    world_start(box->w);
    world_forecast(box->w, &mild);
    world_run_for(box->w, HOUR_S);
    assert_int_equal(box->letters->len, 0);
    world_put_batch(box->w, "lettuce", 24, "frame", STAGE_HARDENING, 50);
    world_add_batch(box->w, "cabbage", 24, "sill", STAGE_GROWING_ON, 50);
    world_run_for(box->w, 600);
    const Letter *letter = the_one(box, "");
    assert_string_equal(letter->topic, "digest");
    assert_true(g_str_has_suffix(letter->summary, " changes of the plan"));
    post_box_free(box);
}

/* ---- the next channel ---- */

/* Asked, asked by the next channel, and then planned as not known: in this order, and in time. */
static void test_asked_by_the_next(void **state)
{
    (void)state;
    PostBox *box =
        box_with(HOOK("a", "order=1\n") HOOK("b", "order=2\n") HOOK("c", "order=3\n"), &frost);
    run_to(box, "2026-04-10T17:01:00Z");
    post_box_forget(box);
    run_to(box, "2026-04-10T20:00:01Z");
    assert_course(box, "2026-04-10T17:10 /a question! Done? Carry \n"
                       "2026-04-10T17:20 /b question! Done? Carry \n"
                       "2026-04-10T17:30 /c question! Done? Carry \n");
    /* Too late to go at 17:40; not known from 20:00 on, three hours after the visit began. */
    assert_true(world_batch(box->w, "lettuce-1")->position_unknown);
    assert_int_equal(world_logged(box->w, "planned as not known"), 1);
    post_box_free(box);
}

static void report_all(PostBox *box)
{
    Service *s = box->w->service;
    for (guint i = 0; i < s->visits->len; i++) {
        OpenVisit *v = s->visits->pdata[i];
        for (guint k = 0; v->begun && k < v->jobs->len; k++) {
            OpenJob *job = &g_array_index(v->jobs, OpenJob, k);
            if (job->state == STORE_JOB_PLANNED)
                assert_true(jobs_report(s, v, job, TRUE, 0, NULL));
        }
    }
    service_ask_plan(s, "job done");
}

static void test_answered(void **state)
{
    (void)state;
    PostBox *box = box_with(HOOK("a", "order=1\n") HOOK("b", "order=2\n"), &frost);
    run_to(box, "2026-04-10T17:15:00Z");
    (void)the_one(box, "question");
    report_all(box);
    world_run_for(box->w, 4 * HOUR_S);
    (void)the_one(box, "question");
    assert_false(world_batch(box->w, "lettuce-1")->position_unknown);
    post_box_free(box);
}

/* Where a feed is served, who opens the link of a message and says yes has reported the visit. */
static void test_done_link(void **state)
{
    (void)state;
    PostBox *box = post_box_new("[feed]\nlisten=127.0.0.1:0\n" HOOK("a", ""), START);
    box->w->durable = TRUE; /* else no port is opened */
    world_start(box->w);
    world_forecast(box->w, &frost);
    plant(box);
    run_to(box, "2026-04-10T17:10:01Z");
    const Letter *asked = the_one(box, "question");
    assert_non_null(asked->done_url);
    assert_non_null(strstr(asked->body, asked->done_url));
    assert_string_not_equal(asked->done_url, the_one(box, "It is time to leave.")->done_url);
    const char *port = strrchr(asked->done_url, ':');
    clock_hold(box->w->clk);
    g_autofree char *page = feed_ask((int)g_ascii_strtoll(port + 1, NULL, 10), "POST",
                                     strchr(port, '/'), "Content-Length: 0\r\n");
    clock_release(box->w->clk);
    assert_non_null(strstr(page, "Kept as done:"));
    world_run_for(box->w, 4 * HOUR_S);
    (void)the_one(box, "question");
    assert_false(world_batch(box->w, "lettuce-1")->position_unknown);
    post_box_free(box);
}

/* ---- trouble ---- */

/* A receiver that is down for a day: tried on, seldom; what is still of use comes afterwards. */
static void test_a_day_down(void **state)
{
    (void)state;
    PostBox *box = box_with(HOOK("a", "digest=19:00\n"), &frost);
    post_box_forget(box);
    run_to(box, "2026-04-09T10:00:00Z");
    box->status = 503;
    run_to(box, "2026-04-10T10:00:00Z");
    assert_int_equal(box->letters->len, 0);
    assert_in_range(box->refused, 20, 100);
    const Post *post = box->w->service->post;
    const CourierState down = post_state(post, 0);
    assert_true(down.failures > 10 && down.retry_utc > world_now(box->w));
    assert_true(down.failing_utc >= world_utc("2026-04-09T18:02:00Z") &&
                down.failing_utc <= world_utc("2026-04-09T18:03:00Z"));
    assert_int_equal(post_missed(post), 1); /* what comes tomorrow, yesterday */
    box->status = 200;
    run_to(box, "2026-04-10T10:20:00Z");
    assert_string_equal(the_one(box, "Carry lettuces")->topic, "warning");
    const CourierState up = post_state(post, 0);
    assert_true(up.failures == 0 && up.failing_utc == 0 && up.delivered_utc != 0);
    world_stop(box->w);
    world_start(box->w);
    assert_int_equal(post_state(box->w->service->post, 0).delivered_utc, up.delivered_utc);
    post_box_free(box);
}

/* What was told and is off is told as well: nobody goes for nothing. */
static void test_withdrawn(void **state)
{
    (void)state;
    PostBox *box = box_with(HOOK("a", ""), &mild);
    Service *s = box->w->service;
    (void)the_one(box, "Prop frame 20 cm");
    post_box_forget(box);
    const int64_t now_utc = world_now(box->w);
    assert_true(store_end_batch(s->store, world_batch(box->w, "lettuce-1")->id, now_utc, NULL));
    assert_true(service_refresh(s, NULL));
    service_ask_plan(s, "batch ended");
    world_run_for(box->w, 600);
    const Letter *off = the_one(box, "No visit: the plot, Wed 17:30");
    assert_true(g_str_has_prefix(off->body, "You need not go: the plot, Wed 17:30. "));
    assert_false(off->urgent);
    post_box_free(box);
}

/* ---- tests, and how it stands ---- */

static JsonObject *ask(PostBox *box, JsonParser *parser, const char *method, const char *target,
                       const char *body)
{
    g_autofree char *reply = client_ask(box->w->socket, method, target, body != NULL ? body : "");
    assert_int_equal(client_status(reply), 200);
    return client_object(reply, parser);
}

/* The text of the item of check with that name and object. */
static char *item_of(PostBox *box, const char *name, const char *object, const char *level)
{
    g_autoptr(JsonParser) parser = json_parser_new();
    JsonArray *items =
        json_object_get_array_member(ask(box, parser, "GET", "/v1/check", NULL), "items");
    for (guint i = 0; i < json_array_get_length(items); i++) {
        JsonObject *item = json_array_get_object_element(items, i);
        if (g_str_equal(json_object_get_string_member(item, "name"), name) &&
            g_strcmp0(json_object_get_string_member_with_default(item, "object", NULL), object) ==
                0) {
            assert_string_equal(json_object_get_string_member(item, "level"), level);
            return g_strdup(json_object_get_string_member(item, "text"));
        }
    }
    fail_msg("check has no %s %s", name, object);
    return NULL;
}

/* One is sent by each channel, whatever its hours, and each is answered for. */
static void test_tests(void **state)
{
    (void)state;
    PostBox *box = post_box_new(
        HOOK("good", "quiet=00:00-23:59\n")
            HOOK("two", "grower=two\n") "[channel gone]\nkind=command\ncommand=/no/such/program\n"
                                        "[channel desk]\nkind=desktop\n[grower two]\n"
                                        "visits-plot=Sat 09:00-12:00\n[grower three]\n"
                                        "visits-plot=Sun 09:00-12:00\n",
        START);
    box->w->socket = g_build_filename(box->w->folder, "control", NULL);
    world_start(box->w);
    g_autoptr(JsonParser) parser = json_parser_new();
    JsonObject *reply = ask(box, parser, "POST", "/v1/calendar/test", "{\"grower\":\"one\"}");
    assert_false(json_object_get_boolean_member(reply, "ok"));
    JsonArray *channels = json_object_get_array_member(reply, "channels");
    static const struct {
        const char *name, *outcome, *reason;
    } rows[] = {{"good", "delivered", NULL},
                {"gone", "failed", "program"},
                {"desk", "failed", "a rehearsal shows nothing"}};
    assert_int_equal(json_array_get_length(channels), G_N_ELEMENTS(rows));
    for (guint i = 0; i < G_N_ELEMENTS(rows); i++) {
        JsonObject *one = json_array_get_object_element(channels, i);
        const char *reason = json_object_get_string_member_with_default(one, "reason", NULL);
        assert_string_equal(json_object_get_string_member(one, "name"), rows[i].name);
        assert_string_equal(json_object_get_string_member(one, "outcome"), rows[i].outcome);
        assert_true((reason != NULL) == (rows[i].reason != NULL));
        assert_true(reason == NULL || strstr(reason, rows[i].reason) != NULL);
    }
    const Letter *letter = the_one(box, "test");
    assert_string_equal(letter->path, "/good");
    assert_string_equal(letter->summary, "Test message, nothing to do");
    box->status = 410;
    g_autofree char *text = g_strdup(
        json_object_get_string_member(ask(box, parser, "POST", "/v1/calendar/test", NULL), "text"));
    assert_string_equal(text, "None of the messages went out.");
    assert_int_equal(box->refused, 2);
    post_box_free(box);
}

static void test_check(void **state)
{
    (void)state;
    PostBox *box = post_box_new(
        HOOK("a", "grower=one\ndigest=19:00\n") "[grower two]\nvisits-plot=Sat 09:00-12:00\n",
        START);
    box->w->socket = g_build_filename(box->w->folder, "control", NULL);
    world_start(box->w);
    world_forecast(box->w, &frost);
    g_autofree char *fresh = item_of(box, "channel", "a", "ok");
    assert_string_equal(fresh, "webhook, nothing was sent yet");
    plant(box);
    g_autofree char *good = item_of(box, "channel", "a", "ok");
    assert_string_equal(good, "webhook, the last message that was taken Wed 17:00");
    g_autofree char *one = item_of(box, "delivery", "one", "ok");
    assert_string_equal(one, "by the calendar and a");
    g_autofree char *two = item_of(box, "delivery", "two", "warning");
    assert_true(g_str_has_prefix(two, "only by the calendar, and a phone may see a change late"));
    box->status = 503;
    run_to(box, "2026-04-10T10:00:00Z");
    g_autofree char *bad = item_of(box, "channel", "a", "warning");
    if (!g_str_has_prefix(bad, "webhook, failing since Thu 19:02: 127.0.0.1 answers 503; ") ||
        !g_str_has_suffix(bad, " with what is to be told; the last message that was taken Wed "
                               "17:00"))
        fail_msg("%s", bad);
    g_autofree char *missed = item_of(box, "delivery", NULL, "warning");
    assert_string_equal(missed,
                        "1 message of the last day reached nobody in time; see the channels above");
    post_box_free(box);
}

/* What the grower said of a visit is no news: moved by hand, or dropped. */
static void test_own_word(void **state)
{
    (void)state;
    for (int drops = 0; drops < 2; drops++) {
        PostBox *box = box_with(HOOK("a", ""), &mild);
        Service *s = box->w->service;
        g_autofree char *refused = NULL;
        OpenVisit *v = world_visit(box->w, FALSE);
        (void)the_one(box, "Prop frame 20 cm");
        post_box_forget(box);
        assert_non_null(v);
        const Visit visit = v->visit;
        assert_true(store_begin(s->store, NULL));
        assert_true(drops ? wishes_drop(s, &visit, v, "", &refused, NULL)
                          : wishes_fix(s, &visit, v, visit.start_utc + 1800, "", &refused, NULL));
        assert_null(refused);
        assert_true(store_commit(s->store, NULL));
        service_ask_plan(s, "the grower's word");
        world_run_for(box->w, 600);
        if (box->letters->len > 0) {
            g_autofree char *text = post_box_text(box);
            fail_msg("%s", text);
        }
        post_box_free(box);
    }
}

/* A rehearsal sends nothing, whatever its thole.conf says. */
static void test_rehearsal(void **state)
{
    (void)state;
    PostBox *box = post_box_new(HOOK("a", "digest=19:00\n"), START);
    box->w->channels = FALSE;
    world_start(box->w);
    assert_false(post_sends(box->w->service->post));
    world_forecast(box->w, &frost);
    world_add_batch(box->w, "lettuce", 24, "frame", STAGE_HARDENING, 50);
    world_run_for(box->w, 3 * DAY_S);
    post_look(box->w->service->post);
    world_run_for(box->w, 1);
    assert_int_equal(box->letters->len + box->refused, 0);
    post_box_free(box);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_course),
        cmocka_unit_test(test_never_twice),
        cmocka_unit_test(test_frost_at_night),
        cmocka_unit_test(test_frost_that_can_wait),
        cmocka_unit_test(test_more_to_save),
        cmocka_unit_test(test_burst),
        cmocka_unit_test(test_asked_by_the_next),
        cmocka_unit_test(test_answered),
        cmocka_unit_test(test_done_link),
        cmocka_unit_test(test_a_day_down),
        cmocka_unit_test(test_withdrawn),
        cmocka_unit_test(test_own_word),
        cmocka_unit_test(test_tests),
        cmocka_unit_test(test_check),
        cmocka_unit_test(test_rehearsal),
    };
    return cmocka_run_group_tests_name("post", tests, NULL, NULL);
}

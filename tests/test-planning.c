/* SPDX-License-Identifier: MIT */
/* A plan in the making: what the service does meanwhile. A gate holds the thread that makes it. */
#include "api-garden.h"

#include <pthread.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#include "service/planner.h"

#define PATIENCE_US (20 * G_USEC_PER_SEC)

typedef struct Gate {
    pthread_mutex_t mutex; /* and not GLib's, which ThreadSanitizer does not see */
    pthread_cond_t moved;
    gboolean shut;
    guint may_pass; /* though it is shut */
    guint waiting;  /* have come to it, ever */
} Gate;

static Gate gate = {.mutex = PTHREAD_MUTEX_INITIALIZER, .moved = PTHREAD_COND_INITIALIZER};

static void pass(gpointer data)
{
    (void)data;
    pthread_mutex_lock(&gate.mutex);
    gate.waiting++;
    while (gate.shut && gate.may_pass == 0)
        pthread_cond_wait(&gate.moved, &gate.mutex);
    gate.may_pass -= gate.shut ? 1 : 0;
    pthread_mutex_unlock(&gate.mutex);
}

static void set_gate(gboolean shut)
{
    pthread_mutex_lock(&gate.mutex);
    gate.shut = shut;
    pthread_cond_broadcast(&gate.moved);
    pthread_mutex_unlock(&gate.mutex);
}

static void let_one(void)
{
    pthread_mutex_lock(&gate.mutex);
    gate.may_pass++;
    pthread_cond_broadcast(&gate.moved);
    pthread_mutex_unlock(&gate.mutex);
}

static guint came(void)
{
    pthread_mutex_lock(&gate.mutex);
    const guint n = gate.waiting;
    pthread_mutex_unlock(&gate.mutex);
    return n;
}

/* Turns the loop until the condition holds. */
#define turn_until(condition)                                                                      \
    do {                                                                                           \
        const gint64 end_us = g_get_monotonic_time() + PATIENCE_US;                                \
        while (!(condition)) {                                                                     \
            assert_true(g_get_monotonic_time() < end_us);                                          \
            g_main_context_iteration(NULL, FALSE);                                                 \
        }                                                                                          \
    } while (0)

static int set_up(void **state)
{
    static const ApiRow rows[] = {
        {"leeks in the frame", "POST", "/v1/batches",
         "{\"crop\":\"leek\",\"number\":40,\"place\":\"frame\",\"name\":\"early\",\"bought\":true}",
         200, NULL},
        {"tomatoes on the sill", "POST", "/v1/batches", "{\"crop\":\"tomato\",\"number\":12}", 200,
         NULL},
    };
    ApiGarden *garden = api_garden_new();

    *state = garden;
    api_rows(garden, rows, G_N_ELEMENTS(rows));
    turn_until(garden->service->plan_trigger == NULL);
    planner_set_gate(garden->service, pass, NULL);
    return 0;
}

static int tear_down(void **state)
{
    set_gate(FALSE);
    api_garden_free(*state);
    return 0;
}

/* A plan that stands at the gate. */
static void begin_plan(ApiGarden *garden)
{
    const guint before = came();

    set_gate(TRUE);
    service_ask_plan(garden->service, "test");
    turn_until(came() > before);
    assert_true(planner_is_busy(garden->service));
}

static void end_plan(ApiGarden *garden)
{
    set_gate(FALSE);
    turn_until(garden->service->plan_trigger == NULL);
    assert_false(planner_is_busy(garden->service));
}

/* Sends a request, without waiting for the reply. */
static int send_request(const ApiGarden *garden, const char *target, const char *body)
{
    g_autofree char *text = client_text("POST", target, body);
    const int fd = client_open(garden->socket);

    assert_int_equal(send(fd, text, strlen(text), MSG_NOSIGNAL), (ssize_t)strlen(text));
    return fd;
}

/* The text of its reply. The caller frees. */
static char *text_of(int fd)
{
    g_autoptr(JsonParser) parser = json_parser_new();
    g_autofree char *reply = client_finish(fd, "", 0, 1);

    assert_int_equal(client_status(reply), 200);
    return g_strdup(json_object_get_string_member(client_object(reply, parser), "text"));
}

static gboolean has_reply(int fd)
{
    char byte;
    return recv(fd, &byte, 1, MSG_PEEK) >= 0;
}

#define FROST "{\"site\":\"plot\",\"night\":\"tonight\",\"low\":-3}"

static gboolean was_asked_for(const ApiGarden *garden, const char *trigger)
{
    const char *asked = garden->service->plan_trigger;
    return asked != NULL && strstr(asked, trigger) != NULL;
}

/* All that can be read. */
static void read_all(ApiGarden *garden)
{
    static const char *const targets[] = {
        "/v1/",
        "/v1/aways",
        "/v1/batches",
        "/v1/batches/early",
        "/v1/calendar",
        "/v1/check",
        "/v1/crops",
        "/v1/export",
        "/v1/jobs",
        "/v1/places",
        "/v1/season",
        "/v1/sow/leek?out=2026-06-10",
        "/v1/today",
        "/v1/weather/home",
        "/v1/week",
        "/v1/why/early",
        "/v1/batches?ended=true",
    };

    for (gsize i = 0; i < G_N_ELEMENTS(targets); i++) {
        g_autofree char *reply = client_ask(garden->socket, "GET", targets[i], "");
        /* Between the file and the plan there is no weather: that is said. */
        const gboolean none = garden->service->weather == NULL && client_status(reply) == 409;
        if (client_status(reply) != 200 && !none)
            fail_msg("%s: %s", targets[i], reply);
    }
}

static void test_requests_are_answered(void **state)
{
    ApiGarden *garden = *state;
    const guint64 plans = garden->service->plans;
    const guint64 thrown = planner_thrown_away(garden->service);
    const BatchOutlook *outlooks = garden->service->plan.outlooks;

    begin_plan(garden);
    read_all(garden);
    assert_true(planner_is_busy(garden->service));
    assert_int_equal(garden->service->plans, plans);
    assert_ptr_equal(garden->service->plan.outlooks, outlooks); /* the former plan stands */
    end_plan(garden);
    assert_int_equal(garden->service->plans, plans + 1);
    assert_int_equal(planner_thrown_away(garden->service), thrown);
}

static void test_the_clock_stands_still(void **state)
{
    ApiGarden *garden = *state;

    begin_plan(garden);
    clock_virtual_set_end(garden->clk, API_NOW_UTC + 7200, NULL, NULL);
    for (int i = 0; i < 100; i++)
        g_main_context_iteration(NULL, FALSE);
    assert_int_equal(clock_now(garden->clk), API_NOW_UTC);
    set_gate(FALSE);
    api_garden_run_to(garden, API_NOW_UTC + 7200);
    assert_int_equal(clock_now(garden->clk), API_NOW_UTC + 7200);
}

/* The reply to a change tells what came of it, and nobody else waits for it. */
static void test_a_reply_waits(void **state)
{
    ApiGarden *garden = *state;
    const guint before = came();

    set_gate(TRUE);
    const int fd = send_request(garden, "/v1/batches", "{\"crop\":\"cabbage\",\"number\":6}");
    turn_until(came() > before);
    read_all(garden); /* with a batch that no plan knows */
    assert_false(has_reply(fd));
    set_gate(FALSE);
    g_autofree char *text = text_of(fd);
    assert_non_null(strstr(text, "\ncabbage-1, 6 cabbages: sown"));
    assert_non_null(strstr(text, "ready not before"));
    assert_null(strstr(text, "not ready yet"));
}

static void test_overtaken(void **state)
{
    ApiGarden *garden = *state;
    const guint64 thrown = planner_thrown_away(garden->service);
    const guint64 plans = garden->service->plans;

    begin_plan(garden);
    const int fd = send_request(garden, "/v1/frosts", FROST);
    turn_until(was_asked_for(garden, "frost warning"));
    assert_false(has_reply(fd));
    end_plan(garden);
    g_autofree char *text = text_of(fd);
    assert_non_null(strstr(text, "Noted: a low of −3"));
    assert_int_equal(planner_thrown_away(garden->service), thrown + 1);
    assert_int_equal(garden->service->plans, plans + 1);
}

/* Two changes while a plan is in the making: both replies come of one plan. */
static void test_two_changes(void **state)
{
    ApiGarden *garden = *state;
    const guint64 plans = garden->service->plans;

    begin_plan(garden);
    const int first = send_request(garden, "/v1/frosts", FROST);
    turn_until(was_asked_for(garden, "frost warning"));
    const int second =
        send_request(garden, "/v1/aways", "{\"from\":\"2026-04-18\",\"to\":\"2026-04-20\"}");
    turn_until(was_asked_for(garden, "away"));
    end_plan(garden);
    g_autofree char *one = text_of(first), *other = text_of(second);
    assert_int_equal(garden->service->plans, plans + 1);
    assert_string_not_equal(one, other);
}

/* The plan at the gate has been overtaken; it leaves, and the next one stands there. */
static void let_overtaken_go(const ApiGarden *garden, const char *trigger)
{
    const guint before = came();

    turn_until(was_asked_for(garden, trigger));
    let_one();
    turn_until(came() > before);
}

/* Changes come faster than plans are made: after two that were overtaken the third is made and
 * shown, and what would overtake it waits so long. */
static void test_a_stream_of_changes(void **state)
{
    ApiGarden *garden = *state;
    const guint64 plans = garden->service->plans, thrown = planner_thrown_away(garden->service);
    int fds[4];

    begin_plan(garden);
    fds[0] = send_request(garden, "/v1/frosts", FROST);
    let_overtaken_go(garden, "frost warning");
    assert_false(planner_is_finishing(garden->service));
    fds[1] = send_request(garden, "/v1/aways", "{\"from\":\"2026-04-18\",\"to\":\"2026-04-20\"}");
    let_overtaken_go(garden, "away");
    assert_true(planner_is_finishing(garden->service));
    fds[2] = send_request(garden, "/v1/readings", "{\"place\":\"plot\",\"value\":14}");
    fds[3] = send_request(garden, "/v1/batches", "{\"crop\":\"cabbage\",\"number\":6}");
    read_all(garden); /* what changes nothing is answered, and came later */
    assert_false(was_asked_for(garden, "reading"));
    assert_int_equal(garden->service->plans, plans);
    let_one();
    turn_until(garden->service->plans == plans + 1);
    assert_int_equal(planner_thrown_away(garden->service), thrown + 2);
    assert_true(was_asked_for(garden, "reading"));
    assert_true(was_asked_for(garden, "batch"));
    assert_false(planner_is_finishing(garden->service));
    end_plan(garden);
    for (gsize i = 0; i < G_N_ELEMENTS(fds); i++) {
        g_autofree char *text = text_of(fds[i]);
        assert_true(strlen(text) > 0);
    }
    assert_int_equal(garden->service->plans, plans + 2); /* one for both that waited */
    assert_int_equal(planner_thrown_away(garden->service), thrown + 2);
}

/* It leaves while a change waits to be looked at. */
static void test_leaving_with_held_changes(void **state)
{
    ApiGarden *garden = *state;

    begin_plan(garden);
    const int first = send_request(garden, "/v1/frosts", FROST);
    let_overtaken_go(garden, "frost warning");
    const int second =
        send_request(garden, "/v1/aways", "{\"from\":\"2026-04-18\",\"to\":\"2026-04-20\"}");
    let_overtaken_go(garden, "away");
    const int third = send_request(garden, "/v1/readings", "{\"place\":\"plot\",\"value\":14}");
    read_all(garden);
    set_gate(FALSE);
    service_free(garden->service);
    garden->service = NULL;
    close(first);
    close(second);
    close(third);
    while (g_main_context_iteration(NULL, FALSE))
        ;
}

/* ---- what is only supposed ---- */

#define SUPPOSED "{\"change\":\"frost\",\"site\":\"plot\",\"night\":\"tonight\",\"low\":-7}"

/* The status of the reply, whose supposed frost is told of. */
static guint supposed_status(int fd)
{
    g_autofree char *reply = client_finish(fd, "", 0, 1);

    if (client_status(reply) == 200)
        assert_non_null(strstr(reply, "\"limits_passed\""));
    return client_status(reply);
}

/* It is reckoned in a thread: everything else is answered, several come one after the other, and
 * one more than may wait is told so. */
static void test_supposed_beside(void **state)
{
    ApiGarden *garden = *state;
    const guint before = came();
    const guint64 plans = garden->service->plans;
    int fds[BESIDE_MOST];

    set_gate(TRUE);
    for (int i = 0; i < BESIDE_MOST; i++)
        fds[i] = send_request(garden, "/v1/what-if", SUPPOSED);
    turn_until(came() > before);
    read_all(garden);
    g_autofree char *one_more = client_ask(garden->socket, "POST", "/v1/what-if", SUPPOSED);
    assert_int_equal(client_status(one_more), 409);
    assert_non_null(strstr(one_more, "4 others are being reckoned"));
    assert_int_equal(came(), before + 1); /* one at a time */
    for (int i = 0; i < BESIDE_MOST; i++)
        assert_false(has_reply(fds[i]));
    set_gate(FALSE);
    for (int i = 0; i < BESIDE_MOST; i++)
        assert_int_equal(supposed_status(fds[i]), 200);
    assert_int_equal(came(), before + BESIDE_MOST);
    assert_int_equal(garden->service->plans, plans); /* nothing was planned in earnest */
}

/* A change goes first, and what is supposed is reckoned from the plan that follows it. */
static void test_supposed_after_a_change(void **state)
{
    ApiGarden *garden = *state;
    const guint before = came();
    const guint64 plans = garden->service->plans;

    set_gate(TRUE);
    const int supposed = send_request(garden, "/v1/what-if", SUPPOSED);
    turn_until(came() > before);
    const int change = send_request(garden, "/v1/frosts", FROST);
    turn_until(was_asked_for(garden, "frost warning"));
    turn_until(came() > before + 1); /* the plan's own thread waits at the gate as well */
    assert_false(has_reply(supposed));
    set_gate(FALSE);
    g_autofree char *text = text_of(change);
    assert_non_null(strstr(text, "Noted: a low of −3"));
    assert_int_equal(supposed_status(supposed), 200);
    assert_int_equal(garden->service->plans, plans + 1);
    assert_int_equal(came(), before + 3);
}

/* The numbers of sites and places are others in a file that was read meanwhile. */
static void test_supposed_of_another_garden(void **state)
{
    ApiGarden *garden = *state;
    const guint before = came();

    set_gate(TRUE);
    const int supposed = send_request(garden, "/v1/what-if", SUPPOSED);
    turn_until(came() > before);
    assert_true(service_reload(garden->service, NULL));
    set_gate(FALSE);
    assert_int_equal(supposed_status(supposed), 409);
}

/* Nobody waits for it longer than a connection lasts. */
static void test_supposed_too_late(void **state)
{
    ApiGarden *garden = *state;
    const guint before = came();

    set_gate(TRUE);
    const int first = send_request(garden, "/v1/what-if", SUPPOSED);
    turn_until(came() > before);
    clock_release(garden->clk); /* as time goes on, where it is real */
    clock_virtual_set_end(garden->clk, API_NOW_UTC + 20, NULL, NULL);
    assert_int_equal(supposed_status(first), 409);
    clock_hold(garden->clk);
    const int second = send_request(garden, "/v1/what-if", SUPPOSED);
    read_all(garden);
    set_gate(FALSE);
    assert_int_equal(supposed_status(second), 200);
}

/* It leaves with one in the making and one that waits. */
static void test_leaving_with_supposed(void **state)
{
    ApiGarden *garden = *state;
    const guint before = came();

    set_gate(TRUE);
    const int first = send_request(garden, "/v1/what-if", SUPPOSED);
    turn_until(came() > before);
    const int second = send_request(garden, "/v1/what-if", SUPPOSED);
    read_all(garden);
    set_gate(FALSE);
    service_free(garden->service);
    garden->service = NULL;
    close(first);
    close(second);
    while (g_main_context_iteration(NULL, FALSE))
        ;
}

/* The garden is another one when the plan arrives. */
static void test_another_garden(void **state)
{
    ApiGarden *garden = *state;
    const guint64 thrown = planner_thrown_away(garden->service);

    begin_plan(garden);
    const int fd = send_request(garden, "/v1/readings", "{\"place\":\"plot\",\"value\":14}");
    turn_until(was_asked_for(garden, "reading"));
    assert_true(service_reload(garden->service, NULL));
    turn_until(was_asked_for(garden, "config"));
    read_all(garden);
    end_plan(garden);
    read_all(garden);
    assert_int_equal(planner_thrown_away(garden->service), thrown + 1);
    g_autofree char *text = text_of(fd);
    assert_true(strlen(text) > 0);
}

/* A plan that takes very long: the change is kept, and that is said. */
static void test_a_late_plan(void **state)
{
    ApiGarden *garden = *state;
    const guint before = came();

    set_gate(TRUE);
    const int fd = send_request(garden, "/v1/frosts", FROST);
    turn_until(came() > before);
    clock_release(garden->clk); /* as time goes on, where it is real */
    clock_virtual_set_end(garden->clk, API_NOW_UTC + 20, NULL, NULL);
    g_autofree char *text = text_of(fd);
    clock_hold(garden->clk);
    assert_non_null(strstr(text, "It is kept. The new plan is not ready yet: tholectl week."));
    end_plan(garden);
}

/* The same snapshot, made twice at one instant, by whatever thread: the same plan. */
static void test_again_the_same(void **state)
{
    ApiGarden *garden = *state;

    begin_plan(garden);
    end_plan(garden);
    g_autofree char *once = client_ask(garden->socket, "GET", "/v1/week", "");
    service_ask_plan(garden->service, "again");
    service_plan_now(garden->service);
    g_autofree char *twice = client_ask(garden->socket, "GET", "/v1/week", "");
    assert_string_equal(strstr(once, "\r\n\r\n"), strstr(twice, "\r\n\r\n"));
}

static gpointer open_soon(gpointer data)
{
    (void)data;
    g_usleep(20000); /* so that the service waits, most likely; nothing depends on it */
    set_gate(FALSE);
    return NULL;
}

/* It leaves with a plan in the making and somebody who waits for it. */
static void test_leaving(void **state)
{
    ApiGarden *garden = *state;

    begin_plan(garden);
    const int fd = send_request(garden, "/v1/frosts", FROST);
    turn_until(was_asked_for(garden, "frost warning"));
    GThread *opener = g_thread_new("opener", open_soon, NULL);
    service_free(garden->service);
    garden->service = NULL;
    g_thread_join(opener);
    close(fd);
    while (g_main_context_iteration(NULL, FALSE))
        ;
}

int main(void)
{
#define TEST(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        TEST(test_requests_are_answered),
        TEST(test_the_clock_stands_still),
        TEST(test_a_reply_waits),
        TEST(test_overtaken),
        TEST(test_two_changes),
        TEST(test_a_stream_of_changes),
        TEST(test_leaving_with_held_changes),
        TEST(test_supposed_beside),
        TEST(test_supposed_after_a_change),
        TEST(test_supposed_of_another_garden),
        TEST(test_supposed_too_late),
        TEST(test_leaving_with_supposed),
        TEST(test_another_garden),
        TEST(test_a_late_plan),
        TEST(test_again_the_same),
        TEST(test_leaving),
    };
    return cmocka_run_group_tests_name("planning", tests, NULL, NULL);
}

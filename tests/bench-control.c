/* SPDX-License-Identifier: MIT */
/*
 * How soon requests are answered while a community nursery is planned over and over: 1,000 batches
 * in 320 groups, 60 places, 5 sites, 3 growers with their own hours. Wall time, as a
 * client in a thread of its own sees it, one request after the other. What asks for a change is
 * left out: its reply waits for the plan.
 */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include "service-world.h"

#include "ramp/ramp.h"
#include "service/planner.h"
#include "store/store-batches.h"

#define REQUESTS 1000
#define SITES 5
#define BATCHES 1000
#define GROUPS 320

static const WorldWeather frost = {.low_c = 4, .high_c = 14, .cold_day = 3, .cold_c = -4};
static const char *const targets[] = {"/v1/",           "/v1/today",  "/v1/jobs",
                                      "/v1/batches/b7", "/v1/check",  "/v1/week",
                                      "/v1/batches",    "/v1/why/b7", "/v1/places"};

/* What each site has; the last three are empty as the plan begins. */
static const struct {
    const char *name, *keys;
} places[] = {
    {"sill", "kind=sill\ntrays=30"},
    {"yard", "kind=standing\ntrays=30"},
    {"tunnel", "kind=tunnel\ntrays=90"},
    {"box", "kind=box\ntrays=30\ninside=tunnel"},
    {"crate", "kind=box\ntrays=30\ninside=tunnel"},
    {"frame", "kind=cold-frame\ntrays=30"},
    {"light", "kind=cold-frame\ntrays=30"},
    {"pit", "kind=cold-frame\ntrays=30"},
    {"bench", "kind=cold-frame\ntrays=30"},
    {"spare", "kind=cold-frame\ntrays=30"},
    {"bed", "kind=bed"},
    {"strip", "kind=bed"},
};
#define HOLDING 9

static char *nursery_text(void)
{
    static const char *const growers[] = {
        "visits-site-0=07:00-08:30; 17:30-18:30\nvisits-site-1=19:00-20:30",
        "visits-site-2=06:30-08:00; 17:00-18:00\nvisits-site-3=18:30-20:00",
        "visits-site-4=08:00-09:30; 18:00-20:00"};
    GString *text = g_string_new("[garden]\n");

    for (gsize g = 0; g < G_N_ELEMENTS(growers); g++)
        g_string_append_printf(text, "[grower grower-%zu]\nhome=site-%zu\n%s\ntravel-minutes=15\n",
                               g, 2 * g, growers[g]);
    for (int s = 0; s < SITES; s++)
        g_string_append_printf(
            text, "[site site-%d]\nlatitude=53.1%d\nlongitude=-2.02\nzone=Europe/London\n", s, s);
    for (int s = 0; s < SITES; s++) {
        for (gsize p = 0; p < G_N_ELEMENTS(places); p++) {
            g_string_append_printf(text, "[place %s-%d]\n%s%s", places[p].name, s, places[p].keys,
                                   strstr(places[p].keys, "inside") != NULL ? "" : "\nsite=site-");
            g_string_append_printf(text,
                                   strstr(places[p].keys, "inside") != NULL ? "-%d\n" : "%d\n", s);
        }
    }
    return g_string_free(text, FALSE);
}

/* As many alike as there are batches to a group: crop, state and place. */
static Batch batch_of(const Service *s, int at)
{
    static const char *const crops[] = {"cabbage", "lettuce", "leek",      "tomato",
                                        "kale",    "celery",  "courgette", "beetroot"};
    const Garden *garden = s->garden;
    const int group = at % GROUPS, site = group % SITES, place = group / SITES % HOLDING,
              round = group / (SITES * HOLDING);
    const int64_t grid_utc = clock_now(s->clk) / STEP_S * STEP_S;
    g_autofree char *where = g_strdup_printf("%s-%d", places[place].name, site),
                    *bed = g_strdup_printf("bed-%d", site);
    Batch b = {.number = 40,
               .trays = 1,
               .stage = place == 0 ? STAGE_GROWING_ON : STAGE_HARDENING,
               .resowable = true,
               .crop = garden_find_crop(garden, crops[(round + place) % G_N_ELEMENTS(crops)]),
               .place = garden_find_place(garden, where),
               .destination = garden_find_place(garden, bed),
               .container = MAX(0, garden_find_container(garden, "modules-60")),
               .sown_utc = grid_utc - (int64_t)(40 + round) * DAY_S};
    (void)snprintf(b.name, sizeof b.name, "b%d", at);
    assert_true(b.crop >= 0 && b.place >= 0 && b.destination >= 0);
    ramp_begin(&garden->crops[b.crop], grid_utc, &b.ramp);
    b.ramp.hardened_to_c -= 0.1 * round;
    return b;
}

static void put_batches(World *w)
{
    Service *s = w->service;
    const int64_t grid_utc = clock_now(s->clk) / STEP_S * STEP_S;

    assert_true(store_begin(s->store, NULL));
    for (int i = 0; i < BATCHES; i++) {
        Batch b = batch_of(s, i);
        assert_true(store_put_batch(s->store, s->garden, &b, grid_utc, NULL));
        assert_true(store_put_placement(s->store, s->garden, b.id, b.place, grid_utc, NULL));
    }
    assert_true(store_commit(s->store, NULL));
    assert_true(service_refresh(s, NULL));
}

/* ---- the client, in its thread ---- */

typedef struct Client {
    World *w;
    int n;
    double ms[REQUESTS];
    guint refused;
} Client;

#define GET "GET %s HTTP/1.1\r\nHost: localhost\r\n\r\n"
#define SUPPOSED "{\"change\":\"frost\",\"site\":\"site-1\",\"night\":\"tonight\",\"low\":-7}"
#define WHAT_IF                                                                                    \
    "POST /v1/what-if HTTP/1.1\r\nHost: localhost\r\nContent-Length: %zu\r\n\r\n" SUPPOSED

/* Sends TEXT and reads all of the reply; what it took, in ms. */
static double ask(const char *path, const char *text, guint *refused)
{
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    const int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
    gboolean good = FALSE, first = TRUE;

    g_strlcpy(address.sun_path, path, sizeof address.sun_path);
    const gint64 begun_us = g_get_monotonic_time();
    if (connect(fd, (struct sockaddr *)&address, sizeof address) == 0 &&
        send(fd, text, strlen(text), MSG_NOSIGNAL) == (ssize_t)strlen(text)) {
        char part[65536];
        ssize_t n;
        while ((n = recv(fd, part, sizeof part, 0)) > 0) {
            good = first ? n > 12 && memcmp(part + 9, "200", 3) == 0 : good;
            first = FALSE;
        }
    }
    close(fd);
    *refused += !good;
    return (double)(g_get_monotonic_time() - begun_us) / 1000.0;
}

static gboolean quit(gpointer data)
{
    g_main_loop_quit(((Client *)data)->w->loop);
    return G_SOURCE_REMOVE;
}

static gpointer run(gpointer data)
{
    Client *c = data;

    for (int i = 0; i < c->n; i++) {
        g_autofree char *text = g_strdup_printf(GET, targets[i % (int)G_N_ELEMENTS(targets)]);
        c->ms[i] = ask(c->w->socket, text, &c->refused);
    }
    g_idle_add_full(G_PRIORITY_HIGH, quit, c, NULL);
    return NULL;
}

/* Another client, who asks what if, and again as soon as that is answered. */
typedef struct Wonderer {
    const World *w;
    double ms; /* the longest */
    gint stop;
    gint over;
    guint asked, refused;
} Wonderer;

static gpointer wonder(gpointer data)
{
    Wonderer *c = data;
    g_autofree char *text = g_strdup_printf(WHAT_IF, strlen(SUPPOSED));

    for (; !g_atomic_int_get(&c->stop); c->asked++)
        c->ms = MAX(c->ms, ask(c->w->socket, text, &c->refused));
    g_atomic_int_set(&c->over, 1);
    g_main_context_wakeup(NULL);
    return NULL;
}

/* ---- */

static void again(Service *s, const char *trigger, gpointer data)
{
    (void)trigger, (void)data;
    service_ask_plan(s, "bench");
}

static int by_size(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* What N requests took, in ms. */
typedef struct Times {
    double half, most_99, most;
} Times;

static Times times_of(double *ms, int n)
{
    qsort(ms, (size_t)n, sizeof *ms, by_size);
    return (Times){ms[n / 2 - 1], ms[n * 99 / 100 - 1], ms[n - 1]};
}

/* Of each target, and of all together. */
typedef struct Served {
    Times of[G_N_ELEMENTS(targets) + 1];
    double loop_ms; /* processor time of the loop, a request */
    double turn_ms; /* the longest turn of the loop */
} Served;

static double loop_ms(void)
{
    struct rusage usage;

    (void)getrusage(RUSAGE_THREAD, &usage);
    return 1e3 * (double)(usage.ru_utime.tv_sec + usage.ru_stime.tv_sec) +
           1e-3 * (double)(usage.ru_utime.tv_usec + usage.ru_stime.tv_usec);
}

/* Processor time of the loop's turns, in which nobody else is attended to; of the longest. */
static double turn_ms, longest_ms;

static gint poll_between_turns(GPollFD *fds, guint n, gint timeout_ms)
{
    const double now_ms = loop_ms();

    longest_ms = MAX(longest_ms, now_ms - turn_ms);
    turn_ms = now_ms;
    return g_poll(fds, n, timeout_ms);
}

/* N requests, and what they took. */
static Served serve(World *w, int n, const char *what)
{
    static Client client;
    static double of_target[REQUESTS];
    const guint64 before = w->service->plans;
    const gint64 begun_us = g_get_monotonic_time();
    const double begun_ms = loop_ms();
    Served served;

    client = (Client){.w = w, .n = n};
    clock_virtual_set_end(w->clk, clock_now(w->clk), NULL, NULL);
    turn_ms = begun_ms;
    longest_ms = 0.0;
    GThread *thread = g_thread_new("client", run, &client);
    g_main_loop_run(w->loop);
    g_thread_join(thread);
    served.loop_ms = (loop_ms() - begun_ms) / n;
    served.turn_ms = longest_ms;
    print_message("%d requests of a nursery of %d batches, %s: %.1f s, %d plans made, %u refused\n",
                  n, BATCHES, what, (double)(g_get_monotonic_time() - begun_us) / 1e6,
                  (int)(w->service->plans - before), client.refused);
    for (gsize k = 0; k < G_N_ELEMENTS(targets); k++) {
        int count = 0;
        for (int i = (int)k; i < n; i += (int)G_N_ELEMENTS(targets))
            of_target[count++] = client.ms[i];
        served.of[k] = times_of(of_target, count);
    }
    served.of[G_N_ELEMENTS(targets)] = times_of(client.ms, n);
    return served;
}

/* One kind beside what it was with nothing else to do. */
static void compare(const Served *idle, const Served *busy, const char *what)
{
    print_message("%-18s %26s %29s %20s\n", "ms: half, 99 %, all", "nothing else to do", what,
                  "as many times");
    for (gsize k = 0; k <= G_N_ELEMENTS(targets); k++) {
        const Times *a = &idle->of[k], *b = &busy->of[k];
        print_message("%-18s %10.1f %8.1f %8.1f %10.1f %8.1f %8.1f %8.1f %6.1f %6.1f\n",
                      k < G_N_ELEMENTS(targets) ? targets[k] : "all of them", a->half, a->most_99,
                      a->most, b->half, b->most_99, b->most, b->half / a->half,
                      b->most_99 / a->most_99, b->most / a->most);
    }
    print_message("%-18s %28.1f %28.1f\n", "processor, each", idle->loop_ms, busy->loop_ms);
    print_message("%-18s %28.1f %28.1f\n", "longest turn", idle->turn_ms, busy->turn_ms);
}

/* As they are answered while somebody asks what if, over and over. */
static Served serve_beside_wonderer(World *w)
{
    Wonderer wonderer = {.w = w};
    GThread *thread = g_thread_new("wonderer", wonder, &wonderer);
    const Served served = serve(w, REQUESTS, "what-if over and over");

    g_atomic_int_set(&wonderer.stop, 1);
    while (!g_atomic_int_get(&wonderer.over)) /* its last one is to be answered */
        g_main_context_iteration(NULL, TRUE);
    g_thread_join(thread);
    print_message("%u times what if, %u refused, %.1f s at most\n", wonderer.asked,
                  wonderer.refused, wonderer.ms / 1e3);
    return served;
}

int main(void)
{
    struct rusage usage;
    double load[1];
    g_autofree char *text = nursery_text();
    World *w = world_new(text, "2026-04-08T16:00:00Z");

    w->socket = g_build_filename(w->folder, "control", NULL);
    world_start(w);
    put_batches(w);
    g_main_context_set_poll_func(NULL, poll_between_turns);
    const gint64 begun_us = g_get_monotonic_time();
    world_forecast(w, &frost);
    print_message("a new plan, %d batches %36.1f s\n", BATCHES,
                  (double)(g_get_monotonic_time() - begun_us) / 1e6);
    assert_null(w->service->store_problem);
    const Served idle = serve(w, REQUESTS, "nothing else to do");
    const Served supposed = serve_beside_wonderer(w);
    w->planned = again;
    service_ask_plan(w->service, "bench");
    const Served busy = serve(w, REQUESTS, "planned over and over");
    w->planned = NULL;
    compare(&idle, &busy, "planned over and over");
    compare(&idle, &supposed, "what-if over and over");
    (void)getrusage(RUSAGE_SELF, &usage);
    print_message("%-52s %8ld MB\n", "most memory", usage.ru_maxrss / 1024);
    if (getloadavg(load, 1) == 1)
        print_message("%-52s %8.1f of %u\n", "load of the machine", load[0],
                      g_get_num_processors());
    world_free(w);
    return 0;
}

/* SPDX-License-Identifier: MIT */
/*
 * A grower, a plan and a server that fails, at random, on a model of both sides: whatever happened,
 * three rounds after all is quiet both sides say the same, the grower's last word among it, and
 * nothing moves any more.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "caldav/sync.h"
#include "calendar/object.h"

#define START_UTC G_GINT64_CONSTANT(1775289600) /* 2026-04-04T08:00:00Z */
#define COLLECTION "https://cal.example/ann/thole/"
#define EVENTS 6
#define ROUNDS_QUIET 3

typedef struct There { /* an object on the server */
    char *href, *text;
    guint etag;
    guint changed; /* when, in the server's count */
} There;

typedef struct Plan { /* an event as the service wants it, and what the grower is known to want */
    EventMemory *event;
    guint edits_seen;
    GArray *moves;            /* of int64_t: every start that the grower chose */
    gboolean fixed;           /* the grower's time was taken over */
    int64_t grower_start;     /* the grower's last move that is not yet answered; 0 none */
    gboolean deleted, marked; /* by the grower */
    int lines;                /* that the grower wrote */
    int lines_told;
} Plan;

typedef struct World {
    GRand *rand;
    GPtrArray *there, *gone; /* There; gone: hrefs with their time */
    guint count;             /* of changes on the server */
    gboolean collection;
    char tags; /* 's' strong, 'w' weak, 'n' none */
    gboolean refuses_tokens;
    double failure;
    GPtrArray *plans, *inbox;
    CaldavState *state;
    char *kept;
    GTimeZone *zone;
    int64_t now;
    guint writes;
} World;

static void there_free(gpointer data)
{
    There *there = data;
    g_free(there->href);
    g_free(there->text);
    g_free(there);
}

static void plan_free(gpointer data)
{
    Plan *plan = data;
    event_memory_free(plan->event);
    g_array_unref(plan->moves);
    g_free(plan);
}

static gboolean chance(World *w, double p)
{
    return g_rand_double(w->rand) < p;
}

static There *find(World *w, const char *href)
{
    for (guint i = 0; i < w->there->len; i++) {
        There *there = w->there->pdata[i];
        if (strcmp(there->href, href) == 0)
            return there;
    }
    return NULL;
}

static char *tag(const World *w, const There *there)
{
    if (w->tags == 'n')
        return NULL;
    return g_strdup_printf("%s\"%u\"", w->tags == 'w' ? "W/" : "", there->etag);
}

static void server_put(World *w, const char *href, const char *text)
{
    There *there = find(w, href);
    if (there == NULL) {
        there = g_new0(There, 1);
        there->href = g_strdup(href);
        g_ptr_array_add(w->there, there);
    }
    char *copy = g_strdup(text);
    g_free(there->text);
    there->text = copy;
    there->changed = there->etag = ++w->count;
}

static void server_delete(World *w, There *there)
{
    There *gone = g_new0(There, 1);
    gone->href = g_strdup(there->href);
    gone->changed = ++w->count;
    g_ptr_array_add(w->gone, gone);
    g_ptr_array_remove(w->there, there);
}

/* ---- the grower, at a client that knows nothing of us: plain text, unfolded ---- */

static Plan *plan_of(World *w, const char *text)
{
    for (guint i = 0; i < w->plans->len; i++) {
        Plan *plan = w->plans->pdata[i];
        if (strstr(text, plan->event->uid) != NULL)
            return plan;
    }
    return NULL;
}

static char *unfold(const char *text)
{
    g_auto(GStrv) parts = g_strsplit(text, "\r\n ", -1);
    return g_strjoinv("", parts);
}

/* Puts LINE instead of the first line that begins with NAME, or before the first alarm or the end.
 */
static void set_line(char **text, const char *name, const char *line)
{
    g_auto(GStrv) lines = g_strsplit(*text, "\r\n", -1);
    GString *out = g_string_new(NULL);
    gboolean is_set = FALSE;
    for (char **at = lines; *at != NULL; at++) {
        gboolean is_it = g_str_has_prefix(*at, name);
        if (!is_set &&
            (is_it || strcmp(*at, "BEGIN:VALARM") == 0 || strcmp(*at, "END:VEVENT") == 0)) {
            g_string_append_printf(out, "%s\r\n", line);
            is_set = TRUE;
            if (is_it)
                continue;
        }
        g_string_append_printf(out, "%s%s", *at, at[1] != NULL ? "\r\n" : "");
    }
    g_free(*text);
    *text = g_string_free(out, FALSE);
}

static char *stamp(int64_t utc)
{
    g_autoptr(GDateTime) time = g_date_time_new_from_unix_utc(utc);
    return g_date_time_format(time, "%Y%m%dT%H%M%SZ");
}

static void grower_moves(World *w, Plan *plan, char **text)
{
    int64_t start = START_UTC + 900 * (int64_t)g_rand_int_range(w->rand, 0, 900);
    g_autofree char *from = stamp(start), *to = stamp(start + 900);
    g_autofree char *from_line = g_strdup_printf("DTSTART:%s", from);
    g_autofree char *to_line = g_strdup_printf("DTEND:%s", to);
    if (strstr(*text, from_line) != NULL && strstr(*text, to_line) != NULL)
        return; /* it is there already: no move */
    set_line(text, "DTSTART", from_line);
    set_line(text, "DTEND", to_line);
    plan->grower_start = start;
    g_array_append_val(plan->moves, start);
}

static void grower_writes(World *w, Plan *plan, char **text)
{
    const char *was = strstr(*text, "\r\nDESCRIPTION:");
    g_assert_nonnull(was);
    was += 2;
    g_autofree char *old = g_strndup(was, strcspn(was, "\r"));
    g_autofree char *line = g_strdup_printf("%s\\nword %u number %d done", old,
                                            g_rand_int(w->rand) % 1000, plan->lines++);
    set_line(text, "DESCRIPTION:", line);
}

static void grower_acts(World *w)
{
    if (w->there->len == 0)
        return;
    There *there = w->there->pdata[g_rand_int_range(w->rand, 0, (gint32)w->there->len)];
    Plan *plan = plan_of(w, there->text);
    if (plan == NULL)
        return;
    g_autofree char *text = unfold(there->text);
    switch (g_rand_int_range(w->rand, 0, 8)) {
    case 0:
    case 1:
    case 2:
        grower_moves(w, plan, &text);
        break;
    case 3:
    case 4:
        grower_writes(w, plan, &text);
        break;
    case 5:
        set_line(&text, "SUMMARY", chance(w, 0.5) ? "SUMMARY:my frame" : "SUMMARY:the other");
        break;
    case 6:
        if (!chance(w, 0.3))
            return;
        set_line(&text, "STATUS", "STATUS:CANCELLED");
        plan->marked = TRUE;
        break;
    default:
        if (!chance(w, 0.3))
            return;
        /* Before we know that it arrived, a full listing cannot tell a deletion from a loss. */
        if (caldav_state_by_href(w->state, there->href) == NULL ||
            caldav_state_by_href(w->state, there->href)->fate != CALDAV_STANDS)
            return;
        plan->deleted = TRUE;
        server_delete(w, there);
        return;
    }
    if (chance(w, 0.5))
        set_line(&text, "X-CLIENT", "X-CLIENT:7");
    server_put(w, there->href, text);
}

/* ---- the plan ---- */

static void plan_changed(World *w, Plan *plan, gboolean moved)
{
    EventMemory *event = plan->event;
    g_free(event->hash);
    event->hash = event_memory_hash(event);
    event->sequence += moved;
    event->dtstamp_utc = event->last_modified_utc = w->now;
}

static Plan *plan_add(World *w)
{
    Plan *plan = g_new0(Plan, 1);
    EventMemory *event = plan->event = event_memory_new();
    plan->moves = g_array_new(FALSE, FALSE, sizeof(int64_t));
    /* Of the model's own random numbers, so that a seed repeats it. */
    g_free(event->uid);
    event->uid =
        g_strdup_printf("%08x-%08x-%08x", g_rand_int(w->rand), g_rand_int(w->rand), w->plans->len);
    caldav_set(&event->visit_id, event->uid);
    event->start_utc = START_UTC + 900 * (int64_t)g_rand_int_range(w->rand, 40, 900);
    event->end_utc = event->start_utc + 900;
    event->day_end_utc = event->start_utc + 86400;
    caldav_set(&event->summary, "Close frame");
    caldav_set(&event->description, "Take the fleece.\nClose the frame by dusk, 4 °C tonight.");
    event_alarms_add(event->alarms, 15, FALSE, "Leave now");
    plan_changed(w, plan, FALSE);
    g_ptr_array_add(w->plans, plan);
    return plan;
}

static void plan_acts(World *w)
{
    if (w->plans->len < EVENTS || (w->plans->len < 3 * EVENTS && chance(w, 0.1))) {
        plan_add(w);
        return;
    }
    Plan *plan = w->plans->pdata[g_rand_int_range(w->rand, 0, (gint32)w->plans->len)];
    if (plan->event->cancelled)
        return;
    gboolean moved = FALSE;
    switch (g_rand_int_range(w->rand, 0, 5)) {
    case 0:
        if (plan->fixed)
            return;
        moved = TRUE;
        plan->event->start_utc += 900 * (int64_t)g_rand_int_range(w->rand, -4, 5);
        plan->event->end_utc = plan->event->start_utc + 900;
        break;
    case 1:
        g_free(plan->event->description);
        plan->event->description = g_strdup_printf(
            "Take the fleece.\nClose the frame, %d °C tonight.", g_rand_int_range(w->rand, -5, 9));
        break;
    case 2:
        caldav_set(&plan->event->summary, chance(w, 0.5) ? "Close frame" : "Open frame");
        break;
    case 3:
        g_array_set_size(plan->event->alarms, 0);
        event_alarms_add(plan->event->alarms, 5 * g_rand_int_range(w->rand, 0, 6), FALSE, "Leave");
        break;
    default:
        if (!chance(w, 0.2) || plan->fixed)
            return;
        plan->event->cancelled = moved = TRUE;
        g_array_set_size(plan->event->alarms, 0);
    }
    plan_changed(w, plan, moved);
}

static gboolean was_chosen(const Plan *plan, int64_t start)
{
    for (guint i = 0; i < plan->moves->len; i++) {
        if (g_array_index(plan->moves, int64_t, i) == start)
            return TRUE;
    }
    return FALSE;
}

/* What the service makes of an edit, sooner or later. */
static void plan_learns(World *w, const CaldavEdit *edit)
{
    if (edit->kind == CALDAV_LOST) {
        for (guint i = 0; i < w->plans->len; i++) {
            Plan *back = w->plans->pdata[i];
            const CaldavObject *object = caldav_state_by_uid(w->state, back->event->uid);
            if (object != NULL && object->fate == CALDAV_UNSENT)
                back->deleted = FALSE;
        }
        return;
    }
    Plan *plan = plan_of(w, edit->uid);
    assert_non_null(plan);
    /* Nothing that we did ourselves is told as the grower's. */
    assert_true(edit->kind != CALDAV_MOVED || was_chosen(plan, edit->start_utc));
    assert_true(edit->kind != CALDAV_RENAMED || *edit->text == '\0' ||
                strcmp(edit->text, "my frame") == 0 || strcmp(edit->text, "the other") == 0);
    if (edit->edits > 0)
        plan->edits_seen = edit->edits;
    if (edit->kind == CALDAV_SAID_OTHER)
        plan->lines_told++;
    if (edit->kind == CALDAV_MOVED && !plan->event->cancelled) {
        plan->fixed = chance(w, 0.8);
        if (plan->fixed) {
            plan->event->start_utc = edit->start_utc;
            plan->event->end_utc = edit->end_utc;
        } else {
            caldav_set(&plan->event->description, "That hour is past: as before.");
        }
        plan_changed(w, plan, TRUE);
        if (plan->grower_start == edit->start_utc)
            plan->grower_start = 0;
    }
    if ((edit->kind == CALDAV_DELETED || edit->kind == CALDAV_CANCELLED) && chance(w, 0.5) &&
        !plan->event->cancelled) {
        plan->event->cancelled = TRUE;
        plan_changed(w, plan, TRUE);
    }
}

/* ---- one round of the outlet ---- */

static void keep(World *w, GPtrArray *edits)
{
    g_free(w->kept);
    w->kept = caldav_state_write(w->state);
    while (edits->len > 0) {
        CaldavEdit *edit = g_ptr_array_steal_index(edits, 0);
        if (edit->kind == CALDAV_LOST) {
            plan_learns(w, edit);
            caldav_edit_free(edit);
        } else {
            g_ptr_array_add(w->inbox, edit);
        }
    }
}

/* The service reads what came, or comes to it later. */
static void read_inbox(World *w, double p)
{
    while (w->inbox->len > 0 && chance(w, p)) {
        plan_learns(w, w->inbox->pdata[0]);
        g_ptr_array_remove_index(w->inbox, 0);
    }
}

static GArray *wanted_of(World *w)
{
    GArray *wanted = g_array_new(FALSE, TRUE, sizeof(CaldavWanted));
    for (guint i = 0; i < w->plans->len; i++) {
        const Plan *plan = w->plans->pdata[i];
        CaldavWanted one = {plan->event, plan->edits_seen};
        g_array_append_val(wanted, one);
    }
    return wanted;
}

static GPtrArray *server_lists(World *w, gboolean full, guint since)
{
    GPtrArray *listed = g_ptr_array_new_with_free_func((GDestroyNotify)caldav_listed_free);
    for (guint i = 0; i < w->there->len; i++) {
        const There *there = w->there->pdata[i];
        if (!full && there->changed <= since)
            continue;
        CaldavListed *one = g_new0(CaldavListed, 1);
        one->href = g_strdup(there->href);
        one->etag = tag(w, there);
        g_ptr_array_add(listed, one);
    }
    for (guint i = 0; !full && i < w->gone->len; i++) {
        const There *gone = w->gone->pdata[i];
        if (gone->changed <= since || find(w, gone->href) != NULL)
            continue;
        CaldavListed *one = g_new0(CaldavListed, 1);
        one->href = g_strdup(gone->href);
        one->gone = TRUE;
        g_ptr_array_add(listed, one);
    }
    return listed;
}

static void fetch(World *w, CaldavSync *sync, const char *href)
{
    const There *there = find(w, href);
    g_autofree char *etag = there != NULL ? tag(w, there) : NULL;
    caldav_sync_fetched(sync, href, etag, there != NULL ? there->text : NULL, -1);
}

/* A move that the plan has not answered yet is never undone. */
static void check_time(World *w, const There *there, const char *text)
{
    g_autoptr(CalendarObject) now =
        there != NULL ? calendar_object_read(there->text, -1, w->zone, NULL) : NULL;
    g_autoptr(CalendarObject) then = calendar_object_read(text, -1, w->zone, NULL);
    const Plan *plan = plan_of(w, text);
    if (now != NULL && plan->grower_start == now->start_utc)
        assert_int_equal(then->start_utc, now->start_utc);
}

static CaldavOutcome server_does(World *w, const CaldavAction *action, char **ret_etag)
{
    There *there = find(w, action->href);
    if (chance(w, w->failure)) /* the request is lost */
        return CALDAV_OUTCOME_UNKNOWN;
    w->writes++;
    g_autofree char *etag = there != NULL ? tag(w, there) : NULL;
    if (action->kind == CALDAV_CREATE && there != NULL)
        return CALDAV_OUTCOME_CONFLICT;
    if (action->if_match != NULL && (etag == NULL || strcmp(etag, action->if_match) != 0))
        return CALDAV_OUTCOME_CONFLICT;
    if (action->kind == CALDAV_DELETE) {
        if (there != NULL)
            server_delete(w, there);
    } else {
        check_time(w, there, action->text);
        server_put(w, action->href, action->text);
        *ret_etag = tag(w, find(w, action->href));
    }
    return chance(w, w->failure) ? CALDAV_OUTCOME_UNKNOWN : CALDAV_OUTCOME_DONE;
}

/* FALSE: it broke off. */
static gboolean act(World *w, CaldavSync *sync, CaldavAction *first, gboolean busy)
{
    CaldavAction *action = first;
    for (int tries = 0; tries < 4; tries++) {
        if (busy && chance(w, 0.1))
            grower_acts(w);
        if (action->look) {
            g_autofree char *href = g_strdup(action->href);
            fetch(w, sync, href);
            caldav_action_free(action);
            action = caldav_sync_decide(sync, href, TRUE);
        }
        keep(w, sync->edits);
        if (action->kind == CALDAV_NOTHING)
            break;
        g_autofree char *etag = NULL;
        CaldavOutcome outcome = server_does(w, action, &etag);
        caldav_sync_done(sync, action, outcome, etag);
        if (outcome == CALDAV_OUTCOME_UNKNOWN) {
            caldav_action_free(action);
            return FALSE;
        }
        if (outcome != CALDAV_OUTCOME_CONFLICT)
            break;
        g_autofree char *href = g_strdup(action->href);
        fetch(w, sync, href);
        caldav_action_free(action);
        action = caldav_sync_decide(sync, href, FALSE);
    }
    caldav_action_free(action);
    return TRUE;
}

static gboolean one_round(World *w, gboolean busy)
{
    g_autoptr(GPtrArray) edits = caldav_edits_new();
    g_autoptr(GArray) wanted = wanted_of(w);
    CaldavSync sync = {w->state, wanted, w->zone, w->now, edits};
    if (chance(w, w->failure))
        return FALSE;
    if (!w->collection) {
        caldav_sync_lost(&sync);
        w->collection = TRUE;
        keep(w, edits);
    }
    gboolean full = *w->state->token == '\0' || w->refuses_tokens;
    guint since = full ? 0 : (guint)strtoul(w->state->token + 1, NULL, 10);
    g_autofree char *token = g_strdup_printf("t%u", w->count);
    g_autoptr(GPtrArray) listed = server_lists(w, full, since);
    g_autoptr(GPtrArray) hrefs = caldav_sync_listing(&sync, listed, full);
    caldav_set(&w->state->token, token);
    for (guint i = 0; i < hrefs->len; i++) {
        if (chance(w, w->failure / 4))
            return FALSE;
        if (busy && chance(w, 0.05))
            grower_acts(w);
        fetch(w, &sync, hrefs->pdata[i]);
    }
    caldav_sync_settle(&sync);
    keep(w, edits);
    if (busy && chance(w, 0.2))
        return FALSE;
    g_array_unref(wanted);
    wanted = wanted_of(w);
    sync.wanted = wanted;
    g_autoptr(GPtrArray) actions = caldav_sync_actions(&sync);
    keep(w, edits);
    for (guint i = 0; i < actions->len; i++) {
        CaldavAction *action = actions->pdata[i];
        actions->pdata[i] = NULL;
        if (!act(w, &sync, action, busy))
            return FALSE;
    }
    keep(w, edits);
    return TRUE;
}

/* A round that breaks off goes on from what was kept. */
static void round_or_restart(World *w, gboolean busy)
{
    w->now += 60;
    if (one_round(w, busy))
        return;
    caldav_state_free(w->state);
    w->state = caldav_state_read(w->kept, NULL);
    assert_non_null(w->state);
}

/* ---- the judgement ---- */

static void check_event(World *w, const Plan *plan, const CalendarObject *there)
{
    gboolean gone = plan->deleted || (plan->event->cancelled && !plan->marked);
    if (plan->marked && !plan->deleted && !plan->event->cancelled) {
        assert_non_null(there); /* it stays as the grower marked it */
        assert_true(there->cancelled);
        return;
    }
    if (gone || plan->event->cancelled) {
        assert_null(there);
        return;
    }
    if (plan->event->end_utc <= w->now)
        return;
    assert_non_null(there);
    assert_int_equal(there->start_utc, plan->event->start_utc);
    assert_int_equal(there->end_utc, plan->event->end_utc);
    if (plan->grower_start != 0) /* moved, and back before anybody saw it */
        assert_int_equal(there->start_utc, plan->grower_start);
    assert_non_null(strstr(there->description, plan->event->description));
    /* Each line of the grower's is there once, and was told of once. */
    for (int i = 0; i < plan->lines; i++) {
        g_autofree char *line = g_strdup_printf(" %d done\n", i);
        g_autofree char *text = g_strdup_printf("%s\n", there->description);
        if (g_strstr_len(text, -1, line) == NULL)
            fail_msg("line %d of the grower's is lost: %s", i, text);
    }
    if (plan->lines_told != plan->lines)
        fail_msg("told %d of %d: %s", plan->lines_told, plan->lines, there->description);
    assert_int_equal(there->alarm_minutes->len, plan->event->alarms->len);
}

static void judge(World *w)
{
    for (guint i = 0; i < w->plans->len; i++) {
        const Plan *plan = w->plans->pdata[i];
        g_autoptr(CalendarObject) found = NULL;
        for (guint j = 0; j < w->there->len; j++) {
            const There *there = w->there->pdata[j];
            g_autoptr(CalendarObject) read = calendar_object_read(there->text, -1, w->zone, NULL);
            assert_non_null(read);
            if (strcmp(read->uid, plan->event->uid) != 0)
                continue;
            assert_null(found); /* no event twice */
            found = g_steal_pointer(&read);
        }
        check_event(w, plan, found);
    }
}

static void one_world(guint32 seed)
{
    World w = {
        .rand = g_rand_new_with_seed(seed),
        .there = g_ptr_array_new_with_free_func(there_free),
        .gone = g_ptr_array_new_with_free_func(there_free),
        .plans = g_ptr_array_new_with_free_func(plan_free),
        .inbox = caldav_edits_new(),
        .state = caldav_state_new(),
        .zone = g_time_zone_new_identifier("Europe/London"),
        .now = START_UTC - 86400,
        .collection = TRUE,
    };
    w.tags = "sssswn"[g_rand_int_range(w.rand, 0, 6)];
    w.refuses_tokens = chance(&w, 0.3);
    w.failure = chance(&w, 0.7) ? 0.15 : 0;
    caldav_set(&w.state->collection, COLLECTION);
    w.kept = caldav_state_write(w.state);
    for (int i = 0; i < 40; i++) {
        for (int n = g_rand_int_range(w.rand, 0, 4); n > 0; n--)
            plan_acts(&w);
        for (int n = g_rand_int_range(w.rand, 0, 3); n > 0; n--)
            grower_acts(&w);
        read_inbox(&w, 0.6);
        round_or_restart(&w, w.tags == 's');
    }
    w.failure = 0;
    for (int i = 0; i < ROUNDS_QUIET; i++) {
        read_inbox(&w, 1);
        round_or_restart(&w, FALSE);
    }
    guint writes = w.writes;
    round_or_restart(&w, FALSE);
    assert_int_equal(w.writes, writes); /* nothing bounces */
    judge(&w);
    g_ptr_array_unref(w.there);
    g_ptr_array_unref(w.gone);
    g_ptr_array_unref(w.plans);
    g_ptr_array_unref(w.inbox);
    caldav_state_free(w.state);
    g_free(w.kept);
    g_time_zone_unref(w.zone);
    g_rand_free(w.rand);
}

static void test_both_sides_agree(void **state)
{
    (void)state;
    const char *given = g_getenv("THOLE_TEST_SEED"), *rounds = g_getenv("THOLE_TEST_ROUNDS");
    guint32 first = given != NULL ? (guint32)strtoul(given, NULL, 10) : g_random_int();
    int n = given != NULL ? 1 : rounds != NULL ? atoi(rounds) : 30;
    for (int i = 0; i < n; i++) {
        printf("# THOLE_TEST_SEED=%u\n", first + (guint32)i);
        fflush(stdout);
        one_world(first + (guint32)i);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_both_sides_agree)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}

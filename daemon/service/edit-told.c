/* SPDX-License-Identifier: MIT */
#include "service/edit-told.h"

#include <string.h>

#include "base/log.h"
#include "calendar/event.h"
#include "service/wishes.h"

#define TOLD_S                                                                                     \
    (8 * 86400)              /* answers are looked for so far back: no event stands longer; chosen \
                              */
#define NOTICE_S (2 * 86400) /* refusals are told so long; chosen */

/* None where the store fails, which is logged. */
static GArray *load_wishes(const Service *s)
{
    g_autoptr(GError) error = NULL;
    GArray *wishes = NULL;

    if (!store_load_wishes(s->store, s->garden, clock_now(s->clk) - TOLD_S, &wishes, &error)) {
        log_warning("edits", NULL, "the record cannot be read: %s", error->message);
        wishes = g_array_new(FALSE, FALSE, sizeof(StoreWish));
    }
    return wishes;
}

static GArray *load_answers(const Service *s, int64_t from_utc)
{
    g_autoptr(GError) error = NULL;
    GArray *answers = NULL;

    if (!store_load_answers(s->store, from_utc, &answers, &error)) {
        log_warning("edits", NULL, "the record cannot be read: %s", error->message);
        answers = g_array_new(FALSE, FALSE, sizeof(StoreAnswer));
    }
    return answers;
}

static void add_answers(const GArray *answers, const char *uid, GString *text)
{
    gboolean any = FALSE;

    for (guint i = 0; i < answers->len; i++) {
        const StoreAnswer *answer = &g_array_index(answers, StoreAnswer, i);
        if (!g_str_equal(answer->uid, uid))
            continue;
        g_string_append_printf(text, "%s\n%s", any ? "" : "\n" WORDING_YOU_SAID, answer->text);
        any = TRUE;
    }
}

static const EventMemory *event_of(const Service *s, const char *visit_id)
{
    for (guint i = 0; i < s->memory->len; i++) {
        const EventMemory *event = s->memory->pdata[i];
        if (g_str_equal(event->visit_id, visit_id))
            return event;
    }
    return NULL;
}

/* Whether no visit to the site lies between one that was left out and this one. */
static gboolean is_next_after(const Service *s, const StoreWish *wish, const Visit *visit)
{
    if (wish->kind != STORE_WISH_DROPPED || wish->site != visit->site ||
        wish->start_utc >= visit->start_utc)
        return FALSE;
    for (guint i = 0; i < s->visits->len; i++) {
        const Visit *other = &((const OpenVisit *)s->visits->pdata[i])->visit;
        if (other->site == visit->site && other->start_utc > wish->start_utc &&
            other->start_utc < visit->start_utc)
            return FALSE;
    }
    return TRUE;
}

char *edits_described(const Service *s, const Visit *visit, char *description)
{
    const WordingContext words = service_wording(s);
    g_autoptr(GArray) wishes = load_wishes(s),
                      answers = load_answers(s, clock_now(s->clk) - TOLD_S);
    GString *text = g_string_new(description);
    const EventMemory *event = event_of(s, visit->id);

    g_free(description);
    for (guint i = 0; i < wishes->len; i++) {
        const StoreWish *wish = &g_array_index(wishes, StoreWish, i);
        g_autofree char *line = NULL;
        if (wish->kind == STORE_WISH_FIXED && visit->fixed && wish->site == visit->site &&
            wish->grower == visit->grower && wish->start_utc == visit->start_utc)
            line = wording_edit_fixed(wish->cost);
        else if (is_next_after(s, wish, visit))
            line = wording_edit_dropped(&words, wish->site, wish->start_utc, wish->cost);
        if (line != NULL)
            g_string_append_printf(text, "\n%s", line);
    }
    if (event != NULL)
        add_answers(answers, event->uid, text);
    return g_string_free(text, FALSE);
}

/* ---- events whose visit is not to come any more ---- */

static gboolean is_wanted(const GPtrArray *wanted, const char *visit_id)
{
    for (guint i = 0; i < wanted->len; i++) {
        const EventWanted *event = wanted->pdata[i];
        if (g_str_equal(event->visit_id, visit_id))
            return TRUE;
    }
    return FALSE;
}

static gboolean has_answer(const GArray *answers, const char *uid)
{
    for (guint i = 0; i < answers->len; i++) {
        if (g_str_equal(g_array_index(answers, StoreAnswer, i).uid, uid))
            return TRUE;
    }
    return FALSE;
}

/* As it is, and what was answered below the plan's own words. */
static EventWanted *as_published(const EventMemory *event, const GArray *answers)
{
    EventWanted *wanted = event_wanted_new();
    const char *said = strstr(event->description, "\n" WORDING_YOU_SAID "\n");
    g_autoptr(GString) text =
        g_string_new_len(event->description, said != NULL ? said - event->description : -1);

    add_answers(answers, event->uid, text);
    wanted->visit_id = g_strdup(event->visit_id);
    wanted->start_utc = event->start_utc;
    wanted->end_utc = event->end_utc;
    wanted->day_end_utc = event->day_end_utc;
    wanted->summary = g_strdup(event->summary);
    wanted->location = g_strdup(event->location);
    wanted->description = g_strdup(text->str);
    wanted->categories = g_strdupv(event->categories);
    wanted->substance = g_strdup(event->substance);
    wanted->answers = TRUE;
    wanted->alarms = event_alarms_new();
    for (guint i = 0; i < event->alarms->len; i++) {
        const EventAlarm *alarm = &g_array_index(event->alarms, EventAlarm, i);
        event_alarms_add(wanted->alarms, alarm->minutes_before, alarm->urgent, alarm->text);
    }
    return wanted;
}

void edits_add_answered(const Service *s, GPtrArray *wanted)
{
    const int64_t now_utc = clock_now(s->clk);
    g_autoptr(GArray) answers = load_answers(s, now_utc - TOLD_S);

    for (guint i = 0; i < s->memory->len && answers->len > 0; i++) {
        const EventMemory *event = s->memory->pdata[i];
        if (!event->ended && !event->cancelled && event->start_utc <= now_utc &&
            has_answer(answers, event->uid) && !is_wanted(wanted, event->visit_id))
            g_ptr_array_add(wanted, as_published(event, answers));
    }
}

/* ---- told by tholectl ---- */

GPtrArray *edits_notices(const Service *s)
{
    const WordingContext words = service_wording(s);
    const int64_t now_utc = clock_now(s->clk);
    g_autoptr(GArray) wishes = load_wishes(s), answers = load_answers(s, now_utc - NOTICE_S);
    GPtrArray *notices = g_ptr_array_new_with_free_func(g_free);

    for (guint i = 0; i < answers->len; i++) {
        const StoreAnswer *answer = &g_array_index(answers, StoreAnswer, i);
        if (answer->refused)
            g_ptr_array_add(notices, g_strdup_printf("In the calendar. %s", answer->text));
    }
    for (guint i = 0; i < wishes->len; i++) {
        const StoreWish *wish = &g_array_index(wishes, StoreWish, i);
        if (wish->kind == STORE_WISH_DROPPED && wish->site >= 0 && wish->start_utc > now_utc)
            g_ptr_array_add(notices,
                            wording_edit_dropped(&words, wish->site, wish->start_utc, wish->cost));
    }
    return notices;
}

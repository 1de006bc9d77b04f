/* SPDX-License-Identifier: MIT */
#include "base/clock-private.h"

typedef struct Alarm {
    guint id;
    int64_t at_utc;
    ClockCall call;
} Alarm;

static int alarm_compare(gconstpointer a, gconstpointer b)
{
    const Alarm *left = a;
    const Alarm *right = b;

    if (left->at_utc != right->at_utc)
        return left->at_utc < right->at_utc ? -1 : 1;
    return left->id < right->id ? -1 : left->id > right->id;
}

int64_t clock_now(const Clock *clk)
{
    return clk->class->now(clk);
}

guint clock_add_alarm(Clock *clk, int64_t at_utc, ClockFunc fn, gpointer data)
{
    Alarm *alarm = g_new(Alarm, 1);

    *alarm = (Alarm){.id = ++clk->last_id, .at_utc = at_utc, .call = {fn, data}};
    clk->alarms = g_list_insert_sorted(clk->alarms, alarm, alarm_compare);
    clk->class->alarms_changed(clk);
    return alarm->id;
}

void clock_remove_alarm(Clock *clk, guint id)
{
    for (GList *link = clk->alarms; link; link = link->next) {
        Alarm *alarm = link->data;

        if (alarm->id != id)
            continue;
        clk->alarms = g_list_delete_link(clk->alarms, link);
        g_free(alarm);
        clk->class->alarms_changed(clk);
        return;
    }
}

void clock_set_jumped(Clock *clk, ClockJumpFunc fn, gpointer data)
{
    clk->jumped = fn;
    clk->jumped_data = data;
}

static void clock_unref(Clock *clk)
{
    if (g_atomic_ref_count_dec(&clk->refs))
        g_free(clk);
}

void clock_hold(Clock *clk)
{
    g_atomic_ref_count_inc(&clk->refs);
    g_atomic_int_inc(&clk->holds);
}

void clock_release(Clock *clk)
{
    g_return_if_fail(g_atomic_int_get(&clk->holds) > 0);
    g_atomic_int_add(&clk->holds, -1);
    clock_unref(clk);
}

void clock_free(Clock *clk)
{
    if (!clk)
        return;
    g_list_free_full(g_steal_pointer(&clk->alarms), g_free);
    clk->class->close(clk);
    clock_unref(clk);
}

gboolean clock_first_alarm(const Clock *clk, int64_t *ret_at_utc)
{
    if (!clk->alarms)
        return FALSE;
    *ret_at_utc = ((const Alarm *)clk->alarms->data)->at_utc;
    return TRUE;
}

gboolean clock_take_due(Clock *clk, int64_t now_utc, ClockCall *ret_call)
{
    int64_t at_utc;

    if (!clock_first_alarm(clk, &at_utc) || at_utc > now_utc)
        return FALSE;

    g_autofree Alarm *alarm = clk->alarms->data;
    clk->alarms = g_list_delete_link(clk->alarms, clk->alarms);
    *ret_call = alarm->call;
    return TRUE;
}

void clock_tell_jump(const Clock *clk, int64_t from_utc, int64_t to_utc)
{
    if (clk->jumped)
        clk->jumped(from_utc, to_utc, clk->jumped_data);
}

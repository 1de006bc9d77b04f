/* SPDX-License-Identifier: MIT */
#include "service/making.h"

#include "service/ahead.h"
#include "service/edit-cost.h"

struct MakingThread {
    Clock *clk; /* (unowned) held */
    MakingGate gate;
    MakingFunc fn;
    gpointer data;
    atomic_bool stop;
    GThread *thread;  /* NULL: joined */
    GSource *arrived; /* (owned) attached by the thread when it has done */
    GMainContext *context;
};

static gpointer work(gpointer data)
{
    Making *m = data;
    struct MakingThread *t = m->thread;

    if (t->gate.fn != NULL)
        t->gate.fn(t->gate.data);
    m->made = situation_plan(m->situation, &m->arena, &m->plan);
    if (m->made) {
        m->ahead = ahead_new(&m->situation->snapshot,
                             (GTimeZone *const *)m->situation->zones->pdata, &m->plan);
        m->costs = edit_costs(m->situation, &m->plan, &t->stop);
    }
    g_source_attach(t->arrived, t->context);
    return NULL;
}

static gboolean arrived(gpointer data)
{
    Making *m = data;

    making_join(m);
    m->thread->fn(m, m->thread->data);
    return G_SOURCE_REMOVE;
}

Making *making_start(Clock *clk, Situation *situation, gsize arena_size, const MakingGate *gate,
                     MakingFunc fn, gpointer data)
{
    Making *m = g_new0(Making, 1);
    struct MakingThread *t = m->thread = g_new0(struct MakingThread, 1);

    m->situation = situation;
    m->arena.size = arena_size;
    m->arena.stop = &t->stop;
    *t = (struct MakingThread){.clk = clk, .gate = *gate, .fn = fn, .data = data};
    t->context = g_main_context_ref_thread_default();
    t->arrived = g_idle_source_new();
    g_source_set_priority(t->arrived, G_PRIORITY_DEFAULT);
    g_source_set_callback(t->arrived, arrived, m, NULL);
    clock_hold(clk);
    t->thread = g_thread_new("plan", work, m);
    return m;
}

void making_stop(Making *m)
{
    atomic_store(&m->thread->stop, true);
}

void making_join(Making *m)
{
    if (m->thread->thread == NULL)
        return;
    g_thread_join(g_steal_pointer(&m->thread->thread));
    g_source_destroy(m->thread->arrived);
    m->arena.stop = NULL;
}

void making_free(Making *m)
{
    if (m == NULL)
        return;
    making_stop(m);
    making_join(m);
    situation_free(m->situation);
    g_clear_pointer(&m->ahead, g_ptr_array_unref);
    g_clear_pointer(&m->costs, g_array_unref);
    g_free(m->arena.base);
    clock_release(m->thread->clk);
    g_source_unref(m->thread->arrived);
    g_main_context_unref(m->thread->context);
    g_free(m->thread);
    g_free(m);
}

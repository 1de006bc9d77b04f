/* SPDX-License-Identifier: MIT */
#include "notify/due.h"

NoticeWanted *notice_wanted_new(const char *key, int64_t due_utc, int64_t last_utc)
{
    NoticeWanted *wanted = g_new0(NoticeWanted, 1);
    wanted->key = g_strdup(key);
    wanted->due_utc = due_utc;
    wanted->last_utc = last_utc;
    return wanted;
}

void notice_wanted_free(NoticeWanted *wanted)
{
    if (wanted == NULL)
        return;
    g_free(wanted->key);
    g_free(wanted->summary);
    g_free(wanted->body);
    g_free(wanted->sense);
    g_free(wanted->visit_id);
    g_free(wanted);
}

NoticeMemory *notice_memory_new(const char *key)
{
    NoticeMemory *memory = g_new0(NoticeMemory, 1);
    memory->key = g_strdup(key);
    return memory;
}

void notice_memory_free(NoticeMemory *memory)
{
    if (memory == NULL)
        return;
    g_free(memory->key);
    g_free(memory->sense);
    g_free(memory->visit_id);
    g_free(memory);
}

NoticeMemory *notices_find(const GPtrArray *memory, const char *key)
{
    for (guint i = 0; i < memory->len; i++) {
        NoticeMemory *m = memory->pdata[i];
        if (g_str_equal(m->key, key))
            return m;
    }
    return NULL;
}

int64_t notices_retry_utc(int tries, int64_t now_utc)
{
    int64_t wait_s = NOTICE_RETRY_S;
    for (int i = 1; i < tries && wait_s < NOTICE_RETRY_MOST_S; i++)
        wait_s *= 2;
    return now_utc + MIN(wait_s, NOTICE_RETRY_MOST_S);
}

static gboolean is_due(const NoticeWanted *w, int64_t now_utc)
{
    return w->due_utc <= now_utc && now_utc <= w->last_utc;
}

/* The clock may have been put back: then nobody waits longer than was agreed. */
static gboolean later_has_come(const NoticeMemory *m, int64_t now_utc)
{
    return m->again_utc <= now_utc || m->again_utc > now_utc + NOTICE_LATER_S;
}

/* What becomes of an alarm that is wanted and known. TRUE: something. */
static gboolean decide_known(const NoticeWanted *w, const NoticeMemory *m, int64_t now_utc,
                             NoticeActKind *ret_kind)
{
    const gboolean is_later_one = !w->once && w->due_utc > m->due_utc;
    *ret_kind = NOTICE_SHOW;
    switch (m->state) {
    case NOTICE_WAITING:
        /* Moved to later, not shown then, and moved back to a time that it was shown for. */
        if (m->shown_utc != 0 && w->due_utc <= m->shown_utc)
            return FALSE;
        if (now_utc > w->last_utc)
            *ret_kind = NOTICE_LET_GO;
        return now_utc > w->last_utc || (w->due_utc <= now_utc && m->retry_utc <= now_utc);
    case NOTICE_HANDED:
        /* Whoever handed it over is gone with what it knew: harm is worse than seeing it twice. */
        if (!m->this_run && w->critical)
            return is_due(w, now_utc);
        return is_later_one && !m->this_run && is_due(w, now_utc);
    case NOTICE_LATER:
        if (now_utc <= w->last_utc)
            return later_has_come(m, now_utc);
        *ret_kind = NOTICE_SAID;
        return TRUE;
    case NOTICE_SHOWN:
    case NOTICE_ANSWERED:
    case NOTICE_MISSED:
        if (is_later_one && is_due(w, now_utc))
            return TRUE;
        *ret_kind = NOTICE_REPLACE;
        return m->open && g_strcmp0(m->sense, w->sense) != 0;
    }
    return FALSE;
}

static void add(GArray *acts, NoticeActKind kind, const NoticeWanted *wanted, NoticeMemory *memory)
{
    const NoticeAct act = {kind, wanted, memory};
    g_array_append_val(acts, act);
}

static gboolean is_wanted(const GPtrArray *wanted, const char *key)
{
    for (guint i = 0; i < wanted->len; i++)
        if (g_str_equal(((const NoticeWanted *)wanted->pdata[i])->key, key))
            return TRUE;
    return FALSE;
}

GArray *notices_decide(const GPtrArray *wanted, const GPtrArray *memory, int64_t now_utc)
{
    GArray *acts = g_array_new(FALSE, FALSE, sizeof(NoticeAct));
    for (guint i = 0; i < wanted->len; i++) {
        const NoticeWanted *w = wanted->pdata[i];
        NoticeMemory *m = notices_find(memory, w->key);
        NoticeActKind kind = NOTICE_SHOW;
        if (m == NULL ? is_due(w, now_utc) : decide_known(w, m, now_utc, &kind))
            add(acts, kind, w, m);
    }
    for (guint i = 0; i < memory->len; i++) {
        NoticeMemory *m = memory->pdata[i];
        if (is_wanted(wanted, m->key))
            continue;
        if (m->open)
            add(acts, NOTICE_CLOSE, NULL, m);
        else if (m->state == NOTICE_WAITING)
            add(acts, NOTICE_LET_GO, NULL, m);
        else if (m->state == NOTICE_LATER)
            add(acts, NOTICE_SAID, NULL, m);
    }
    return acts;
}

static void sooner(int64_t utc, int64_t now_utc, int64_t *ret_next_utc)
{
    if (utc > now_utc && utc != INT64_MAX && (*ret_next_utc == 0 || utc < *ret_next_utc))
        *ret_next_utc = utc;
}

int64_t notices_next_utc(const GPtrArray *wanted, const GPtrArray *memory, int64_t now_utc)
{
    int64_t next_utc = 0;
    for (guint i = 0; i < wanted->len; i++) {
        const NoticeWanted *w = wanted->pdata[i];
        const NoticeMemory *m = notices_find(memory, w->key);
        sooner(w->due_utc, now_utc, &next_utc);
        if (m == NULL)
            continue;
        if (m->state == NOTICE_WAITING)
            sooner(m->retry_utc, now_utc, &next_utc);
        if (m->state == NOTICE_LATER)
            sooner(m->again_utc, now_utc, &next_utc);
        if (m->state == NOTICE_WAITING || m->state == NOTICE_LATER)
            sooner(w->last_utc + 1, now_utc, &next_utc);
    }
    return next_utc;
}

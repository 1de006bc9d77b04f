/* SPDX-License-Identifier: MIT */
#include "service/beside.h"

#include "base/error.h"

#define LATE_S 20 /* one is waited for so long, below WIRE_IDLE_S; chosen */

typedef struct Item {
    Beside *beside;
    BesideAsked asked;
    guint late; /* alarm */
} Item;

struct Beside {
    Service *service;
    const MakingGate *gate;
    GQueue waiting;  /* (owned) (element-type Item) the first is the one in the making */
    Making *making;  /* (owned) (nullable) */
    gboolean of_use; /* nothing has changed since it began, and somebody waits for it */
};

static void item_free(gpointer data)
{
    Item *item = data;

    clock_remove_alarm(item->beside->service->clk, item->late);
    if (item->asked.destroy != NULL)
        item->asked.destroy(item->asked.data);
    g_free(item);
}

/* It is answered, and of no concern any more. */
static void finish(Item *item, const Making *making, const GError *error)
{
    g_queue_remove(&item->beside->waiting, item);
    item->asked.done(item->asked.data, making, error);
    item_free(item);
}

static void too_late(gpointer data)
{
    Item *item = data;
    Beside *b = item->beside;
    g_autoptr(GError) error =
        g_error_new(THOLE_ERROR, THOLE_ERROR_CONFLICT,
                    "it could not be reckoned within %d s, as other plans were made; ask again in "
                    "a moment",
                    LATE_S);

    item->late = 0;
    if (item == g_queue_peek_head(&b->waiting))
        beside_interrupt(b);
    finish(item, NULL, error);
    beside_go_on(b);
}

static void arrived(Making *making, gpointer data)
{
    Beside *b = data;
    g_autoptr(GError) error = NULL;
    const gboolean of_use = b->of_use;

    b->making = NULL;
    b->of_use = FALSE;
    if (of_use && !making->made)
        situation_refuse(making->situation->snapshot.n_batches, &error);
    if (of_use)
        finish(g_queue_peek_head(&b->waiting), making->made ? making : NULL, error);
    making_free(making);
    beside_go_on(b);
}

void beside_go_on(Beside *b)
{
    Item *item;

    while (b->making == NULL && b->service->plan_trigger == NULL &&
           (item = g_queue_peek_head(&b->waiting)) != NULL) {
        g_autoptr(GError) error = NULL;
        Situation *situation = item->asked.look(item->asked.data, &error);
        if (situation == NULL) {
            finish(item, NULL, error);
            continue;
        }
        b->making = making_start(b->service->clk, situation, 0, b->gate, arrived, b);
        b->of_use = TRUE;
    }
}

void beside_interrupt(Beside *b)
{
    if (b->making == NULL)
        return;
    b->of_use = FALSE;
    making_stop(b->making);
}

gboolean beside_is_full(Beside *b, GError **error)
{
    if (g_queue_get_length(&b->waiting) < BESIDE_MOST)
        return FALSE;
    g_set_error(error, THOLE_ERROR, THOLE_ERROR_CONFLICT,
                "%d others are being reckoned, one after the other; ask again in a moment",
                BESIDE_MOST);
    return TRUE;
}

void beside_ask(Beside *b, const BesideAsked *asked)
{
    Clock *clk = b->service->clk;
    Item *item = g_new0(Item, 1);

    *item = (Item){.beside = b, .asked = *asked};
    item->late = clock_add_alarm(clk, clock_now(clk) + LATE_S, too_late, item);
    g_queue_push_tail(&b->waiting, item);
    beside_go_on(b);
}

Beside *beside_new(Service *service, const MakingGate *gate)
{
    Beside *b = g_new0(Beside, 1);

    b->service = service;
    b->gate = gate;
    g_queue_init(&b->waiting);
    return b;
}

void beside_free(Beside *b)
{
    making_free(b->making);
    g_queue_clear_full(&b->waiting, item_free);
    g_free(b);
}

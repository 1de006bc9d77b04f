/* SPDX-License-Identifier: MIT */
#include "service/outlets.h"

#include <string.h>

#include "base/error.h"
#include "base/log.h"
#include "calendar/event.h"
#include "service/edits.h"
#include "service/event-text.h"
#include "service/outlet-private.h"
#include "service/post.h"
#include "service/wording-outlet.h"

#define FORGOTTEN_S (60 * 86400) /* after its day, an event is told to nobody; chosen */
#define LONG_S (25 * 3600)       /* without a delivery: a problem; a plan is made each midnight */

struct Outlets {
    Service *service;
    GPtrArray *all; /* (owned) (element-type Outlet) in the order of thole.conf */
};

void outlet_want(Outlet *o)
{
    const Service *s = o->service;
    const int64_t since_utc = clock_now(s->clk) - FORGOTTEN_S;
    g_autoptr(GPtrArray) events = g_ptr_array_new();
    g_autoptr(GArray) seen = g_array_new(FALSE, FALSE, sizeof(guint));
    if (o->it == NULL)
        return;
    for (guint i = 0; i < s->memory->len; i++) {
        EventMemory *event = g_ptr_array_index(s->memory, i);
        if (event->day_end_utc < since_utc || !event_text_is_for(s, event, o->setup.grower))
            continue;
        const guint edits = outlet_edits_seen(o, event->uid);
        g_ptr_array_add(events, event);
        g_array_append_val(seen, edits);
    }
    o->told = TRUE;
    o->way->want(o->it, events, (const guint *)(gconstpointer)seen->data);
}

/* ---- the store ---- */

static gboolean keep(Outlet *o, const GPtrArray *edits, GError **error)
{
    return store_begin(o->service->store, error) &&
           store_put_outlet(o->service->store, &o->row, error) &&
           (edits == NULL || edits->len == 0 || outlet_edits_take(o, edits, error)) &&
           store_commit(o->service->store, error);
}

gboolean outlet_keep(Outlet *o, const GPtrArray *edits, GError **error)
{
    if (keep(o, edits, error))
        return TRUE;
    store_rollback(o->service->store);
    if (edits != NULL && edits->len > 0)
        edits_undo(o->service);
    g_autoptr(GError) ignored = NULL;
    if (!outlet_edits_load(o, &ignored))
        log_warning("calendar", o->setup.name, "%s, ignoring", ignored->message);
    return FALSE;
}

void outlet_ended(Outlet *o, const GError *error)
{
    g_autoptr(GError) failed = NULL;
    const char *problem = error != NULL ? error->message : "";
    g_free(o->row.problem);
    o->row.problem = g_strdup(problem);
    o->row.refused = g_error_matches(error, THOLE_ERROR, THOLE_ERROR_CONFLICT);
    o->row.tried_utc = clock_now(o->service->clk);
    o->row.pending = (int)o->way->pending(o->it);
    if (error != NULL && g_strcmp0(o->logged, problem) != 0)
        log_warning("calendar", o->setup.name, "not delivered: %s", problem);
    else if (error == NULL && o->logged != NULL)
        log_info("calendar", o->setup.name, "delivered again");
    g_free(o->logged);
    o->logged = error != NULL ? g_strdup(problem) : NULL;
    if (!outlet_keep(o, NULL, &failed))
        log_warning("calendar", o->setup.name, "%s, ignoring", failed->message);
    post_look(o->service->post); /* a phone knows more now, or less */
}

/* ---- one outlet ---- */

guint32 outlet_seed(const Outlet *o)
{
    return g_str_hash(o->setup.name) ^ (guint32)clock_now(o->service->clk);
}

GTimeZone *outlet_zone(const Outlet *o)
{
    const int grower = MAX(o->setup.grower, 0);
    return o->service->zones[o->service->garden->growers[grower].home_site];
}

static const OutletWay *way_of(OutletKind kind)
{
    switch (kind) {
    case OUTLET_SERVER:
        return &outlet_server;
    case OUTLET_FOLDER:
        return &outlet_folder;
    case OUTLET_FILE:
        return &outlet_file;
    }
    g_assert_not_reached();
}

static void outlet_free(gpointer data)
{
    Outlet *o = data;
    if (o->it != NULL)
        o->way->close(o->it);
    store_outlet_clear(&o->row);
    g_array_unref(o->edits);
    g_free(o->logged);
    g_free(o->found);
    g_free(o);
}

/* Two would write the same file by turns. */
static gboolean is_the_one_file(const Outlet *o)
{
    const char *path = o->service->options.calendar_path;
    g_autofree char *whole = path != NULL ? g_canonicalize_filename(path, NULL) : NULL;
    return o->setup.kind == OUTLET_FILE && g_strcmp0(whole, o->setup.path) == 0;
}

static gboolean load(Outlet *o, GError **error)
{
    if (!store_get_outlet(o->service->store, o->setup.name, &o->row, error) ||
        !outlet_edits_load(o, error))
        return FALSE;
    if (strcmp(o->row.kind, o->way->word) != 0) {
        /* Of another kind: what that remembered is of no use to this one. */
        store_outlet_clear(&o->row);
        o->row = (StoreOutlet){.state = g_strdup(""), .problem = g_strdup("")};
        g_strlcpy(o->row.name, o->setup.name, sizeof o->row.name);
        g_strlcpy(o->row.kind, o->way->word, sizeof o->row.kind);
    }
    return TRUE;
}

static Outlet *outlet_new(Service *s, const OutletSetup *setup)
{
    Outlet *o = g_new0(Outlet, 1);
    g_autoptr(GError) error = NULL;
    o->service = s;
    o->setup = *setup;
    o->way = way_of(setup->kind);
    o->edits = g_array_new(FALSE, FALSE, sizeof(StoreOutletEdit));
    g_array_set_clear_func(o->edits, (GDestroyNotify)store_outlet_edit_clear);
    if (!load(o, &error)) {
        o->row.state = g_strdup("");
    } else if (is_the_one_file(o)) {
        g_set_error(&error, THOLE_ERROR, THOLE_ERROR_CONFLICT,
                    "%s is the file that tholed writes for everybody (--calendar); name another "
                    "one",
                    o->setup.path);
    } else if (s->options.outlets) {
        o->it = o->way->open(o, &error);
    }
    if (error != NULL) {
        g_free(o->row.problem);
        o->row.problem = g_strdup(error->message);
        log_warning("calendar", setup->name, "it is not kept: %s", error->message);
    }
    return o;
}

const Outlet *outlet_before(const Outlet *o)
{
    const Outlets *outlets = o->service->outlets;
    for (guint i = 0; o->found != NULL && i < outlets->all->len; i++) {
        const Outlet *other = g_ptr_array_index(outlets->all, i);
        if (other == o)
            break;
        if (g_strcmp0(other->found, o->found) == 0)
            return other;
    }
    return NULL;
}

/* ---- all of them ---- */

static gboolean same_setup(const OutletSetup *a, const OutletSetup *b)
{
    return a->kind == b->kind && a->grower == b->grower && a->poll_min == b->poll_min &&
           strcmp(a->name, b->name) == 0 && strcmp(a->title, b->title) == 0 &&
           strcmp(a->path, b->path) == 0 && strcmp(a->address, b->address) == 0 &&
           strcmp(a->user, b->user) == 0 && strcmp(a->secret, b->secret) == 0 &&
           strcmp(a->colour, b->colour) == 0;
}

/* One that goes on as it is, out of ALL. */
static Outlet *take_same(GPtrArray *all, const OutletSetup *setup)
{
    for (guint i = 0; i < all->len; i++) {
        const Outlet *o = g_ptr_array_index(all, i);
        if (o->it != NULL && same_setup(&o->setup, setup))
            return g_ptr_array_steal_index(all, i);
    }
    return NULL;
}

void outlets_reload(Outlets *outlets)
{
    Service *s = outlets->service;
    g_autoptr(GPtrArray) before = outlets->all;
    outlets->all = g_ptr_array_new_with_free_func(outlet_free);
    for (int i = 0; i < s->garden->n_outlets; i++) {
        const OutletSetup *setup = &s->garden->outlets[i];
        Outlet *o = take_same(before, setup);
        if (o == NULL)
            o = outlet_new(s, setup);
        else if (o->told && o->row.failures > 0)
            o->way->now(o->it);
        g_ptr_array_add(outlets->all, o);
    }
}

Outlets *outlets_new(Service *s)
{
    Outlets *outlets = g_new0(Outlets, 1);
    outlets->service = s;
    outlets->all = g_ptr_array_new_with_free_func(outlet_free);
    outlets_reload(outlets);
    return outlets;
}

void outlets_free(Outlets *outlets)
{
    if (outlets == NULL)
        return;
    g_ptr_array_unref(outlets->all);
    g_free(outlets);
}

void outlets_want(Outlets *outlets)
{
    for (guint i = 0; outlets != NULL && i < outlets->all->len; i++)
        outlet_want(g_ptr_array_index(outlets->all, i));
}

void outlets_now(Outlets *outlets)
{
    for (guint i = 0; outlets != NULL && i < outlets->all->len; i++) {
        const Outlet *o = g_ptr_array_index(outlets->all, i);
        if (o->it != NULL && o->told)
            o->way->now(o->it);
    }
}

/* ---- showing ---- */

guint outlets_count(const Outlets *outlets)
{
    return outlets != NULL ? outlets->all->len : 0;
}

OutletView outlets_view(const Outlets *outlets, guint i)
{
    const Outlet *o = g_ptr_array_index(outlets->all, i);
    return (OutletView){
        .setup = &o->setup,
        .row = &o->row,
        .edits = o->edits,
        .kept = o->it != NULL,
        .rehearsal = !o->service->options.outlets,
        .pending = o->told && o->it != NULL ? o->way->pending(o->it) : (guint)o->row.pending,
        .next_utc = o->it != NULL ? o->way->next_utc(o->it) : 0,
    };
}

int64_t outlets_down_s(const Outlets *outlets, int grower)
{
    int64_t down_s = 0;

    for (guint i = 0; i < outlets_count(outlets); i++) {
        const Outlet *o = g_ptr_array_index(outlets->all, i);
        if (o->setup.kind != OUTLET_SERVER || (o->setup.grower >= 0 && o->setup.grower != grower))
            continue;
        if (o->row.failures == 0)
            return 0;
        const int64_t since_s = MAX(1, clock_now(o->service->clk) - o->row.delivered_utc);
        down_s = down_s == 0 ? since_s : MIN(down_s, since_s);
    }
    return down_s;
}

char *outlets_words(const Outlets *outlets, guint i, int *ret_level)
{
    const OutletView view = outlets_view(outlets, i);
    const WordingContext words = service_wording(outlets->service);
    const gboolean failing = view.row->problem[0] != '\0';
    const gboolean late = words.now_utc - view.row->delivered_utc > LONG_S;
    const WordingOutlet told = {.kind = view.setup->kind,
                                .rehearsal = view.rehearsal,
                                .kept = view.kept,
                                .problem = view.row->problem,
                                .refused = view.row->refused,
                                .secret = view.setup->secret,
                                .pending = view.pending,
                                .delivered_utc = view.row->delivered_utc,
                                .tried_utc = view.row->tried_utc,
                                .next_utc = view.next_utc};
    *ret_level = 0;
    if (!view.rehearsal && failing)
        *ret_level = !view.kept || view.row->refused || late ? 2 : 1;
    return wording_outlet(&words, &told);
}

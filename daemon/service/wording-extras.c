/* SPDX-License-Identifier: MIT */
/* Around the jobs of a description: what to take along, the numbers, the cautions. */
#include "service/wording-private.h"

#include <math.h>

static void add_list(GString *list, const char *item)
{
    g_string_append_printf(list, "%s%s", list->len > 0 ? ", " : "", item);
}

/* ---- what to take along ---- */

static bool carries_sheet(const WordingContext *context, const Job *job)
{
    if (wording_lays_sheet(context, job, true))
        return true;
    return job->kind == JOB_SET_COVER &&
           wording_cover_act(wording_place(context, job->place), job->position) == ACT_SHEET_ON;
}

/* Each sheet once, by its name. */
static bool is_sheet_of(const WordingContext *context, const Job *jobs, int at)
{
    for (int i = 0; i < at; i++) {
        if (carries_sheet(context, &jobs[i]) && jobs[i].place == jobs[at].place)
            return false;
    }
    return carries_sheet(context, &jobs[at]);
}

/* Whether the visit begins with a journey: at home what is needed is at hand. */
static bool is_journey(const WordingContext *context, const Visit *visit)
{
    const Garden *garden = context->garden;

    return visit != NULL && !visit->helped && visit->grower >= 0 &&
           visit->grower < garden->n_growers &&
           visit->site != garden->growers[visit->grower].home_site;
}

static void add_carried(const WordingContext *context, const Visit *visit, const Job *job,
                        GString *list, int *trays_there, int *trays_back)
{
    const Batch *batch = wording_batch(context, job->batch);
    const Place *from = wording_place(context, job->from_place),
                *to = wording_place(context, job->place);

    if ((job->kind != JOB_TRANSFER && job->kind != JOB_PLANT_OUT) || batch == NULL ||
        from == NULL || to == NULL || from->site == to->site)
        return;
    if (visit != NULL && visit->site == from->site) {
        *trays_back += MAX(batch->trays, 1);
        return;
    }
    g_autofree char *plants = wording_batch_words(context, job->batch);
    const int trays = MAX(batch->trays, 1);
    *trays_there += trays;
    g_autofree char *item =
        g_strdup_printf("%s in %d %s", plants, trays, trays == 1 ? "tray" : "trays");
    add_list(list, item);
}

/* " (7 trays in all, 2 trips)". */
static void add_trips(const WordingContext *context, const Visit *visit, int batches, int trays,
                      GString *list)
{
    const int most =
        is_journey(context, visit) ? context->garden->growers[visit->grower].trays_per_trip : 0;
    const int trips = most > 0 ? (trays + most - 1) / most : 1;
    g_autofree char *sum = batches > 1 ? g_strdup_printf("%d trays in all", trays) : g_strdup("");

    if (trips > 1)
        g_string_append_printf(list, " (%s%sin %d trips)", sum, batches > 1 ? ", " : "", trips);
    else if (batches > 1)
        g_string_append_printf(list, " (%s)", sum);
}

char *wording_take_along(const WordingContext *context, const Visit *visit, const Job *jobs,
                         int n_jobs)
{
    g_autoptr(GString) list = g_string_new(NULL);
    bool fleece = false, planting = false, saving = false, helping = false, shading = false;
    bool watering = false, guarding = false;
    int trays_there = 0, trays_back = 0, batches = 0;

    for (int i = 0; i < n_jobs; i++) {
        const int before = trays_there;
        add_carried(context, visit, &jobs[i], list, &trays_there, &trays_back);
        batches += trays_there > before;
    }
    add_trips(context, visit, batches, trays_there, list);
    for (int i = 0; i < n_jobs; i++) {
        watering = watering || (jobs[i].kind == JOB_WATER && is_journey(context, visit));
        planting = planting || jobs[i].kind == JOB_PLANT_OUT;
        guarding = guarding || wording_keeps_birds_off(context, &jobs[i]);
        const bool hot = jobs[i].reason.limit == LIMIT_HEAT;
        const bool cold = jobs[i].kind == JOB_RESCUE && !hot && jobs[i].reason.limit != LIMIT_WATER;
        saving = saving || (cold && jobs[i].urgent);
        helping = helping || cold;
        shading = shading || (jobs[i].kind == JOB_RESCUE && hot);
        if (is_sheet_of(context, jobs, i)) {
            g_autofree char *sheet =
                wording_sheet_words(wording_place(context, jobs[i].place), true);
            add_list(list, sheet);
            fleece = true;
        }
    }
    if (saving)
        add_list(list, fleece ? "a second layer of fleece" : "all the fleece you have");
    else if (helping)
        add_list(list, fleece ? "a second fleece" : "a fleece");
    if (shading)
        add_list(list, "something to shade them with, and water");
    if (guarding)
        add_list(list, "net or sticks");
    if (planting)
        add_list(list, "a trowel and water");
    else if (watering)
        add_list(list, "water, if the site has none");
    if (trays_back > 0) {
        g_autofree char *item = g_strdup_printf("room for %d %s on the way back", trays_back,
                                                trays_back == 1 ? "tray" : "trays");
        add_list(list, item);
    }
    return g_string_free(g_steal_pointer(&list), FALSE);
}

void wording_add_luggage(const WordingContext *context, const Visit *visit, const Job *jobs,
                         int n_jobs, GString *text)
{
    g_autofree char *luggage = wording_take_along(context, visit, jobs, n_jobs);
    const bool journey = n_jobs > 0 && is_journey(context, visit);

    if (*luggage != '\0')
        g_string_append_printf(text, "Take along: %s.", luggage);
    if (journey) {
        const Grower *grower = &context->garden->growers[visit->grower];
        const double way_s = CLAMP(grower->travel_min * 60.0, 0.0, 86400.0);
        const int64_t from_utc = MAX(visit->start_utc, INT64_MIN + 86400) - (int64_t)way_s;
        g_autofree char *leave = wording_clock(context, grower->home_site, from_utc);
        if (*leave != '\0')
            g_string_append_printf(text, "%sLeave at %s.", *luggage != '\0' ? " " : "", leave);
    }
    if (*luggage != '\0' || journey)
        g_string_append_c(text, '\n');
}

/* ---- planting ---- */

void wording_add_planting(const Job *jobs, int n_jobs, GString *text)
{
    bool planting = false, guarding = false;

    for (int i = 0; i < n_jobs; i++) {
        planting = planting || jobs[i].kind == JOB_PLANT_OUT;
        guarding = guarding || jobs[i].kind == JOB_PROTECT;
    }
    if (planting)
        g_string_append(text, "Planting: firm them in, and water them in at once.\n");
    if (guarding)
        g_string_append(text, "Caution: slug pellets, if you use any, only as the label says; keep "
                              "them from children, pets and wildlife.\n");
}

/* ---- numbers ---- */

/* ", give or take 2 °C", unless it would be nothing. */
static char *spread_words(const WordingContext *context, double spread_k)
{
    g_autofree char *spread = wording_difference(context->garden, spread_k);

    return *spread != '\0' && spread[0] != '0' ? g_strdup_printf(", give or take %s", spread)
                                               : g_strdup("");
}

/* The low or high that a job's reason rests on, as planned; NULL where it has none, or where the
 * plants are brought indoors, out of its reach. */
static char *number_words(const WordingContext *context, const Job *job)
{
    const Garden *garden = context->garden;
    const Reason *reason = &job->reason;
    const Place *to = wording_place(context, job->place);
    g_autofree char *planned = wording_temperature(garden, reason->predicted_c);
    g_autofree char *limit = wording_temperature(garden, reason->limit_c);
    g_autofree char *plants = wording_plants_words(context, reason->batch);
    g_autofree char *moment = wording_moment(
        context, wording_site(context, reason->place, reason->batch), reason->at_utc);

    if (*planned == '\0' || *limit == '\0' || (to != NULL && to->indoors))
        return NULL;
    if (reason->limit == LIMIT_HEAT)
        return g_strdup_printf("air about %s for %s, limit %s", planned, plants, limit);
    if (reason->limit == LIMIT_CHECK)
        return g_strdup_printf("coldest ten hours of %s about %s, allowed %s", plants, planned,
                               limit);
    if (reason->limit == LIMIT_DAMAGE || reason->limit == LIMIT_PROGRESS) {
        g_autofree char *spread = spread_words(context, reason->spread_k);
        return g_strdup_printf("leaves of %s about %s %s%s, damage below %s", plants, planned,
                               moment, spread, limit);
    }
    return NULL;
}

void wording_add_numbers(const WordingContext *context, const Job *jobs, int n_jobs, GString *text)
{
    g_autoptr(GPtrArray) said = g_ptr_array_new_with_free_func(g_free);
    bool hotter = false;

    for (int i = 0; i < n_jobs; i++) {
        g_autofree char *number = number_words(context, &jobs[i]);
        if (number == NULL)
            continue;
        hotter = hotter || (jobs[i].reason.limit == LIMIT_HEAT && jobs[i].reason.spread_k > 0.0);
        if (said->len < WORDING_JOBS_MAX &&
            !g_ptr_array_find_with_equal_func(said, number, g_str_equal, NULL))
            g_ptr_array_add(said, g_steal_pointer(&number));
    }
    if (said->len == 0)
        return;
    g_ptr_array_add(said, NULL);
    g_autofree char *numbers = g_strjoinv("; ", (char **)said->pdata);
    g_string_append_printf(text, "As planned: %s.\n", numbers);
    if (hotter) {
        g_string_append(text, "(Heat is what the air reaches in one case of ten.)\n");
    }
    g_string_append(text,
                    "These are estimates: your own thermometer and the local forecast decide.\n");
}

/* ---- cautions ---- */

static bool uses_mains(const Place *place)
{
    return place != NULL && (place->mains || place->kind == PLACE_PROPAGATOR);
}

/* A pane that is lifted: not the fixed glass of a greenhouse. */
static bool lifts_glass(const WordingContext *context, const Job *job)
{
    const Place *place = wording_place(context, job->place);

    if (job->kind != JOB_SET_COVER || place == NULL || !place->covered ||
        place->kind == PLACE_GREENHOUSE)
        return false;
    g_autofree char *material = wording_name(place->cover.material, sizeof place->cover.material);

    return g_strcmp0(material, "glass") == 0;
}

/* Whether a heater may be lit for it: where wording_job() speaks of a little heat. */
static bool may_be_heated(const WordingContext *context, const Job *job)
{
    int place = job->place;

    if (job->kind != JOB_RESCUE || job->reason.limit == LIMIT_HEAT ||
        job->reason.limit == LIMIT_WATER)
        return false;
    for (int depth = 0; depth <= context->garden->n_places; depth++) {
        const Place *here = wording_place(context, place);
        if (here == NULL)
            return false;
        if (here->kind == PLACE_TUNNEL || here->kind == PLACE_GREENHOUSE)
            return true;
        place = here->parent;
    }
    return false;
}

void wording_add_cautions(const WordingContext *context, const Job *jobs, int n_jobs, GString *text)
{
    bool mains = false, glass = false, wind = false, fuel = false;

    for (int i = 0; i < n_jobs; i++) {
        mains = mains || uses_mains(wording_place(context, jobs[i].place)) ||
                uses_mains(wording_place(context, jobs[i].from_place)) ||
                may_be_heated(context, &jobs[i]);
        glass = glass || lifts_glass(context, &jobs[i]);
        wind = wind || jobs[i].reason.limit == LIMIT_GUST;
        fuel = fuel || may_be_heated(context, &jobs[i]);
    }
    if (glass)
        g_string_append(
            text,
            "Caution: glass. Wear gloves and use both hands; a large light takes two people.\n");
    if (wind)
        g_string_append(
            text, "Caution: wind. Hold covers and sheets firmly and weigh or peg them down.\n");
    if (fuel)
        g_string_append(
            text, "Caution: a fuel heater gives off carbon monoxide. Ventilate, and never sleep or "
                  "linger in there.\n");
    if (mains)
        g_string_append(
            text,
            "Caution: mains power near water. Use an RCD and outdoor-rated fittings, keep to the "
            "local rules, and leave fixed wiring to a licensed electrician.\n");
}

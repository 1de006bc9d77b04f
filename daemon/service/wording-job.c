/* SPDX-License-Identifier: MIT */
/*
 * What to do, as one imperative sentence, and short for a summary. It names the state to be
 * reached, so it is right whatever was before it. Each word is the trade's for that kind of cover:
 * a light comes off a frame, a lid off a box, doors and vents are opened, a sheet is laid on.
 */
#include "service/wording-private.h"

#include <string.h>

/* ---- covers ---- */

static const char *position_name(const Place *place, int position)
{
    if (place == NULL || !place->covered || position < 0 || position >= POSITIONS_MAX ||
        position >= place->cover.n_positions)
        return NULL;
    return place->cover.positions[position].name;
}

CoverAct wording_cover_act(const Place *place, int position)
{
    const char *given = position_name(place, position);

    if (given == NULL)
        return ACT_UNKNOWN;
    g_autofree char *name = wording_name(given, NAME_SIZE);
    const CoverPosition *to = &place->cover.positions[position];
    const bool sheet =
        place->kind == PLACE_FLEECE || strcmp(place->cover.positions[0].name, "on") == 0;

    if (position == 0)
        return sheet ? ACT_SHEET_ON : ACT_CLOSE;
    if (to->open)
        return sheet ? ACT_SHEET_OFF : ACT_OPEN;
    if (g_str_has_suffix(name, " open") && strlen(name) > strlen(" open"))
        return ACT_OPEN_PART;
    return *name == '\0' ? ACT_UNKNOWN : ACT_PROP;
}

/* "doors" of "doors open". */
static char *part_name(const Place *place, int position)
{
    g_autofree char *name = wording_name(place->cover.positions[position].name, NAME_SIZE);

    return g_strndup(name, strlen(name) - strlen(" open"));
}

/* Adds a crop's plants once. */
static void add_crop(const WordingContext *context, const Batch *batch, GPtrArray *words)
{
    g_autofree char *plural = wording_crop_words(wording_crop(context, batch), batch->number != 1);

    if (!g_ptr_array_find_with_equal_func(words, plural, g_str_equal, NULL))
        g_ptr_array_add(words, g_steal_pointer(&plural));
}

/* What lies under a sheet: "the cabbages", "the cabbages and leeks", "the plants". */
static char *under_sheet(const WordingContext *context, const Job *job)
{
    g_autoptr(GPtrArray) words = g_ptr_array_new_with_free_func(g_free);
    const Batch *bound = wording_batch(context, job->reason.batch);

    if (bound != NULL && job->reason.place == job->place)
        add_crop(context, bound, words);
    for (int i = 0; i < context->n_batches; i++) {
        const Batch *batch = &context->batches[i];
        if (batch->place == job->place && batch->stage != STAGE_ENDED)
            add_crop(context, batch, words);
    }
    if (words->len == 1)
        return g_strdup_printf("the %s", (char *)words->pdata[0]);
    if (words->len == 2)
        return g_strdup_printf("the %s and %s", (char *)words->pdata[0], (char *)words->pdata[1]);
    return g_strdup("the plants");
}

bool wording_comes_down(const WordingContext *context, const Job *job)
{
    const Place *place = wording_place(context, job->place);

    return job->kind == JOB_SET_COVER && wording_cover_act(place, job->position) == ACT_PROP &&
           job->from_position > job->position && job->from_position < place->cover.n_positions;
}

const char *wording_pane(const Place *place)
{
    return place->kind == PLACE_COLD_FRAME ? "light" : place->kind == PLACE_BOX ? "lid" : "cover";
}

/* A cover that was wider open: it goes back on, or comes down. */
static char *lower_clause(const Place *place, const Job *job, const char *name,
                          const char *position)
{
    const char *pane = wording_pane(place);

    if (place->cover.positions[job->from_position].open)
        return g_strdup_printf("Put the %s back on %s, %s%s", pane, name,
                               g_ascii_isdigit(*position) ? "propped " : "", position);
    return g_strdup_printf("Lower the %s of %s to %s", pane, name, position);
}

static char *cover_clause(const WordingContext *context, const Job *job)
{
    const Place *place = wording_place(context, job->place);
    g_autofree char *name = wording_place_words(context, job->place);
    const CoverAct act = wording_cover_act(place, job->position);

    if (act == ACT_UNKNOWN)
        return g_strdup_printf("See to the cover of %s", name);
    g_autofree char *position = wording_name(place->cover.positions[job->position].name, NAME_SIZE);

    switch (act) {
    case ACT_CLOSE:
        return g_strdup_printf("Close %s", name);
    case ACT_PROP:
        if (wording_comes_down(context, job))
            return lower_clause(place, job, name, position);
        return g_ascii_isdigit(*position) ? g_strdup_printf("Prop %s %s", name, position)
                                          : g_strdup_printf("Set %s to %s", name, position);
    case ACT_OPEN:
        if (place->kind == PLACE_COLD_FRAME)
            return g_strdup_printf("Take the light off %s", name);
        if (place->kind == PLACE_BOX)
            return g_strdup_printf("Take the lid off %s", name);
        return g_strdup_printf("Open %s", name);
    case ACT_OPEN_PART: {
        g_autofree char *part = part_name(place, job->position);
        return g_strdup_printf("Open the %s of %s", part, name);
    }
    case ACT_SHEET_ON:
    case ACT_SHEET_OFF: {
        g_autofree char *sheet = wording_sheet_words(place, false);
        g_autofree char *plants = under_sheet(context, job);
        return act == ACT_SHEET_ON ? g_strdup_printf("Lay %s over %s", sheet, plants)
                                   : g_strdup_printf("Take %s off %s", sheet, plants);
    }
    case ACT_UNKNOWN:
        break;
    }
    return g_strdup_printf("See to the cover of %s", name);
}

/* ---- plants ---- */

static bool goes_indoors(const WordingContext *context, const Job *job)
{
    const Place *to = wording_place(context, job->place),
                *from = wording_place(context, job->from_place);

    return to != NULL && to->indoors && (from == NULL || !from->indoors);
}

bool wording_lays_sheet(const WordingContext *context, const Job *job, bool on)
{
    const int sheet = on ? job->place : job->from_place, bed = on ? job->from_place : job->place;
    const Place *over = wording_place(context, sheet);

    return job->kind == JOB_MOVE && over != NULL && over->kind == PLACE_FLEECE && bed >= 0 &&
           over->parent == bed;
}

/* Plants in the bed stay where they are: the fleece is laid over them, or taken off. NULL: they are
 * carried. */
static char *sheet_clause(const WordingContext *context, const Job *job, const char *plants)
{
    const bool on = wording_lays_sheet(context, job, true);
    const Place *over = wording_place(context, on ? job->place : job->from_place);

    if (over == NULL || (!on && !wording_lays_sheet(context, job, false)))
        return NULL;
    g_autofree char *sheet = wording_sheet_words(over, false);
    return on ? g_strdup_printf("Lay %s over %s", sheet, plants)
              : g_strdup_printf("Take %s off %s", sheet, plants);
}

static char *move_clause(const WordingContext *context, const Job *job)
{
    g_autofree char *plants = wording_batch_words(context, job->batch);
    g_autofree char *to = wording_place_words(context, job->place);
    g_autofree char *from = wording_place_words(context, job->from_place);
    const Place *there = wording_place(context, job->place);
    const bool known = wording_place(context, job->from_place) != NULL;
    char *sheet = sheet_clause(context, job, plants);

    if (sheet != NULL)
        return sheet;
    if (job->kind == JOB_PLANT_OUT) {
        g_autofree char *where = wording_where(context, job->place);
        return g_strdup_printf("Plant out %s %s", plants, where);
    }
    if (job->kind == JOB_TRANSFER) {
        g_autofree char *site = wording_site_words(context, there != NULL ? there->site : -1);
        return g_strdup_printf("Carry %s%s%s to %s%s%s", plants, known ? " from " : "",
                               known ? from : "", to, *site != '\0' ? " at " : "", site);
    }
    return g_strdup_printf("%s %s%s%s%s to %s", goes_indoors(context, job) ? "Bring" : "Move",
                           plants, goes_indoors(context, job) ? " in" : "", known ? " from " : "",
                           known ? from : "", to);
}

static bool stands_under_cover(const WordingContext *context, int place)
{
    for (int depth = 0; depth <= context->garden->n_places; depth++) {
        const Place *here = wording_place(context, place);
        if (here == NULL)
            return false;
        if (here->covered)
            return true;
        place = here->parent;
    }
    return false;
}

static char *leave_clause(const WordingContext *context, const Job *job)
{
    g_autofree char *name = wording_place_words(context, job->place);
    const Place *place = wording_place(context, job->place);
    const int site = wording_site(context, job->place, job->batch);
    g_autofree char *thawed = wording_clock(context, site, job->reason.at_utc);
    g_autofree char *leave = NULL;

    if (place != NULL && wording_cover_act(place, 0) == ACT_SHEET_ON) {
        g_autofree char *sheet = wording_sheet_words(place, false);
        leave = g_strdup_printf("Leave %s on", sheet);
    } else if (stands_under_cover(context, job->place)) {
        leave = g_strdup_printf("Leave %s shut", name);
    } else {
        leave = g_strdup_printf("Leave the plants %s %s alone",
                                place != NULL ? wording_in(place) : "in", name);
    }
    return g_strdup_printf("%s: %s are frozen. Do not touch or water them until thawed%s%s", leave,
                           g_str_has_suffix(leave, "alone") ? "they" : "plants",
                           *thawed != '\0' ? ", about " : "", thawed);
}

/* What can still be done where plants stand at risk, best first. */
static char *rescue_means(const WordingContext *context, const Job *job)
{
    const Batch *batch = wording_batch(context, job->batch);
    const bool rooted = batch != NULL && batch->stage == STAGE_PLANTED_OUT,
               one = wording_is_one(context, job->batch);
    const Place *stands = wording_place(context, job->place);
    bool closes = false, house = false;
    int place = job->place;

    for (int depth = 0; depth <= context->garden->n_places; depth++) {
        const Place *here = wording_place(context, place);
        if (here == NULL)
            break;
        closes = closes || (here->covered && here->cover.n_positions > 1 &&
                            wording_cover_act(here, 0) == ACT_CLOSE);
        house = house || here->kind == PLACE_TUNNEL || here->kind == PLACE_GREENHOUSE;
        place = here->parent;
    }
    const bool lifts = !rooted && stands != NULL && !stands->indoors && stands->floor == FLOOR_SLAB;
    const char *them = one ? "it" : "them";
    g_autofree char *bring =
        rooted ? g_strdup("") : g_strdup_printf("bring %s in if you can; if not, ", them);
    g_autofree char *lift =
        lifts ? g_strdup_printf("lift %s off the cold slab%s", them, closes ? ", " : " and ")
              : g_strdup("");

    return g_strdup_printf("%s%slay a second layer of fleece over %s%s%s", bring, lift, them,
                           closes ? " and close everything" : "",
                           house ? ", with a little heat if you have it" : "");
}

/* Whether a sheet lies over a place already. */
static bool lies_under_sheet(const WordingContext *context, int place)
{
    for (int depth = 0; depth <= context->garden->n_places; depth++) {
        const Place *here = wording_place(context, place);
        if (here == NULL)
            return false;
        if (wording_cover_act(here, 0) == ACT_SHEET_ON)
            return true;
        place = here->parent;
    }
    return false;
}

/* A risk a little above what is accepted: what would help, and how much is at stake. */
static char *help_clause(const WordingContext *context, const Job *job)
{
    const Reason *r = &job->reason;
    g_autofree char *plants = wording_plants_words(context, job->batch);
    g_autofree char *night =
        wording_night(context, wording_site(context, job->place, job->batch), r->at_utc);
    g_autofree char *odds = wording_odds_of("damage", r->odds);
    g_autofree char *accepted = g_strdup_printf("%.3g", 100.0 * context->garden->risk.damage);

    return g_strdup_printf("%s over %s would help %s%s%s, you accept %s %%",
                           lies_under_sheet(context, job->place) ? "A second fleece" : "A fleece",
                           plants, night, *odds != '\0' ? ": " : "", odds, accepted);
}

/* Too hot: opening helps where the cover is shut; where it is propped already, something else must.
 */
static char *heat_clause(const WordingContext *context, const Job *job, const char *plants,
                         const char *where, const char *until)
{
    const Place *here = wording_place(context, job->place);
    const char *them = wording_is_one(context, job->batch) ? "it" : "them";
    const char *before = *until != '\0' ? ", before " : "";

    const bool propped =
        here != NULL && job->position > 0 && job->position < here->cover.n_positions;
    g_autofree char *position =
        propped ? wording_name(here->cover.positions[job->position].name, NAME_SIZE) : g_strdup("");

    if (*position == '\0')
        return g_strdup_printf(
            "Save %s%s from the heat: open or prop what covers %s, and shade %s%s%s", plants, where,
            them, them, before, until);
    return g_strdup_printf("Save %s%s from the heat: it gets too hot there even %s%s. Take the "
                           "cover off, shade %s, or stand %s outside%s%s",
                           plants, where, g_str_has_suffix(position, " cm") ? "propped " : "with ",
                           position, them, them, before, until);
}

static char *rescue_clause(const WordingContext *context, const Job *job)
{
    if (!job->urgent)
        return help_clause(context, job);

    g_autofree char *plants = wording_batch_words(context, job->batch);
    g_autofree char *place = wording_place_words(context, job->place);
    g_autofree char *means = rescue_means(context, job);
    const int site = wording_site(context, job->place, job->batch);
    g_autofree char *until = wording_when(context, site, job->deadline_utc);
    const Place *here = wording_place(context, job->place);
    g_autofree char *where =
        here != NULL ? g_strdup_printf(" %s %s", wording_in(here), place) : g_strdup("");

    if (job->reason.limit == LIMIT_WATER)
        return g_strdup_printf("Water %s%s once more%s%s, or stand the trays in water: they may "
                               "dry out before the next visit",
                               plants, where, *until != '\0' ? ", before " : "", until);
    if (job->reason.limit == LIMIT_HEAT)
        return heat_clause(context, job, plants, where, until);
    return g_strdup_printf("Save %s%s from the %s: %s%s%s", plants, where,
                           job->reason.limit == LIMIT_DAMAGE ? "frost" : "cold", means,
                           *until != '\0' ? ". It is worth going until " : "", until);
}

static char *choose_clause(const WordingContext *context, const Job *job)
{
    g_autofree char *plants = wording_batch_words(context, job->batch);
    const bool one = wording_is_one(context, job->batch);

    if (job->reason.limit == LIMIT_DESTINATION)
        return g_strdup_printf(
            "Say where %s %s to be planted: in a bed, under fleece or in the tunnel", plants,
            one ? "is" : "are");
    return g_strdup_printf("Decide about %s: plant out under fleece, or pot on", plants);
}

static char *water_clause(const WordingContext *context, const Job *job)
{
    g_autofree char *place = wording_place_words(context, job->place);
    const Place *here = wording_place(context, job->place);

    if (job->batch >= 0) {
        const Place *bed = wording_place(context, job->reason.place);
        const char *them = wording_is_one(context, job->batch) ? "it" : "them";
        const bool leaves = bed != NULL && here != NULL && bed->site != here->site;
        g_autofree char *plants = wording_batch_words(context, job->batch);
        g_autofree char *where = wording_where(context, job->place);
        return g_strdup_printf("Water %s %s well, an hour or more before you %s %s", plants, where,
                               leaves ? "leave with" : "lift", them);
    }
    return g_strdup_printf("Water the trays %s %s well: the compost, not the leaves",
                           here != NULL ? wording_in(here) : "in", place);
}

/* Birds do not come under film, glass or fleece. */
bool wording_keeps_birds_off(const WordingContext *context, const Job *job)
{
    return job->kind == JOB_PROTECT && !stands_under_cover(context, job->place);
}

static char *protect_clause(const WordingContext *context, const Job *job)
{
    g_autofree char *where = wording_where(context, job->place);

    return g_strdup_printf(
        "Guard what you planted %s against slugs%s", where,
        wording_keeps_birds_off(context, job) ? ", and with net or sticks against birds" : "");
}

char *wording_job_clause(const WordingContext *context, const Job *job)
{
    switch (job->kind) {
    case JOB_SET_COVER:
        return cover_clause(context, job);
    case JOB_MOVE:
    case JOB_TRANSFER:
    case JOB_PLANT_OUT:
        return move_clause(context, job);
    case JOB_LEAVE_SHUT:
        return leave_clause(context, job);
    case JOB_RESCUE:
        return rescue_clause(context, job);
    case JOB_CHOOSE:
        return choose_clause(context, job);
    case JOB_WATER:
        return water_clause(context, job);
    case JOB_PROTECT:
        return protect_clause(context, job);
    }
    return g_strdup("See to the plants");
}

char *wording_deadline(const WordingContext *context, int64_t from_utc, const Job *job)
{
    const int site = wording_site(context, job->place, job->batch);
    int day, minute, from_day, from_minute;

    if (job->kind == JOB_LEAVE_SHUT || (job->kind == JOB_RESCUE && !job->urgent) ||
        !wording_local(context, site, job->deadline_utc, &day, &minute))
        return g_strdup("");
    const bool same_day =
        wording_local(context, site, from_utc, &from_day, &from_minute) && from_day == day;
    g_autofree char *when = same_day ? wording_clock(context, site, job->deadline_utc)
                                     : wording_when(context, site, job->deadline_utc);

    return g_strdup_printf(" by %s", when);
}

char *wording_visit_job(const WordingContext *context, const Visit *visit, const Job *job)
{
    g_autofree char *clause = wording_job_clause(context, job);
    g_autofree char *deadline =
        job->kind == JOB_RESCUE
            ? g_strdup("") /* its clause says until when it is worth going */
            : wording_deadline(context, visit != NULL ? visit->start_utc : 0, job);

    return g_strdup_printf("%s%s.", clause, deadline);
}

char *wording_job(const WordingContext *context, const Job *job)
{
    return wording_visit_job(context, NULL, job);
}

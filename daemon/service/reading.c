/* SPDX-License-Identifier: MIT */
#include "service/reading.h"

#include <math.h>

#include "odds/cover-error.h"
#include "base/log.h"
#include "plan/marks.h"
#include "service/api-change.h"
#include "service/api-day.h"
#include "service/api-input.h"
#include "service/forecasts.h"
#include "service/this-night.h"
#include "service/wording-reading.h"
#include "store/store-plan-records.h"

/* What a thermometer indoors and in the open may show; chosen. */
#define INDOORS_LEAST_C (-5.0)
#define INDOORS_MOST_C 50.0
#define OPEN_AIR_MOST_C 45.0
#define DAY_S 86400

static const StoreBasis nothing = {NAN, NAN, NAN, NAN, NAN, NAN, -1};

/* A value that the place cannot have is a slip, or hangs elsewhere. */
static gboolean check_value(const Service *service, const StoreReading *reading, GError **error)
{
    const Place *place =
        reading->site >= 0 ? NULL : &service->garden->places[reading->reading.place];
    const gboolean indoors = place != NULL && place->indoors,
                   covered = place != NULL && place->covered;
    const double least = indoors ? INDOORS_LEAST_C : READING_LEAST_C;
    const double most = indoors ? INDOORS_MOST_C : covered ? READING_MOST_C : OPEN_AIR_MOST_C;

    if (reading->reading.value_c >= least && reading->reading.value_c <= most)
        return TRUE;
    g_autofree char *shown = wording_temperature(service->garden, reading->reading.value_c);
    g_autofree char *least_words = wording_temperature(service->garden, least);
    g_autofree char *most_words = wording_temperature(service->garden, most);
    return api_refuse(error, THOLE_ERROR_INVALID,
                      "value: %s is not likely in %s, which is %s; give %s to %s, or the place "
                      "where the thermometer is",
                      shown, reading_where(service, reading),
                      indoors   ? "indoors"
                      : covered ? "under cover"
                                : "in the open",
                      least_words, most_words);
}

/* ---- what was computed ---- */

/* The state of the half-hour that holds `utc`. Where that is settled, a day is gone through once
 * more from the settled state of the same hour. */
static gboolean state_then(Service *s, int64_t utc, State *ret)
{
    int64_t grid_utc = api_grid(utc);
    g_autoptr(GError) error = NULL;
    if (s->weather == NULL)
        return FALSE;
    state_copy(&s->settled, ret, s->garden);
    g_array_set_size(ret->batches, 0);
    g_array_set_size(ret->batch_as_of, 0);
    if (grid_utc < ret->as_of_utc)
        ret->as_of_utc -= DAY_S;
    return grid_utc >= ret->as_of_utc && ret->as_of_utc >= s->weather[0].first_utc &&
           (grid_utc - s->weather[0].first_utc) / STEP_S + 1 < (int64_t)s->weather[0].steps->len &&
           state_move_on(ret, s, grid_utc, NULL, &error);
}

/* Layer of a place in a chain, -1 it is not in it. */
static int layer_of(const Chain *chain, int place)
{
    for (int l = 0; l < chain->n; l++) {
        if (chain->layers[l].place == place)
            return l;
    }
    return -1;
}

static void compute_in(const Service *s, State *state, int c, int layer, StoreBasis *ret)
{
    const Chain *chain = &state->chains[c];
    int place = chain->layers[layer].place, site = s->garden->places[place].site;
    const SiteWeather *weather = &s->weather[site];
    const OutdoorStep *steps = &g_array_index(weather->steps, OutdoorStep,
                                              (state->as_of_utc - weather->first_utc) / STEP_S);
    const ChainForcing forcing = {.now = steps,
                                  .next = steps + 1,
                                  .deep_c = weather->deep_c,
                                  .solar_hour = marks_solar_hour(state->as_of_utc + STEP_S,
                                                                 s->garden->sites[site].longitude)};
    const CoverError *covers = forecasts_learned(s->forecasts)->covers;
    int positions[CHAIN_LAYERS_MAX];
    PlaceStep met[CHAIN_LAYERS_MAX];
    for (int i = 0; i < chain->n; i++)
        positions[i] = state->positions[chain->layers[i].place];
    chain_step(chain, positions, &forcing, &state->chain_states[c], met);
    CoverErrorAt at = cover_error_apply(covers, chain, positions, layer, &met[layer]);
    *ret = (StoreBasis){.computed_c = met[layer].air_c,
                        .spread_k = at.spread_k,
                        .bias_k = at.bias_k,
                        .outdoor_c = chain->indoors ? NAN : steps[1].air_c,
                        .outdoor_spread_k =
                            chain_open_share(chain, positions, layer) * steps->spread_k,
                        .light_wm2 = met[layer].light_wm2,
                        .position = cover_error_position(chain, positions, layer)};
}

/* The air at a time. */
static StoreBasis compute_then(Service *s, const StoreReading *reading)
{
    StoreBasis basis = nothing;
    State state = {0};
    int64_t utc = reading->reading.time_utc;
    if (learned_is_open_air(s, reading) && s->weather != NULL) {
        const SiteWeather *w = &s->weather[learned_site(s, reading)];
        basis.computed_c = basis.outdoor_c = this_night_outdoors_c(w, utc);
        basis.spread_k = 0.0;
        if (isfinite(basis.computed_c))
            basis.outdoor_spread_k =
                g_array_index(w->steps, OutdoorStep, (utc - w->first_utc) / STEP_S).spread_k;
        return basis;
    }
    if (state_then(s, utc, &state)) {
        for (int c = 0; c < state.n_chains; c++) {
            int layer = layer_of(&state.chains[c], reading->reading.place);
            if (layer >= 0)
                compute_in(s, &state, c, layer, &basis);
        }
    }
    state_clear(&state);
    return basis;
}

/* What was last said of that night or day while most of it lay ahead, before any reading of it. */
static gboolean predicted(const Service *s, const StoreReading *reading, StoreBasis *ret,
                          GError **error)
{
    ReadingSpan span = learned_span(s, reading);
    int site = learned_site(s, reading);
    gboolean is_open = learned_is_open_air(s, reading);
    StorePredicted what =
        reading->kind == STORE_READING_MINIMUM ? STORE_PREDICTED_MIN : STORE_PREDICTED_MAX;
    g_autoptr(GArray) predictions = NULL;
    if (!store_load_predictions(s->store, s->garden, span.day, span.day, &predictions, error))
        return FALSE;
    *ret = nothing;
    for (guint i = 0; i < predictions->len; i++) {
        const StorePrediction *p = &g_array_index(predictions, StorePrediction, i);
        gboolean is_it = is_open ? p->open_air && p->site == site
                                 : !p->open_air && p->place == reading->reading.place;
        if (!is_it || p->what != what || p->tonight || p->made_utc > span.made_by_utc)
            continue;
        double own_k2 = p->spread_k * p->spread_k - p->outdoor_spread_k * p->outdoor_spread_k;
        *ret = (StoreBasis){.computed_c = p->mean_c,
                            .spread_k = isnan(own_k2) ? p->spread_k : sqrt(fmax(0.0, own_k2)),
                            .bias_k = p->bias_k,
                            .outdoor_c = NAN,
                            .outdoor_spread_k = isnan(own_k2) ? 0.0 : p->outdoor_spread_k,
                            .light_wm2 = p->light_wm2,
                            .position = p->position};
    }
    return TRUE;
}

/* ---- over several nights ---- */

#define NIGHTS_MOST 14 /* more are too many to tell apart; chosen */
/* What lies so many spreads of their difference apart is told apart in nine cases of ten; chosen.
 */
#define CLEAR_SPREADS 1.2816

static double spread_of(const StoreBasis *basis)
{
    return hypot(basis->spread_k, basis->outdoor_spread_k);
}

/*
 * Since the thermometer was set back several nights, or days, may have passed. Where one of them
 * was predicted clearly the most extreme, the reading is of that one; else it is left to that
 * before it was read, and judged to be of an older one, perhaps.
 */
static gboolean choose_night(const Service *s, StoreReading *reading, ReadingTaken *taken,
                             GError **error)
{
    const int last = learned_span(s, reading).day;
    const double sign = reading->kind == STORE_READING_MAXIMUM ? -1.0 : 1.0;
    StoreBasis of[NIGHTS_MOST];
    int n = 0, best = 0;

    for (StoreReading night = *reading; n < NIGHTS_MOST; n++) {
        night.day = last - n;
        if (n > 0 && learned_span(s, &night).to_utc <= taken->former_utc)
            break;
        if (!predicted(s, &night, &of[n], error))
            return FALSE;
        if (sign * of[n].computed_c < sign * of[best].computed_c)
            best = n;
    }
    taken->nights = n;
    if (n == 1 || n == NIGHTS_MOST)
        return TRUE;
    for (int i = 0; i < n; i++) {
        const double apart_k = sign * (of[i].computed_c - of[best].computed_c);
        if (i != best &&
            !(apart_k > CLEAR_SPREADS * hypot(spread_of(&of[i]), spread_of(&of[best]))))
            return TRUE;
    }
    reading->day = last - best;
    reading->basis = of[best];
    return TRUE;
}

/* ---- tonight ---- */

ReadingNight reading_night(const Service *s, const StoreReading *reading)
{
    ReadingNight night = {.low_c = NAN, .frost_odds = NAN};
    int site = learned_site(s, reading), day = api_tonight(s, site);
    ApiNight outdoors;
    if (!learned_is_open_air(s, reading)) {
        for (int i = 0; i < s->plan.n_predictions; i++) {
            const PlacePrediction *p = &s->plan.predictions[i];
            if (p->place == reading->reading.place && p->day == day)
                return (ReadingNight){p->low_c, p->air_frost_odds};
        }
    } else if (api_night(s, site, day, &outdoors)) {
        night = (ReadingNight){outdoors.low_c, outdoors.frost_odds};
    }
    return night;
}

/* ---- taking ---- */

static gboolean write_reading(Service *s, gpointer change, GError **error)
{
    return store_put_reading(s->store, s->garden, change, error) &&
           forecasts_learn(s->forecasts, error);
}

static int64_t former_utc(const Learned *learned, const StoreReading *reading)
{
    for (guint i = learned->readings->len; i-- > 0;) {
        const StoreReading *was = &g_array_index(learned->readings, StoreReading, i);
        if (was->reading.place == reading->reading.place && was->site == reading->site &&
            was->kind == reading->kind && was->reading.time_utc < reading->reading.time_utc)
            return was->reading.time_utc;
    }
    return 0;
}

/* What is known of where `r` was read. */
static LearnedError learned_of(const Service *s, const StoreReading *r)
{
    const Learned *learned = forecasts_learned(s->forecasts);
    Extreme which = r->kind == STORE_READING_MAXIMUM ? EXTREME_HIGH : EXTREME_LOW;
    if (learned_is_open_air(s, r))
        return learned->sites[learned_site(s, r)].lead[0][which];
    ptrdiff_t of = (ptrdiff_t)r->reading.place * POSITIONS_MAX + MAX(r->basis.position, 0);
    return learned->covers[of].of[which];
}

/* What was expected of it a moment ago, after the readings before it. */
static void note_reckoned(const Service *s, ReadingTaken *taken)
{
    const StoreReading *r = &taken->reading;
    const StoreBasis *b = &r->basis;
    double outdoor_k2 = b->outdoor_spread_k * b->outdoor_spread_k,
           own_k2 = b->spread_k * b->spread_k;
    taken->reckoned_c = b->computed_c;
    if (r->kind == STORE_READING_INSTANT && s->weather != NULL &&
        s->weather[learned_site(s, r)].tonight_to_utc != 0) {
        const Tonight *tonight = &s->weather[learned_site(s, r)].tonight;
        int64_t utc = r->reading.time_utc;
        outdoor_k2 = tonight_outdoors(tonight, utc, b->outdoor_spread_k).variance_k2;
        TonightError own = {0.0, own_k2};
        if (!learned_is_open_air(s, r))
            own = tonight_place(tonight, r->reading.place, utc, b->outdoor_spread_k, b->spread_k);
        taken->reckoned_c += own.shift_k;
        own_k2 = own.variance_k2;
    }
    taken->reckoned_spread_k = sqrt(fmax(0.0, outdoor_k2 + own_k2));
}

/* `commit`: in a transaction of its own, else in the caller's. */
static gboolean take(Service *s, const ReadingAsked *asked, gboolean commit, ReadingTaken *ret,
                     GError **error)
{
    const Learned *learned = forecasts_learned(s->forecasts);
    ReadingTaken taken = {.reading = {.reading = {asked->place, asked->time_utc, asked->value_c},
                                      .kind = asked->kind,
                                      .site = asked->place < 0 ? asked->site : -1,
                                      .since_utc = asked->since_utc,
                                      .moved = asked->moved}};
    StoreReading *reading = &taken.reading;
    if (!check_value(s, reading, error))
        return FALSE;
    if (asked->kind == STORE_READING_INSTANT)
        reading->basis = compute_then(s, reading);
    else if (!predicted(s, reading, &reading->basis, error))
        return FALSE;
    taken.former_utc = asked->since_utc != 0 ? asked->since_utc : former_utc(learned, reading);
    if (asked->kind != STORE_READING_INSTANT && taken.former_utc != 0 &&
        !choose_night(s, reading, &taken, error))
        return FALSE;
    taken.judged = learned_judge(learned, s, reading, clock_now(s->clk));
    taken.before = reading_night(s, reading);
    taken.learned_before = learned_of(s, reading);
    note_reckoned(s, &taken);
    if (!taken.judged.keep)
        return reading_refuse(s, &taken, error);
    if (!commit && !write_reading(s, reading, error))
        return FALSE;
    if (commit && !api_commit(s, write_reading, reading, error)) {
        g_autoptr(GError) fault = NULL;
        if (!forecasts_learn(s->forecasts, &fault)) /* what was not kept teaches nothing */
            log_warning("service", NULL, "the readings cannot be read: %s", fault->message);
        return FALSE;
    }
    taken.use = learned_use(forecasts_learned(s->forecasts), reading);
    taken.learned = learned_of(s, reading);
    *ret = taken;
    return TRUE;
}

gboolean reading_take(Service *s, const ReadingAsked *asked, ReadingTaken *ret, GError **error)
{
    return take(s, asked, TRUE, ret, error);
}

gboolean reading_take_within(Service *s, const ReadingAsked *asked, ReadingTaken *ret,
                             GError **error)
{
    return take(s, asked, FALSE, ret, error);
}

/* SPDX-License-Identifier: MIT */
#include "test-hindcast-season.h"

#include <math.h>
#include <string.h>

#include "climate/air.h"
#include "weather/forecast.h"

#define HOUR_S 3600
#define DAY_STEPS (24 * STEPS_PER_H)
#define SPIN_UP_D 10
#define ISSUE_H 17                  /* local hour of the day at which forecasts are issued */
#define NIGHT_FROM STEPS_PER_H      /* from then to 18:00 … */
#define NIGHT_TO (15 * STEPS_PER_H) /* … and 08:00 */
#define AHEAD_H (24 * (SEASON_LEADS - 1) + 24)
#define AHEAD_STEPS (AHEAD_H * STEPS_PER_H)
#define WARM_K 1.5
#define SHARP 0.6
#define TEN 10

const char season_garden[] = "[site home]\n"
                             "latitude=41.9\n"
                             "longitude=-87.6\n"
                             "altitude=180\n"
                             "zone=America/Chicago\n"
                             "[place open]\n"
                             "kind=standing\n"
                             "site=home\n"
                             "[place frame]\n"
                             "kind=cold-frame\n"
                             "site=home\n"
                             "[place tunnel]\n"
                             "kind=tunnel\n"
                             "site=home\n"
                             "[place bed]\n"
                             "kind=bed\n"
                             "site=home\n"
                             "[place fleece]\n"
                             "kind=fleece\n"
                             "inside=bed\n"
                             "[grower one]\n"
                             "visits-home=18:00-18:30\n";
const char *const season_place_names[SEASON_PLACES] = {"open", "frame", "tunnel", "fleece"};

/* Extremes of a place from one issue to the next: the night's lows, the day's high. */
typedef struct DayMet {
    double air_low_c, leaf_low_c, high_c;
} DayMet;

/* Value and spread of each half-hour of one night. */
typedef struct NightAhead {
    double air_c[NIGHT_TO], leaf_c[NIGHT_TO], spread_k[NIGHT_TO], whole_k[NIGHT_TO];
    int n;
} NightAhead;

/* What one way of learning knows: nothing, or all that was read. */
typedef struct View {
    bool learns;
    ChainState states[SEASON_PLACES];
    NightAhead nights[SEASON_PLACES][SEASON_LEADS];
    DayMet computed[SEASON_PLACES]; /* until the next issue, without the place's own bias */
    DayMet outdoors[SEASON_LEADS];  /* issued, by lead, with nothing added */
} View;

typedef struct Season {
    const Station *at;
    GRand *random;
    /* (owned) (element-type WeatherHour) the truth; as it usually is; a spread above that */
    GArray *hours, *usual, *warm;
    bool extreme; /* forecasts are more extreme than the weather */
    Chain chains[SEASON_PLACES];
    int layer[SEASON_PLACES];
    ReferenceChain *hidden[SEASON_PLACES];
    ChainState modelled[SEASON_PLACES]; /* the model in the true weather */
    HiddenErrors errors;
    Learner learner;
    View views[2];
    double deep_c;
    double share[SEASON_PLACES]; /* chain_open_share() */
    /* lows and highs of the open air as issued: days ago, days ahead from then */
    DayMet issued[SEASON_LEADS][SEASON_LEADS];
    /* n, Σ, Σ²: of the hidden garden less the model; of readings less what was computed, without
       and with what the open air was off */
    double sums[SEASON_PLACES][EXTREMES][3], own[SEASON_PLACES][EXTREMES][3],
        all[SEASON_PLACES][EXTREMES][3];
    SeasonResult *result;
} Season;

static const int shut[CHAIN_LAYERS_MAX] = {0};

static DayMet day_met_new(void)
{
    return (DayMet){INFINITY, INFINITY, -INFINITY};
}

/* Half-hour `k` of the day that begins with an issue. */
static void day_met_note(int k, double air_c, double leaf_c, DayMet *met)
{
    if (k >= NIGHT_FROM && k < NIGHT_TO) {
        met->air_low_c = fmin(met->air_low_c, air_c);
        met->leaf_low_c = fmin(met->leaf_low_c, leaf_c);
    } else if (k >= NIGHT_TO) {
        met->high_c = fmax(met->high_c, air_c);
    }
}

static int64_t issue_utc(const Season *s, int32_t day)
{
    return hindcast_solar_day(s->at, day).midnight_utc + ISSUE_H * HOUR_S;
}

static const WeatherHour *hours_at(const GArray *of, int64_t utc)
{
    const WeatherHour *hours = (const WeatherHour *)(void *)of->data;
    return &hours[(utc - hours[0].time_utc) / HOUR_S];
}

static ChainForcing forcing_at(const Season *s, const OutdoorStep *step)
{
    return (ChainForcing){.now = step, .next = step + 1, .deep_c = s->deep_c};
}

/* ---- the truth ---- */

/* A day passes in the hidden garden, and in the model that is given the same weather. */
static void pass_truth(Season *s, int32_t day, DayMet *ret, DayMet *ret_modelled)
{
    OutdoorStep steps[DAY_STEPS + 1];
    int64_t utc = issue_utc(s, day);

    g_assert(air_outdoor_steps(hours_at(s->hours, utc), 26, utc, DAY_STEPS, steps));
    for (int p = 0; p < SEASON_PLACES; p++) {
        ret[p] = ret_modelled[p] = day_met_new();
        for (int k = 0; k < DAY_STEPS; k++) {
            ChainForcing forcing = forcing_at(s, &steps[k]);
            PlaceStep met[CHAIN_LAYERS_MAX];
            int layer = s->layer[p];

            reference_step(s->hidden[p], shut, &forcing, met);
            day_met_note(k, met[layer].air_c, met[layer].leaf_c, &ret[p]);
            chain_step(&s->chains[p], shut, &forcing, &s->modelled[p], met);
            day_met_note(k, met[layer].air_c, met[layer].leaf_c, &ret_modelled[p]);
        }
    }
}

/* ---- what is foreseen ---- */

static void issue(Season *s, int32_t day, const View *view, WeatherHour *ret, DayMet *ret_raw)
{
    const WeatherHour *truth = hours_at(s->hours, issue_utc(s, day));
    const WeatherHour *usual = hours_at(s->usual, issue_utc(s, day));
    const WeatherHour *warm = hours_at(s->warm, issue_utc(s, day));

    for (int lead = 0; lead < SEASON_LEADS; lead++)
        ret_raw[lead] = day_met_new();
    for (int h = 0; h <= AHEAD_H; h++) {
        ret[h] = truth[h];
        double usual_c = usual[h].temperature_c;
        double sd_k = s->extreme ? INFINITY : warm[h].temperature_c - usual_c;
        ret[h].temperature_c +=
            hidden_errors_k(&s->errors, h, truth[h].temperature_c - usual_c, sd_k);
        if (h < AHEAD_H)
            day_met_note(h % 24 * STEPS_PER_H, ret[h].temperature_c, NAN, &ret_raw[h / 24]);
        ret[h].dew_point_c = fmin(ret[h].dew_point_c, ret[h].temperature_c);
        ret[h].spread_k = weather_spread_k(h);
        if (view->learns)
            learner_correct(&s->learner, h, &ret[h]);
    }
}

/* One place foreseen; its state goes on to the next issue. */
static void foresee_place(const Season *s, const OutdoorStep *steps, int p, View *view)
{
    const Chain *chain = &s->chains[p];
    int layer = s->layer[p];
    CoverError own = {0};
    ChainState state = view->states[p];

    for (int which = 0; which < EXTREMES; which++)
        own.of[which].spread_k = chain_spread_k(chain, layer, (Extreme)which);
    if (view->learns)
        own = learner_now(&s->learner, p, 0);
    view->computed[p] = day_met_new();
    for (int lead = 0; lead < SEASON_LEADS; lead++)
        view->nights[p][lead].n = 0;
    for (int k = 0; k < AHEAD_STEPS; k++) {
        ChainForcing forcing = forcing_at(s, &steps[k]);
        PlaceStep met[CHAIN_LAYERS_MAX];
        NightAhead *night = &view->nights[p][k / DAY_STEPS];
        int of_day = k % DAY_STEPS;

        chain_step(chain, shut, &forcing, &state, met);
        if (k == DAY_STEPS - 1)
            view->states[p] = state;
        if (k < DAY_STEPS)
            day_met_note(k, met[layer].air_c, met[layer].leaf_c, &view->computed[p]);
        if (of_day < NIGHT_FROM || of_day >= NIGHT_TO)
            continue;
        double spread = steps[k + 1].spread_k, own_k = own.of[EXTREME_LOW].spread_k;
        double bias = cover_error_at(&own, met[layer].light_wm2).bias_k;
        night->air_c[night->n] = met[layer].air_c + bias;
        night->leaf_c[night->n] = met[layer].leaf_c + bias;
        night->whole_k[night->n] = hypot(spread, own_k);
        night->spread_k[night->n++] = hypot(s->share[p] * spread, own_k);
    }
}

static void foresee(Season *s, int32_t day, View *view)
{
    WeatherHour hours[AHEAD_H + 1];
    OutdoorStep steps[AHEAD_STEPS + 1];

    issue(s, day, view, hours, view->outdoors);
    g_assert(air_outdoor_steps(hours, AHEAD_H + 1, hours[0].time_utc, AHEAD_STEPS, steps));
    for (int p = 0; p < SEASON_PLACES; p++)
        foresee_place(s, steps, p, view);
}

static double odds_of(const NightAhead *night, SeasonEvent event, double shift_k, double factor,
                      bool whole)
{
    static const double limit_c[SEASON_EVENTS] = {0, 0, 5};
    const double *values = event == EVENT_LEAF_FROST ? night->leaf_c : night->air_c;
    double shifted[NIGHT_TO], spread[NIGHT_TO];

    for (int i = 0; i < night->n; i++) {
        shifted[i] = values[i] + shift_k;
        spread[i] = factor * (whole ? night->whole_k[i] : night->spread_k[i]);
    }
    return odds_below(shifted, spread, night->n, limit_c[event]);
}

/* Appends the odds of the nights ahead; what came is filled in when it has come. */
static void append_cases(const Season *s, int season, int night, GArray *cases)
{
    for (int p = 0; p < SEASON_PLACES; p++) {
        for (int lead = 0; lead < SEASON_LEADS && night + lead < SEASON_NIGHTS; lead++) {
            const NightAhead *learned = &s->views[1].nights[p][lead];
            for (int e = 0; e < SEASON_EVENTS; e++) {
                SeasonEvent event = (SeasonEvent)e;
                SeasonCase it = {.season = season,
                                 .night = night + lead,
                                 .place = p,
                                 .lead = lead + 1,
                                 .event = event};
                it.odds[ODDS_LEARNED] = odds_of(learned, event, 0, 1, false);
                it.odds[ODDS_ASSUMED] = odds_of(&s->views[0].nights[p][lead], event, 0, 1, false);
                it.odds[ODDS_WHOLE] = odds_of(learned, event, 0, 1, true);
                it.odds[ODDS_SHARP] = odds_of(learned, event, 0, SHARP, false);
                it.odds[ODDS_WARM] = odds_of(learned, event, WARM_K, 1, false);
                g_array_append_val(cases, it);
            }
        }
    }
}

static void settle_cases(int season, int night, const DayMet *truth, GArray *cases)
{
    for (guint i = cases->len; i-- > 0;) {
        SeasonCase *it = &g_array_index(cases, SeasonCase, i);
        if (it->season != season || it->night + SEASON_LEADS <= night)
            break;
        if (it->night != night)
            continue;
        const DayMet *met = &truth[it->place];
        it->came = it->event == EVENT_LEAF_FROST
                       ? met->leaf_low_c < 0
                       : met->air_low_c < (it->event == EVENT_AIR_0 ? 0 : 5);
    }
}

/* ---- what is learned ---- */

static void note_sum(double value, double *sums)
{
    sums[0] += 1;
    sums[1] += value;
    sums[2] += value * value;
}

static double scatter_of(const double *sums)
{
    double mean = sums[1] / sums[0];
    return sqrt(fmax(0, sums[2] / sums[0] - mean * mean));
}

static double extreme_of(const DayMet *met, int which)
{
    return which == EXTREME_LOW ? met->air_low_c : met->high_c;
}

/* The day has passed: thermometers are read in the open and in every place. */
static void read_day(Season *s, int32_t day, int night, const DayMet *truth)
{
    for (int which = 0; which < EXTREMES; which++) {
        double out_read = extreme_of(&truth[0], which) + THERMOMETER_K * hidden_normal(s->random);
        double out_error = out_read - extreme_of(&s->views[1].computed[0], which);
        LearnedError site = s->learner.site[1].of[which];

        for (int p = 0; p < SEASON_PLACES; p++) {
            double read =
                p == 0 ? out_read
                       : extreme_of(&truth[p], which) + THERMOMETER_K * hidden_normal(s->random);
            CoverReading reading = {.error_k = read - extreme_of(&s->views[1].computed[p], which),
                                    .outdoor_spread_k = s->share[p] * site.spread_k,
                                    .open_spread_k = site.spread_k,
                                    .open_error_k = out_error};
            double sure = site.spread_k * site.spread_k /
                          (site.spread_k * site.spread_k + ODDS_THERMOMETER_K * ODDS_THERMOMETER_K);
            note_sum(reading.error_k - s->share[p] * sure * out_error, s->own[p][which]);
            note_sum(reading.error_k, s->all[p][which]);
            if (p > 0) /* the open air is the site's own */
                learner_read(&s->learner, p, (Extreme)which, day, &reading);
        }
        for (int lead = 1; lead <= SEASON_LEADS && lead <= night + 1; lead++)
            learner_outdoors(&s->learner, lead, (Extreme)which, day,
                             out_read - extreme_of(&s->issued[lead - 1][lead - 1], which));
    }
    learner_look(&s->learner, day);
}

/* Issued i days ago for the day l days from then: [l][l] is of the day at hand. */
static void keep_issued(Season *s)
{
    for (int i = SEASON_LEADS - 1; i > 0; i--)
        memcpy(s->issued[i], s->issued[i - 1], sizeof(s->issued[i]));
    memcpy(s->issued[0], s->views[0].outdoors, sizeof(s->issued[0]));
}

static void note_model(Season *s, const DayMet *truth, const DayMet *modelled)
{
    for (int p = 0; p < SEASON_PLACES; p++) {
        for (int which = 0; which < EXTREMES; which++) {
            double off = extreme_of(&truth[p], which) - extreme_of(&modelled[p], which);
            note_sum(off, s->sums[p][which]);
        }
    }
}

static void sum_up(Season *s)
{
    s->result->width = s->errors.width;
    s->result->forecast_bias_k = s->errors.bias_k;
    for (int p = 0; p < SEASON_PLACES; p++) {
        for (int which = 0; which < EXTREMES; which++) {
            SeasonPlace *place = &s->result->places[p];
            place->bias_k[which] = s->sums[p][which][1] / s->sums[p][which][0];
            place->scatter_k[which] = scatter_of(s->sums[p][which]);
            place->reading_k[which] = scatter_of(s->own[p][which]);
            place->reading_all_k[which] = scatter_of(s->all[p][which]);
        }
    }
}

/* ---- a season ---- */

static void begin(Season *s, const Garden *garden, const GArray *days, int32_t first)
{
    double mean_c = hindcast_month_mean_c(days, first - SPIN_UP_D, 0);

    int32_t from = first - SPIN_UP_D - 1, to = first + SEASON_NIGHTS + SEASON_LEADS + 1;

    s->hours = hindcast_hours(s->at, days, from, to, 0);
    g_autoptr(GArray) usual = hindcast_usual(days, from, to, 0);
    g_autoptr(GArray) warm = hindcast_usual(days, from, to, 1);
    s->usual = hindcast_hours(s->at, usual, from, to, 0);
    s->warm = hindcast_hours(s->at, warm, from, to, 0);
    s->extreme = g_getenv("THOLE_HINDCAST_EXTREME") != NULL;
    learner_begin(&s->learner);
    for (int p = 0; p < SEASON_PLACES; p++) {
        int place = garden_find_place(garden, season_place_names[p]);
        int root = place;
        while (garden->places[root].parent >= 0)
            root = garden->places[root].parent;
        g_assert(chain_build(garden, root, &s->chains[p]));
        for (int l = 0; l < s->chains[p].n; l++) {
            if (s->chains[p].layers[l].place == place)
                s->layer[p] = l;
        }
        s->hidden[p] = hidden_chain(s->random, &s->chains[p], mean_c);
        chain_rest(&s->chains[p], mean_c, mean_c, &s->modelled[p]);
        learner_place(&s->learner, p, &s->chains[p], s->layer[p]);
        s->share[p] = chain_open_share(&s->chains[p], shut, s->layer[p]);
    }
    hidden_errors_begin(s->random, &s->errors);
    s->views[1].learns = true;
}

void season_run(const Garden *garden, const Station *at, const GArray *days, int32_t first,
                int season, guint32 seed, GArray *cases, SeasonResult *ret)
{
    g_autofree Season *s = g_new0(Season, 1);
    DayMet truth[SEASON_PLACES], modelled[SEASON_PLACES];

    *ret = (SeasonResult){0};
    s->at = at;
    s->random = g_rand_new_with_seed(seed);
    s->result = ret;
    begin(s, garden, days, first);
    for (int night = -SPIN_UP_D; night < SEASON_NIGHTS; night++) {
        int32_t day = first + night;
        s->deep_c = hindcast_month_mean_c(days, day, 0);
        if (night == 0) {
            for (int v = 0; v < 2; v++)
                memcpy(s->views[v].states, s->modelled, sizeof(s->modelled));
        }
        if (night >= 0) {
            for (int v = 0; v < 2; v++)
                foresee(s, day, &s->views[v]);
            keep_issued(s);
            append_cases(s, season, night, cases);
        }
        pass_truth(s, day, truth, modelled);
        if (night < 0)
            continue;
        settle_cases(season, night, truth, cases);
        note_model(s, truth, modelled);
        read_day(s, day, night, truth);
        for (int p = 1; p < SEASON_PLACES && night + 1 == TEN; p++)
            ret->places[p].after_ten = learner_now(&s->learner, p, 0).of[EXTREME_LOW];
        hidden_errors_next(&s->errors);
    }
    sum_up(s);
    for (int p = 0; p < SEASON_PLACES; p++)
        reference_free(s->hidden[p]);
    g_array_unref(s->hours);
    g_array_unref(s->usual);
    g_array_unref(s->warm);
    g_rand_free(s->random);
}

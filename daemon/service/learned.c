/* SPDX-License-Identifier: MIT */
#include "service/learned.h"

#include <math.h>

#include "base/local-time.h"
#include "climate/chain.h"
#include "climate/sun.h"
#include "odds/cover-error.h"
#include "odds/cover-filter.h"
#include "odds/tonight.h"
#include "store/store-garden-events.h"
#include "store/store-plan-records.h"
#include "weather/forecast.h"

#define HOUR_S 3600
#define DAY_S 86400
#define HISTORY_D 400              /* as long as predictions are kept whole */
#define NIGHT_READ_S (18 * HOUR_S) /* until 18:00 a minimum is last night's; chosen */
#define DAY_READ_S (10 * HOUR_S)   /* until 10:00 a maximum is yesterday's; chosen */
#define AFTER_DUSK_S HOUR_S        /* an evening visit sets covers until then; chosen */
#define NOON_S (3 * HOUR_S)        /* a day's maximum lies so near noon; chosen */
#define NIGHT_AHEAD_S (4 * HOUR_S) /* of the night, when its last prediction was made; chosen */
#define EVENING_S (12 * HOUR_S)    /* before sunrise: readings from then on are of an evening */
#define SAME_C 0.05                /* to the tenth */

/* What learning goes through. */
typedef struct Course {
    const Service *service;
    Learned *learned;
    GArray *positions;                /* (owned) (element-type StorePosition) by time */
    Chain *chains;                    /* (owned) per place: the chain it stands in */
    int *layers;                      /* (owned) per place */
    CoverFilter (*filters)[EXTREMES]; /* (owned) per place */
    ReadingSpan *spans;               /* (owned) per reading, of extremes */
    ReadingUse *general;              /* (owned) per reading */
    int64_t (*fed_utc)[EXTREMES];     /* (owned) per place: when the filter learned last */
} Course;

static const StoreReading *reading_at(const Learned *learned, guint i)
{
    return &g_array_index(learned->readings, StoreReading, i);
}

static Extreme extreme_of(const StoreReading *reading)
{
    return reading->kind == STORE_READING_MAXIMUM ? EXTREME_HIGH : EXTREME_LOW;
}

/* ---- nights and days ---- */

typedef struct Sun {
    int64_t noon_utc, rise_utc, set_utc;
} Sun;

static Sun sun_of(const Service *s, int site, int day)
{
    const Site *at = &s->garden->sites[site];
    Sun sun = {.noon_utc =
                   sun_noon_utc(local_midnight(s->zones[site], day) + DAY_S / 2, at->longitude)};
    if (!sun_rise_set(sun.noon_utc, at->latitude, at->longitude, SUN_HORIZON_DEG, &sun.rise_utc,
                      &sun.set_utc)) {
        sun.rise_utc = sun.noon_utc - 6 * HOUR_S;
        sun.set_utc = sun.noon_utc + 6 * HOUR_S;
    }
    return sun;
}

void learned_night(const Service *s, int site, int day, int64_t *ret_set, int64_t *ret_rise)
{
    *ret_set = sun_of(s, site, day).set_utc;
    *ret_rise = sun_of(s, site, day + 1).rise_utc;
}

int learned_site(const Service *s, const StoreReading *reading)
{
    if (reading->site >= 0)
        return reading->site;
    return reading->reading.place >= 0 ? s->garden->places[reading->reading.place].site : -1;
}

gboolean learned_is_open_air(const Service *s, const StoreReading *reading)
{
    if (reading->site >= 0)
        return TRUE;
    const Place *place = &s->garden->places[reading->reading.place];
    return !place->indoors && !place->covered && place->parent < 0;
}

ReadingSpan learned_span(const Service *s, const StoreReading *reading)
{
    int64_t utc = reading->reading.time_utc;
    int site = learned_site(s, reading);
    gboolean is_high = reading->kind == STORE_READING_MAXIMUM;
    int day = reading->day != 0
                  ? reading->day
                  : local_day(s->zones[site], utc - (is_high ? DAY_READ_S : NIGHT_READ_S));
    Sun today = sun_of(s, site, day);
    ReadingSpan span = {.day = day};
    if (is_high) {
        span.from_utc = today.noon_utc - NOON_S;
        span.to_utc = span.over_utc = today.noon_utc + NOON_S;
        span.made_by_utc = span.from_utc;
        span.reset_utc = span.to_utc - DAY_S;
        return span;
    }
    Sun morning = sun_of(s, site, day + 1);
    span.from_utc = today.set_utc + AFTER_DUSK_S;
    span.to_utc = MIN(morning.rise_utc, utc);
    span.made_by_utc = morning.rise_utc - NIGHT_AHEAD_S;
    span.over_utc = morning.rise_utc - HOUR_S;
    span.reset_utc = today.rise_utc - HOUR_S;
    return span;
}

/* ---- what can be believed ---- */

static gboolean is_same_series(const StoreReading *a, const StoreReading *b)
{
    return a->reading.place == b->reading.place && a->site == b->site && a->kind == b->kind;
}

Judgement learned_judge(const Learned *learned, const Service *s, const StoreReading *reading,
                        int64_t now_utc)
{
    const StoreBasis *b = &reading->basis;
    gboolean is_extreme = reading->kind != STORE_READING_INSTANT, is_same = TRUE;
    double least_c = b->computed_c, most_c = least_c;
    ReadingCase asked = {.value_c = reading->reading.value_c,
                         .covered = !learned_is_open_air(s, reading),
                         .extreme = is_extreme,
                         .computed_c = b->computed_c,
                         .spread_k = hypot(b->spread_k, b->outdoor_spread_k),
                         .computed_range_k = NAN,
                         .time_utc = reading->reading.time_utc,
                         .now_utc = now_utc};
    if (is_extreme && reading->day == 0) /* else it is known which of several nights it is of */
        asked.night_from_utc = learned_span(s, reading).reset_utc;
    if (is_extreme)
        asked.reset_utc = reading->since_utc;
    for (guint i = learned->readings->len; i-- > 0;) {
        const StoreReading *was = reading_at(learned, i);
        if (!is_same_series(was, reading) || was->reading.time_utc >= asked.time_utc)
            continue;
        if (is_extreme && asked.reset_utc == 0)
            asked.reset_utc = was->reading.time_utc;
        is_same = is_same && fabs(was->reading.value_c - asked.value_c) < SAME_C;
        if (!is_same)
            break;
        asked.same_before++;
        least_c = fmin(least_c, was->basis.computed_c);
        most_c = fmax(most_c, was->basis.computed_c);
        asked.computed_range_k = most_c - least_c;
    }
    return verdict_reading(&asked);
}

/* ---- covers ---- */

static int position_then(const Course *c, int place, int64_t utc, gboolean *ret_known)
{
    int position = 0;
    for (guint i = 0; i < c->positions->len; i++) {
        const StorePosition *p = &g_array_index(c->positions, StorePosition, i);
        if (p->place != place || p->from_utc > utc)
            continue;
        position = MAX(p->position, 0);
        *ret_known = p->known;
    }
    return position;
}

/* Whether every cover over a place stood still from `from_utc` to `to_utc`, as far as is known; the
 * position of the nearest. */
static gboolean stood_still(const Course *c, int place, int64_t from_utc, int64_t to_utc, int *ret)
{
    const Chain *chain = &c->chains[place];
    int positions[CHAIN_LAYERS_MAX] = {0};
    gboolean known = TRUE;
    for (int l = c->layers[place]; l >= 0; l = chain->layers[l].parent) {
        int over = chain->layers[l].place;
        positions[l] = position_then(c, over, to_utc, &known);
        if (!known)
            return FALSE;
        for (guint i = 0; i < c->positions->len; i++) {
            const StorePosition *p = &g_array_index(c->positions, StorePosition, i);
            if (p->place == over && p->from_utc > from_utc && p->from_utc <= to_utc &&
                position_then(c, over, p->from_utc - 1, &known) != MAX(p->position, 0))
                return FALSE;
        }
    }
    *ret = cover_error_position(chain, positions, c->layers[place]);
    return TRUE;
}

static const Cover *nearest_cover(const Course *c, int place)
{
    const Chain *chain = &c->chains[place];
    for (int l = c->layers[place]; l >= 0; l = chain->layers[l].parent) {
        if (chain->layers[l].covered)
            return &chain->layers[l].cover;
    }
    return NULL;
}

static void begin_place(Course *c, int place)
{
    for (int which = 0; which < EXTREMES; which++) {
        double spread_k = chain_spread_k(&c->chains[place], c->layers[place], (Extreme)which);
        cover_filter_begin(spread_k, nearest_cover(c, place), &c->filters[place][which]);
        c->fed_utc[place][which] = 0;
    }
    c->learned->places[place] = (LearnedCount){0};
}

/* ---- one reading ---- */

/* Whether another one told later is of the same night or day. */
static gboolean is_corrected(const Course *c, guint i)
{
    const StoreReading *reading = reading_at(c->learned, i);
    int day = c->spans[i].day;
    for (guint k = i + 1; k < c->learned->readings->len; k++) {
        const StoreReading *later = reading_at(c->learned, k);
        if (later->reading.time_utc > reading->reading.time_utc + 2 * DAY_S)
            break;
        if (is_same_series(later, reading) && c->spans[k].day == day)
            return TRUE;
    }
    return FALSE;
}

/* What open air and place have in common. */
static ReadingUse general_use(const Course *c, guint i)
{
    const StoreReading *reading = reading_at(c->learned, i);
    if (reading->kind == STORE_READING_INSTANT)
        return USE_NOW;
    if (isnan(reading->basis.computed_c) || isnan(reading->basis.bias_k))
        return USE_UNKNOWN;
    if (reading->reading.time_utc < c->spans[i].over_utc)
        return USE_EARLY;
    if (is_corrected(c, i))
        return USE_CORRECTED;
    Judgement judged = learned_judge(c->learned, c->service, reading, clock_now(c->service->clk));
    return judged.learn ? USE_LEARNED : USE_DOUBT;
}

/* What the open air of a site was off in the night or day of `reading`, and the spread it had; NAN
 * not read. */
static double open_air_error(const Course *c, guint of, double *ret_spread_k)
{
    const StoreReading *reading = reading_at(c->learned, of);
    int site = learned_site(c->service, reading);
    double error_k = *ret_spread_k = NAN;
    for (guint i = 0; i < c->learned->readings->len; i++) {
        const StoreReading *open = reading_at(c->learned, i);
        if (open->kind != reading->kind || learned_site(c->service, open) != site ||
            ABS(open->reading.time_utc - reading->reading.time_utc) > 2 * DAY_S ||
            !learned_is_open_air(c->service, open) || c->general[i] != USE_LEARNED ||
            c->spans[i].day != c->spans[of].day)
            continue;
        error_k = open->reading.value_c - open->basis.computed_c;
        *ret_spread_k = open->basis.outdoor_spread_k;
    }
    return error_k;
}

static ReadingUse learn_place(Course *c, guint i)
{
    const StoreReading *reading = reading_at(c->learned, i);
    const StoreBasis *b = &reading->basis;
    int place = reading->reading.place, position;
    Extreme which = extreme_of(reading);
    const ReadingSpan span = c->spans[i];
    if (c->general[i] != USE_LEARNED)
        return c->general[i];
    if (!cover_error_teaches(which, b->light_wm2))
        return USE_LIGHT;
    if (!stood_still(c, place, span.from_utc, span.to_utc, &position))
        return USE_MOVED;
    if (position != b->position)
        return USE_OTHERWISE;
    int64_t *fed_utc = &c->fed_utc[place][which];
    CoverReading read = {
        .position = position,
        .days = *fed_utc == 0 ? 0.0 : (double)(reading->reading.time_utc - *fed_utc) / DAY_S,
        .error_k = reading->reading.value_c - (b->computed_c - b->bias_k),
        .outdoor_spread_k = b->outdoor_spread_k};
    read.open_error_k = open_air_error(c, i, &read.open_spread_k);
    if (!cover_filter_learn(&read, &c->filters[place][which]))
        return USE_UNKNOWN;
    *fed_utc = reading->reading.time_utc;
    c->learned->places[place].used++;
    c->learned->places[place].last_utc = reading->reading.time_utc;
    return USE_LEARNED;
}

static void end_places(Course *c, int64_t now_utc)
{
    for (int place = 0; place < c->service->garden->n_places; place++) {
        for (int which = 0; which < EXTREMES; which++) {
            CoverFilter *filter = &c->filters[place][which];
            int64_t fed_utc = c->fed_utc[place][which];
            if (fed_utc != 0)
                cover_filter_pass((double)(now_utc - fed_utc) / DAY_S, filter);
            for (int p = 0; p < POSITIONS_MAX; p++)
                c->learned->covers[(ptrdiff_t)place * POSITIONS_MAX + p].of[which] =
                    cover_filter_now(filter, p);
        }
    }
}

/* ---- the open air ---- */

typedef struct SiteNights {
    GArray *of[FORECAST_LEADS][EXTREMES]; /* (owned) (element-type ForecastNight) */
    GArray *evenings;                     /* (owned) (element-type EveningPair) */
} SiteNights;

/* The forecasts that were issued of one night or day, each the last of its lead. */
static gboolean add_nights(const Course *c, const StoreReading *reading, SiteNights *nights,
                           GError **error)
{
    const Service *s = c->service;
    int site = learned_site(s, reading);
    Extreme which = extreme_of(reading);
    ReadingSpan span = learned_span(s, reading);
    int64_t extreme_utc = which == EXTREME_LOW ? span.made_by_utc + NIGHT_AHEAD_S : span.to_utc;
    double error_k[FORECAST_LEADS];
    g_autoptr(GArray) issued = NULL;
    if (!store_load_outdoors(s->store, s->garden, site, span.day,
                             which == EXTREME_LOW ? STORE_PREDICTED_MIN : STORE_PREDICTED_MAX,
                             &issued, error))
        return FALSE;
    for (int lead = 0; lead < FORECAST_LEADS; lead++)
        error_k[lead] = NAN;
    for (guint i = 0; i < issued->len; i++) {
        const StorePrediction *p = &g_array_index(issued, StorePrediction, i);
        if (p->forecast_issued_utc > span.made_by_utc || isnan(p->bias_k))
            continue;
        int lead = forecast_error_lead((double)(extreme_utc - p->forecast_issued_utc) / HOUR_S);
        error_k[lead - 1] = reading->reading.value_c - (p->mean_c - p->bias_k);
    }
    for (int lead = 0; lead < FORECAST_LEADS; lead++) {
        const ForecastNight night = {
            .days_ago = (double)(clock_now(s->clk) - reading->reading.time_utc) / DAY_S,
            .error_k = error_k[lead]};
        if (isfinite(error_k[lead]))
            g_array_append_val(nights->of[lead][which], night);
    }
    return TRUE;
}

/* Evenings whose open air was read, beside the minimum that followed. */
static void add_evenings(const Course *c, const StoreReading *low, SiteNights *nights)
{
    ReadingSpan span = learned_span(c->service, low);
    int64_t morning_utc = span.made_by_utc + NIGHT_AHEAD_S;
    for (guint i = 0; i < c->learned->readings->len; i++) {
        const StoreReading *evening = reading_at(c->learned, i);
        if (evening->kind != STORE_READING_INSTANT ||
            evening->reading.time_utc < morning_utc - EVENING_S ||
            evening->reading.time_utc > span.made_by_utc ||
            learned_site(c->service, evening) != learned_site(c->service, low) ||
            !learned_is_open_air(c->service, evening) || isnan(evening->basis.computed_c))
            continue;
        const EveningPair pair = {.evening_k = evening->reading.value_c - evening->basis.computed_c,
                                  .minimum_k = low->reading.value_c - low->basis.computed_c,
                                  .hours =
                                      (double)(morning_utc - evening->reading.time_utc) / HOUR_S};
        g_array_append_val(nights->evenings, pair);
    }
}

static void learn_site(LearnedSite *site, const SiteNights *nights)
{
    for (int lead = 0; lead < FORECAST_LEADS; lead++) {
        for (int which = 0; which < EXTREMES; which++) {
            const GArray *of = nights->of[lead][which];
            site->lead[lead][which] =
                forecast_error_learn(weather_spread_k(24.0 * (lead + 1)),
                                     (const ForecastNight *)(gconstpointer)of->data, (int)of->len);
        }
    }
    site->decay_h =
        tonight_decay_h((const EveningPair *)(gconstpointer)nights->evenings->data,
                        (int)nights->evenings->len, site->lead[0][EXTREME_LOW].spread_k);
}

static SiteNights nights_new(void)
{
    SiteNights nights = {.evenings = g_array_new(FALSE, FALSE, sizeof(EveningPair))};
    for (int lead = 0; lead < FORECAST_LEADS; lead++) {
        for (int which = 0; which < EXTREMES; which++)
            nights.of[lead][which] = g_array_new(FALSE, FALSE, sizeof(ForecastNight));
    }
    return nights;
}

static void nights_clear(SiteNights *nights)
{
    for (int lead = 0; lead < FORECAST_LEADS; lead++) {
        for (int which = 0; which < EXTREMES; which++)
            g_array_unref(nights->of[lead][which]);
    }
    g_array_unref(nights->evenings);
}

/* The thermometer hangs elsewhere: what was read before is of another corner of the site. */
static void forget_nights(SiteNights *nights)
{
    for (int lead = 0; lead < FORECAST_LEADS; lead++) {
        for (int which = 0; which < EXTREMES; which++)
            g_array_set_size(nights->of[lead][which], 0);
    }
    g_array_set_size(nights->evenings, 0);
}

static gboolean learn_open_air(Course *c, int site, GError **error)
{
    SiteNights nights = nights_new();
    LearnedSite *learned = &c->learned->sites[site];
    gboolean ok = TRUE;
    for (guint i = 0; ok && i < c->learned->readings->len; i++) {
        const StoreReading *reading = reading_at(c->learned, i);
        if (learned_site(c->service, reading) != site || !learned_is_open_air(c->service, reading))
            continue;
        if (reading->moved) {
            forget_nights(&nights);
            learned->open_air = (LearnedCount){0};
        }
        ReadingUse use = c->general[i];
        g_array_index(c->learned->uses, ReadingUse, i) = use;
        if (use != USE_LEARNED)
            continue;
        ok = add_nights(c, reading, &nights, error);
        if (reading->kind == STORE_READING_MINIMUM)
            add_evenings(c, reading, &nights);
        learned->open_air.used++;
        learned->open_air.last_utc = reading->reading.time_utc;
    }
    if (ok)
        learn_site(learned, &nights);
    nights_clear(&nights);
    return ok;
}

/* ---- all of it ---- */

static void course_clear(Course *c)
{
    g_clear_pointer(&c->positions, g_array_unref);
    g_free(c->chains);
    g_free(c->layers);
    g_free(c->filters);
    g_free(c->fed_utc);
    g_free(c->spans);
    g_free(c->general);
}

/* Readings of what the garden no longer has are left out. */
static gboolean load(Course *c, GError **error)
{
    const Service *s = c->service;
    int64_t now_utc = clock_now(s->clk), from_utc = now_utc - (int64_t)HISTORY_D * DAY_S;
    if (!store_load_readings(s->store, s->garden, from_utc, now_utc + 1, &c->learned->readings,
                             error) ||
        !store_load_position_history(s->store, s->garden, from_utc, &c->positions, error))
        return FALSE;
    for (guint i = c->learned->readings->len; i-- > 0;) {
        if (learned_site(s, reading_at(c->learned, i)) < 0)
            g_array_remove_index(c->learned->readings, i);
    }
    const guint n = c->learned->readings->len;
    g_array_set_size(c->learned->uses, n);
    c->spans = g_new0(ReadingSpan, n + 1);
    c->general = g_new0(ReadingUse, n + 1);
    for (guint i = 0; i < n; i++) {
        if (reading_at(c->learned, i)->kind != STORE_READING_INSTANT)
            c->spans[i] = learned_span(s, reading_at(c->learned, i));
    }
    for (guint i = 0; i < n; i++)
        c->general[i] = general_use(c, i);
    return TRUE;
}

static void find_layers(Course *c)
{
    const Garden *garden = c->service->garden;
    for (int place = 0; place < garden->n_places; place++) {
        int root = place;
        while (garden->places[root].parent >= 0)
            root = garden->places[root].parent;
        if (!chain_build(garden, root, &c->chains[place]))
            continue; /* refused when the state was built */
        for (int l = 0; l < c->chains[place].n; l++) {
            if (c->chains[place].layers[l].place == place)
                c->layers[place] = l;
        }
        begin_place(c, place);
    }
}

static gboolean learn(Course *c, GError **error)
{
    const Service *s = c->service;
    if (!load(c, error))
        return FALSE;
    find_layers(c);
    for (int site = 0; site < s->garden->n_sites; site++) {
        if (!learn_open_air(c, site, error))
            return FALSE;
    }
    for (guint i = 0; i < c->learned->readings->len; i++) {
        const StoreReading *reading = reading_at(c->learned, i);
        if (learned_is_open_air(s, reading))
            continue;
        if (reading->moved)
            begin_place(c, reading->reading.place);
        g_array_index(c->learned->uses, ReadingUse, i) = learn_place(c, i);
    }
    end_places(c, clock_now(s->clk));
    return TRUE;
}

Learned *learned_new(const Service *s, GError **error)
{
    const gsize places = (gsize)s->garden->n_places;
    g_autoptr(Learned) learned = g_new0(Learned, 1);
    learned->covers = g_new0(CoverError, places * POSITIONS_MAX);
    learned->places = g_new0(LearnedCount, places);
    learned->sites = g_new0(LearnedSite, s->garden->n_sites);
    learned->uses = g_array_new(FALSE, TRUE, sizeof(ReadingUse));
    Course course = {.service = s,
                     .learned = learned,
                     .chains = g_new0(Chain, places),
                     .layers = g_new0(int, places),
                     .filters = g_malloc0_n(places, sizeof(CoverFilter[EXTREMES])),
                     .fed_utc = g_malloc0_n(places, sizeof(int64_t[EXTREMES]))};
    gboolean ok = learn(&course, error);
    course_clear(&course);
    return ok ? g_steal_pointer(&learned) : NULL;
}

void learned_free(Learned *learned)
{
    if (learned == NULL)
        return;
    g_free(learned->covers);
    g_free(learned->places);
    g_free(learned->sites);
    g_clear_pointer(&learned->readings, g_array_unref);
    g_clear_pointer(&learned->uses, g_array_unref);
    g_free(learned);
}

/* Spreads as a share of the assumed; between the middles of two lead days in proportion, so that
 * nothing jumps. */
CoverError learned_open_air(const Learned *learned, int site, double lead_h)
{
    const LearnedSite *at = &learned->sites[site];
    double lead = fmax(0.0, fmin(FORECAST_LEADS - 1.0, lead_h / 24.0 - 0.5));
    int before = (int)lead, after = MIN(before + 1, FORECAST_LEADS - 1);
    double share = lead - before;
    CoverError error = {0};
    for (int which = 0; which < EXTREMES; which++) {
        const LearnedError *a = &at->lead[before][which], *b = &at->lead[after][which];
        double wide = a->spread_k / weather_spread_k(24.0 * (before + 1));
        double wider = b->spread_k / weather_spread_k(24.0 * (after + 1));
        error.of[which] =
            (LearnedError){.bias_k = a->bias_k + share * (b->bias_k - a->bias_k),
                           .spread_k = weather_spread_k(lead_h) * (wide + share * (wider - wide)),
                           .n = MAX(a->n, b->n)};
    }
    return error;
}

ReadingUse learned_use(const Learned *learned, const StoreReading *reading)
{
    for (guint i = 0; i < learned->readings->len; i++) {
        const StoreReading *one = reading_at(learned, i);
        if (is_same_series(one, reading) && one->reading.time_utc == reading->reading.time_utc)
            return g_array_index(learned->uses, ReadingUse, i);
    }
    return USE_UNKNOWN;
}

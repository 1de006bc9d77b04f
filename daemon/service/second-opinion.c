/* SPDX-License-Identifier: MIT */
#include "service/second-opinion.h"

#include <math.h>

#include "climate/night.h"
#include "store/store-weather.h"

#define HOUR_S 3600
#define EVENING_REACH_S HOUR_S /* a reading so near the evening's hour is the evening's; chosen */
#define FALL_LEAST_S HOUR_S /* between the two of a fall: tenths of a degree grow by it; chosen */
#define FITTED 3            /* numbers that the regression takes from its nights */

/* What the two methods go by of a night. */
typedef struct Evening {
    const StoreReading *reading; /* (unowned) NULL: not read */
    int64_t sunrise_utc;
    gboolean radiative;
    double dew_point_c; /* NAN: not in the forecast */
} Evening;

static const StoreReading *reading_at(const Learned *learned, guint i)
{
    return &g_array_index(learned->readings, StoreReading, i);
}

/* The air at a time in the open of that site, and nothing speaks against it. */
static gboolean is_sound(const Service *s, const Learned *learned, int site, const StoreReading *r)
{
    return r->kind == STORE_READING_INSTANT && learned_site(s, r) == site &&
           learned_is_open_air(s, r) && learned_judge(learned, s, r, r->reading.time_utc).learn;
}

/* The forecast of the hours from the evening's reading to sunrise, as it was issued by then. */
static gboolean put_forecast(const Service *s, int site, Evening *evening, GError **error)
{
    const int64_t from_utc = evening->reading->reading.time_utc / HOUR_S * HOUR_S;
    g_autoptr(StoreForecast) forecast = NULL;
    OutdoorStep night = {0};
    int n = 0;

    if (!store_load_forecast(s->store, s->garden->sites[site].name,
                             evening->reading->reading.time_utc, &forecast, error))
        return FALSE;
    for (guint i = 0; forecast != NULL && i < forecast->hours->len; i++) {
        const WeatherHour *hour = &g_array_index(forecast->hours, WeatherHour, i);
        if (hour->time_utc < from_utc || hour->time_utc >= evening->sunrise_utc)
            continue;
        if (hour->time_utc == from_utc && !(hour->estimated & EST_DEW_POINT))
            evening->dew_point_c = hour->dew_point_c;
        night.wind_ms += hour->wind_ms;
        night.cloud += hour->cloud_pct / 100.0;
        night.precipitation_mm += isnan(hour->precipitation_mm) ? 0.0 : hour->precipitation_mm;
        n++;
    }
    night.wind_ms /= n;
    night.cloud /= n;
    evening->radiative = n > 0 && night_is_radiative(&night);
    return TRUE;
}

/* How the night that begins on `day` began, by readings from the index `first` on. */
static gboolean read_evening(const Service *s, const Learned *learned, int site, int day,
                             guint first, Evening *ret, GError **error)
{
    Evening evening = {.dew_point_c = NAN};
    int64_t sunset_utc, nearest_s = EVENING_REACH_S + 1;

    learned_night(s, site, day, &sunset_utc, &evening.sunrise_utc);
    const int64_t hour_utc = sunset_utc + (int64_t)(NIGHT_EVENING_H * HOUR_S);
    for (guint i = first; i < learned->readings->len; i++) {
        const StoreReading *r = reading_at(learned, i);
        const int64_t off_s = ABS(r->reading.time_utc - hour_utc);
        if (off_s >= nearest_s || !is_sound(s, learned, site, r))
            continue;
        nearest_s = off_s;
        evening.reading = r;
    }
    if (evening.reading != NULL && !put_forecast(s, site, &evening, error))
        return FALSE;
    *ret = evening;
    return TRUE;
}

/* Where the thermometer of the open air hangs since: readings before are of another corner. */
static guint first_reading(const Service *s, const Learned *learned, int site)
{
    guint first = 0;

    for (guint i = 0; i < learned->readings->len; i++) {
        const StoreReading *r = reading_at(learned, i);
        if (r->moved && learned_site(s, r) == site && learned_is_open_air(s, r))
            first = i;
    }
    return first;
}

/* Past clear and calm nights, the newest first. */
static gboolean past_nights(const Service *s, const Learned *learned, int site, int before_day,
                            guint first, NightRecord *records, int *ret_n, GError **error)
{
    int n = 0;

    for (guint i = learned->readings->len; i-- > first && n < NIGHT_RECORDS_MAX;) {
        const StoreReading *low = reading_at(learned, i);
        Evening evening;
        if (low->kind != STORE_READING_MINIMUM || learned_site(s, low) != site ||
            !learned_is_open_air(s, low) ||
            g_array_index(learned->uses, ReadingUse, i) != USE_LEARNED)
            continue;
        const int day = learned_span(s, low).day;
        if (day >= before_day)
            continue;
        if (!read_evening(s, learned, site, day, first, &evening, error))
            return FALSE;
        if (evening.reading == NULL || !evening.radiative || isnan(evening.dew_point_c))
            continue;
        records[n++] = (NightRecord){.evening_c = evening.reading->reading.value_c,
                                     .dew_point_c = evening.dew_point_c,
                                     .low_c = low->reading.value_c};
    }
    *ret_n = n;
    return TRUE;
}

/* The last reading of this night that is colder than the evening's, and late enough after it. */
static void add_fall(const Service *s, const Learned *learned, int site, const Evening *evening,
                     SecondOpinion *opinion)
{
    const Reading *from = &evening->reading->reading;

    for (guint i = learned->readings->len; i-- > 0;) {
        const Reading *to = &reading_at(learned, i)->reading;
        if (to->time_utc < from->time_utc + FALL_LEAST_S)
            return;
        if (to->time_utc > evening->sunrise_utc ||
            !is_sound(s, learned, site, reading_at(learned, i)))
            continue;
        if (to->value_c >= from->value_c)
            return;
        opinion->from_utc = from->time_utc;
        opinion->to_utc = to->time_utc;
        opinion->fall_c =
            night_trend_low_c(from->value_c, to->value_c, (double)(to->time_utc - from->time_utc),
                              (double)(evening->sunrise_utc - from->time_utc));
        return;
    }
}

gboolean second_opinion(const Service *s, const Learned *learned, int site, int day,
                        SecondOpinion *ret, GError **error)
{
    const guint first = first_reading(s, learned, site);
    SecondOpinion opinion = {0};
    NightRecord records[NIGHT_RECORDS_MAX];
    NightRegression regression;
    Evening evening;
    int n = 0;

    if (!read_evening(s, learned, site, day, first, &evening, error))
        return FALSE;
    if (evening.reading == NULL || !evening.radiative) {
        *ret = opinion;
        return TRUE;
    }
    add_fall(s, learned, site, &evening, &opinion);
    if (!isnan(evening.dew_point_c) &&
        !past_nights(s, learned, site, day, first, records, &n, error))
        return FALSE;
    if (night_fit(records, n, &regression)) {
        opinion.nights = regression.n;
        opinion.regression_c =
            night_predict_c(&regression, evening.reading->reading.value_c, evening.dew_point_c);
        opinion.regression_spread_k =
            regression.rmse_k * sqrt(regression.n / (double)(regression.n - FITTED));
    }
    *ret = opinion;
    return TRUE;
}

/* SPDX-License-Identifier: MIT */
/*
 * After two and a half days the service gives a row each six hours. A night's low lies between two
 * of them; it is told as the lowest of the six hours, without its hour. So the air goes in straight
 * lines from one row by that low, and by the high, to the next: at sunrise the low and two hours
 * after noon the high, where these fall between the rows (as in the curve of normals.c), else
 * beside the row that is nearest to it. No more is known, and no smoother curve is honest.
 */
#include "weather/met-norway-parse.h"

#include <math.h>

#include "climate/air.h"
#include "climate/sun.h"

#define S_PER_H 3600
#define HIGH_AFTER_NOON_S (2 * S_PER_H) /* Linvill 1990 */
/* From the 10th to the 90th percentile of a normal distribution, in standard deviations. */
#define P10_TO_P90_SD 2.5631

static const MetNorwayRow *row_at(const GArray *rows, guint i)
{
    return &g_array_index(rows, MetNorwayRow, i);
}

static WeatherHour *hour_at(GArray *hours, int64_t i)
{
    return i >= 0 && i < (int64_t)hours->len ? &g_array_index(hours, WeatherHour, i) : NULL;
}

/* ---- what a row tells by itself ---- */

/*
 * Dew point where only the humidity is given: computed, not guessed. FAO-56: eq. 54 for the vapour
 * pressure that it stands for, eq. 11 turned round for the dew point.
 */
static double dew_point_c(const MetNorwayRow *row)
{
    if (!isnan(row->dew_point_c) || isnan(row->humidity_pct) || row->humidity_pct <= 0)
        return row->dew_point_c;
    double share = fmin(row->humidity_pct, 100) / 100;
    return air_dew_point_c(share * air_saturation_kpa(row->temperature_c));
}

static void put_instants(WeatherHour *hour, const MetNorwayRow *row)
{
    hour->temperature_c = row->temperature_c;
    hour->dew_point_c = dew_point_c(row);
    hour->cloud_pct = row->cloud_pct;
    hour->wind_ms = row->wind_ms;
    hour->spread_k = (row->p90_c - row->p10_c) / P10_TO_P90_SD;
}

/* The service does not say to which side of the instant a gust belongs: it counts on both. */
static void put_gust(GArray *hours, int64_t i, double gust_ms)
{
    for (int64_t k = i; k <= i + 1; k++) {
        WeatherHour *hour = hour_at(hours, k);
        if (hour != NULL)
            hour->gust_ms = fmax(hour->gust_ms, gust_ms); /* fmax passes over NAN */
    }
}

/* Rain of one hour, else an even share of that of six. */
static void put_rain(GArray *hours, int64_t i, const MetNorwayRow *row)
{
    if (!isnan(row->rain_1h_mm)) {
        WeatherHour *hour = hour_at(hours, i + 1);
        if (hour != NULL) {
            hour->precipitation_mm = row->rain_1h_mm;
            hour->estimated &= ~(uint32_t)EST_PRECIPITATION;
        }
        return;
    }
    for (int64_t k = i + 1; k <= i + MET_NORWAY_STEP_H && !isnan(row->rain_6h_mm); k++) {
        WeatherHour *hour = hour_at(hours, k);
        if (hour == NULL ||
            (!isnan(hour->precipitation_mm) && !(hour->estimated & EST_PRECIPITATION)))
            continue;
        hour->precipitation_mm = row->rain_6h_mm / MET_NORWAY_STEP_H;
        hour->estimated |= EST_PRECIPITATION;
    }
}

/* ---- between two rows ---- */

/* A stretch of hours from one row with a temperature to the next. */
typedef struct Step {
    WeatherHour *hours; /* hours[0] and hours[n] are the rows */
    int n;
    const Site *site;
} Step;

/* The hour of the step that is nearest to `utc`, 0 where it is not within the step. */
static int inner_hour(const Step *step, int64_t utc)
{
    int64_t since_s = utc - step->hours[0].time_utc;
    if (since_s <= 0 || since_s >= (int64_t)step->n * S_PER_H)
        return 0;
    return CLAMP((int)((since_s + S_PER_H / 2) / S_PER_H), 1, step->n - 1);
}

/* The hour of sunrise, or of the warmest time of a fine day, within the step; 0 none. */
static int solar_hour(const Step *step, bool low)
{
    for (int side = 0; side <= 1; side++) {
        int64_t noon = sun_noon_utc(step->hours[side * step->n].time_utc, step->site->longitude);
        int64_t rise, set, at = noon + HIGH_AFTER_NOON_S;
        if (low) {
            if (!sun_rise_set(noon, step->site->latitude, step->site->longitude, SUN_HORIZON_DEG,
                              &rise, &set))
                continue;
            at = rise;
        }
        int hour = inner_hour(step, at);
        if (hour > 0)
            return hour;
    }
    return 0;
}

/* The hour in which an extreme between the rows is put. */
static int extreme_hour(const Step *step, bool low)
{
    int hour = solar_hour(step, low);
    double rise_k = step->hours[step->n].temperature_c - step->hours[0].temperature_c;
    if (hour > 0)
        return hour;
    if (rise_k == 0)
        return step->n / 2;
    return (rise_k > 0) == low ? 1 : step->n - 1;
}

static void put_line(Step *step, int from, int to)
{
    double first_c = step->hours[from].temperature_c, last_c = step->hours[to].temperature_c;
    for (int i = from + 1; i < to; i++) {
        step->hours[i].temperature_c = first_c + (last_c - first_c) * (i - from) / (to - from);
        step->hours[i].estimated |= EST_INTERPOLATED;
    }
}

/* Keeps two extremes apart: of two in one hour that which is nearer to its row goes towards it; in
 * a step with one hour only the low is kept. */
static void part(const Step *step, int *low_at, int *high_at)
{
    if (*low_at == 0 || *low_at != *high_at)
        return;
    bool rises = step->hours[step->n].temperature_c >= step->hours[0].temperature_c;
    int *first = rises ? low_at : high_at, *second = rises ? high_at : low_at;
    if (step->n == 2)
        *high_at = 0;
    else if (*second + 1 < step->n)
        ++*second;
    else
        --*first;
}

/*
 * Temperatures between the rows of a step, such that the hours from its first row on for six hours
 * are as low as `row` tells, and as high.
 */
static void fill_temperatures(Step *step, const MetNorwayRow *row, int n_after)
{
    double low_c = NAN, high_c = NAN;
    for (int i = 0; i <= n_after && i <= MET_NORWAY_STEP_H; i++) {
        /* NOLINTNEXTLINE(clang-analyzer-core.NullDereference): each row has an hour */
        low_c = fmin(low_c, step->hours[i].temperature_c);
        high_c = fmax(high_c, step->hours[i].temperature_c);
    }
    int low_at = row->low_c < low_c ? extreme_hour(step, true) : 0;
    int high_at = row->high_c > high_c ? extreme_hour(step, false) : 0;
    part(step, &low_at, &high_at);
    int from = 0;
    for (int i = 1; i <= step->n; i++) {
        if (i == low_at)
            step->hours[i].temperature_c = row->low_c;
        else if (i == high_at)
            step->hours[i].temperature_c = row->high_c;
        else if (i < step->n)
            continue;
        step->hours[i].estimated |= i < step->n ? EST_INTERPOLATED : 0;
        put_line(step, from, i);
        from = i;
    }
}

/* One kind of instants on a straight line between the rows, where both have it. */
static void fill_line(Step *step, size_t offset, uint32_t mark)
{
    double first = *(double *)(void *)((char *)&step->hours[0] + offset);
    double last = *(double *)(void *)((char *)&step->hours[step->n] + offset);
    for (int i = 1; i < step->n && !isnan(first) && !isnan(last); i++) {
        double *value = (double *)(void *)((char *)&step->hours[i] + offset);
        if (!isnan(*value))
            continue;
        *value = first + (last - first) * i / step->n;
        step->hours[i].estimated |= mark;
    }
}

/*
 * From the last step to the first: where a row's six hours reach beyond the next row, the low is
 * looked for there before it is put here.
 */
static void fill_steps(GArray *hours, const GArray *rows, const Site *site)
{
    int64_t start_utc = row_at(rows, 0)->time_utc;
    int64_t next = -1; /* the first hour after the row that has a temperature */
    for (guint r = rows->len; r-- > 0;) {
        const MetNorwayRow *row = row_at(rows, r);
        if (isnan(row->temperature_c))
            continue;
        int64_t i = (row->time_utc - start_utc) / S_PER_H;
        if (next > i + 1 && next <= i + MET_NORWAY_STEP_H && !isnan(row->low_c)) {
            Step step = {.hours = hour_at(hours, i), .n = (int)(next - i), .site = site};
            fill_temperatures(&step, row, (int)MIN(hours->len - 1 - i, MET_NORWAY_STEP_H));
            fill_line(&step, offsetof(WeatherHour, dew_point_c), EST_DEW_POINT);
            fill_line(&step, offsetof(WeatherHour, cloud_pct), EST_CLOUD);
            fill_line(&step, offsetof(WeatherHour, wind_ms), EST_WIND);
        }
        next = i;
    }
}

GArray *met_norway_hours(const GArray *rows, const Site *site)
{
    int64_t start_utc = row_at(rows, 0)->time_utc;
    int64_t end_utc = row_at(rows, rows->len - 1)->time_utc;
    GArray *hours = g_array_new(FALSE, FALSE, sizeof(WeatherHour));
    for (int64_t utc = start_utc; utc <= end_utc; utc += S_PER_H) {
        WeatherHour missing = weather_hour_missing(utc);
        g_array_append_val(hours, missing);
    }
    for (guint r = 0; r < rows->len; r++) {
        const MetNorwayRow *row = row_at(rows, r);
        int64_t i = (row->time_utc - start_utc) / S_PER_H;
        put_instants(hour_at(hours, i), row);
        put_gust(hours, i, row->gust_ms);
        put_rain(hours, i, row);
    }
    fill_steps(hours, rows, site);
    return hours;
}

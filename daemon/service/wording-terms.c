/* SPDX-License-Identifier: MIT */
/* Numbers, odds, times and the trade's words. */
#include "base/local-time.h"
#include "service/wording-names.h"
#include "service/wording-private.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define MINUS "\u2212"
#define LAST_UTC INT64_C(253370764800) /* 9999-01-01: later there is no calendar */
#define CLEAR_PCT 25.0                 /* 2/8 */
#define CLOUDY_PCT 75.0                /* 6/8; both chosen */
#define DAY_S 86400
#define NEAR_DAYS 6        /* within them a weekday says which day is meant */
#define WHOLE_MAX 999999.0 /* figures beyond are not weather */

static const char *const weekdays[] = {"Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"};
static const char *const months[] = {"Jan", "Feb", "Mar", "Apr", "May", "Jun",
                                     "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};

/* ---- numbers ---- */

static char *whole_text(double value)
{
    if (isnan(value))
        return g_strdup("");
    const long whole = lround(CLAMP(value, -WHOLE_MAX, WHOLE_MAX));

    return g_strdup_printf("%s%ld", whole < 0 ? MINUS : "", labs(whole));
}

char *wording_whole(double value)
{
    return whole_text(fabs(value));
}

static bool shows_fahrenheit(const Garden *garden)
{
    return garden != NULL && garden->fahrenheit;
}

char *wording_degrees(const Garden *garden, double c)
{
    return whole_text(shows_fahrenheit(garden) ? c * 1.8 + 32.0 : c);
}

static char *with_unit(const Garden *garden, const char *number)
{
    return *number == '\0' ? g_strdup("")
                           : g_strconcat(number, shows_fahrenheit(garden) ? " °F" : " °C", NULL);
}

char *wording_temperature(const Garden *garden, double c)
{
    g_autofree char *number = wording_degrees(garden, c);

    return with_unit(garden, number);
}

char *wording_difference(const Garden *garden, double k)
{
    g_autofree char *number = wording_whole(shows_fahrenheit(garden) ? k * 1.8 : k);

    return with_unit(garden, number);
}

/* ---- odds ---- */

char *wording_estimates(uint32_t estimated)
{
    static const struct {
        uint32_t bit;
        const char *what;
    } rows[] = {
        {EST_RADIATION, "sunshine (from the cloud)"},
        {EST_INTERPOLATED, "temperatures between its hours"},
        {EST_DEW_POINT, "dew point"},
        {EST_CLOUD, "cloud"},
        {EST_WIND, "wind"},
        {EST_PRECIPITATION, "the hours of the rain"},
    };
    g_autoptr(GString) text = g_string_new(NULL);

    for (guint i = 0; i < G_N_ELEMENTS(rows); i++)
        if (estimated & rows[i].bit)
            g_string_append_printf(text, "%s%s", text->len > 0 ? ", " : "", rows[i].what);
    return text->len > 0 ? g_strdup_printf("Not in the forecast, so estimated: %s.", text->str)
                         : NULL;
}

/* Upper edges; the accepted odds of damage, 1 %, are the first. Chosen: finer where it matters
 * more. */
static const double edges[] = {0.01, 0.05, 0.10, 0.25, 0.50, 0.75};
static const char *const bands[] = {"practically none", "1–5 %",   "5–10 %",   "10–25 %",
                                    "25–50 %",          "50–75 %", "over 75 %"};
#define EDGE_SLACK 0.1 /* of the edge; chosen */

int wording_odds_band(double odds, int previous_band)
{
    if (isnan(odds))
        return -1;
    int band = 0;
    while (band < (int)G_N_ELEMENTS(edges) && odds >= edges[band])
        band++;
    if (previous_band < 0 || previous_band > (int)G_N_ELEMENTS(edges) ||
        ABS(band - previous_band) != 1)
        return band;
    const double edge = edges[MIN(band, previous_band)];

    return fabs(odds - edge) <= EDGE_SLACK * edge ? previous_band : band;
}

const char *wording_odds_words(int band)
{
    return band < 0 || band >= (int)G_N_ELEMENTS(bands) ? "" : bands[band];
}

const char *wording_odds(double odds)
{
    return wording_odds_words(wording_odds_band(odds, -1));
}

char *wording_odds_of(const char *what, double odds)
{
    const int band = wording_odds_band(odds, -1);

    if (band < 0)
        return g_strdup("");
    return band == 0 ? g_strdup_printf("hardly any risk of %s", what)
                     : g_strdup_printf("odds of %s %s", what, wording_odds_words(band));
}

/* ---- times ---- */

bool wording_local(const WordingContext *context, int site, int64_t utc, int *ret_day,
                   int *ret_minute)
{
    g_autoptr(GTimeZone) universal = NULL;
    GTimeZone *zone = NULL;

    if (utc <= 0 || utc >= LAST_UTC)
        return false;
    if (context->zones != NULL && site >= 0 && site < context->garden->n_sites)
        zone = context->zones[site];
    if (zone == NULL) {
        universal = g_time_zone_new_utc();
        zone = universal;
    }
    *ret_minute = local_day_and_minute(zone, utc, ret_day);
    return true;
}

char *wording_clock(const WordingContext *context, int site, int64_t utc)
{
    int day, minute;

    if (!wording_local(context, site, utc, &day, &minute))
        return g_strdup("");
    return g_strdup_printf("%02d:%02d", minute / 60, minute % 60);
}

static char *day_text(int day, bool with_date)
{
    int year, month, day_of_month;
    const char *weekday = weekdays[local_weekday(day) - 1];

    if (!with_date)
        return g_strdup(weekday);
    local_day_to_date(day, &year, &month, &day_of_month);
    return g_strdup_printf("%s %d %s", weekday, day_of_month, months[month - 1]);
}

/* Whether a local day lies within a week of today, so that its weekday says which is meant. */
static bool is_near(const WordingContext *context, int site, int day)
{
    const int64_t day_utc = context->now_utc / DAY_S; /* at most one off the local one */
    int today, minute;

    if (context->now_utc > 0 && llabs(day - day_utc) > NEAR_DAYS + 1)
        return false;
    return wording_local(context, site, context->now_utc, &today, &minute) &&
           ABS(day - today) <= NEAR_DAYS;
}

/* A day as it is called from now: its weekday, with the date where that could be another week's. */
static char *called(const WordingContext *context, int site, int day)
{
    return day_text(day, !is_near(context, site, day));
}

char *wording_date(const WordingContext *context, int site, int64_t utc)
{
    int day, minute;

    return wording_local(context, site, utc, &day, &minute) ? day_text(day, true) : g_strdup("");
}

char *wording_when(const WordingContext *context, int site, int64_t utc)
{
    int day, minute;

    if (!wording_local(context, site, utc, &day, &minute))
        return g_strdup("");
    g_autofree char *name = called(context, site, day);

    return g_strdup_printf("%s %02d:%02d", name, minute / 60, minute % 60);
}

char *wording_night(const WordingContext *context, int site, int64_t utc)
{
    int day, minute;

    if (!wording_local(context, site, utc, &day, &minute))
        return g_strdup("at night");
    g_autofree char *name = called(context, site, minute >= 15 * 60 ? day + 1 : day);

    return g_strdup_printf("in the night to %s", name);
}

char *wording_moment(const WordingContext *context, int site, int64_t utc)
{
    static const struct {
        int until_h;
        const char *lead; /* before the day; NULL: the night */
        const char *part; /* "on Fri afternoon", "on the afternoon of Fri 24 Apr" */
    } parts[] = {
        {4, NULL, NULL},         {9, "early on", NULL},
        {11, "on", "morning"},   {14, "around noon on", NULL},
        {18, "on", "afternoon"}, {21, "on", "evening"},
        {24, NULL, NULL},
    };
    int day, minute;
    gsize i = 0;

    if (!wording_local(context, site, utc, &day, &minute))
        return g_strdup("then");
    while (minute >= parts[i].until_h * 60)
        i++;
    if (parts[i].lead == NULL)
        return wording_night(context, site, utc);
    g_autofree char *name = called(context, site, day);

    if (parts[i].part == NULL)
        return g_strdup_printf("%s %s", parts[i].lead, name);
    if (strchr(name, ' ') != NULL)
        return g_strdup_printf("on the %s of %s", parts[i].part, name);
    return g_strdup_printf("on %s %s", name, parts[i].part);
}

/* ---- the trade's words ---- */

const char *wording_stage(Stage stage)
{
    switch (stage) {
    case STAGE_SOWN:
        return "sown";
    case STAGE_EMERGED:
        return "emerged";
    case STAGE_GROWING_ON:
        return "growing on";
    case STAGE_SETTLING:
        return "settling";
    case STAGE_HARDENING:
        return "hardening";
    case STAGE_READY:
        return "ready";
    case STAGE_PLANTED_OUT:
        return "planted out";
    case STAGE_ENDED:
        return "ended";
    }
    return "unknown";
}

const char *wording_limit(LimitKind limit)
{
    switch (limit) {
    case LIMIT_NONE:
        return "nothing";
    case LIMIT_DAMAGE:
        return "frost damage";
    case LIMIT_CHILL:
        return "cold that spoils the harvest";
    case LIMIT_CHECK:
        return "a night colder than allowed";
    case LIMIT_HEAT:
        return "heat";
    case LIMIT_GUST:
        return "wind";
    case LIMIT_SCORCH:
        return "too much light and wind at once";
    case LIMIT_FROZEN:
        return "frozen plants";
    case LIMIT_CAPACITY:
        return "no room";
    case LIMIT_NO_VISIT:
        return "nobody there";
    case LIMIT_PROGRESS:
        return "progress";
    case LIMIT_EXPOSURE:
        return "days in the open";
    case LIMIT_NIGHTS:
        return "nights under less cover";
    case LIMIT_HOLD:
        return "rest after a check";
    case LIMIT_SETTLING:
        return "settling after potting on";
    case LIMIT_SIZE:
        return "size";
    case LIMIT_SOIL:
        return "cold ground";
    case LIMIT_GROUND:
        return "wet ground or wind";
    case LIMIT_DESTINATION:
        return "nights at the destination";
    case LIMIT_HELD_TOO_LONG:
        return "too long in its container";
    case LIMIT_WATER:
        return "dry trays";
    case LIMIT_DAMP:
        return "damp under a shut cover";
    case LIMIT_DAYLIGHT:
        return "too dim and warm";
    }
    return "unknown";
}

const char *wording_place_kind(PlaceKind kind)
{
    switch (kind) {
    case PLACE_PROPAGATOR:
        return "propagator";
    case PLACE_SILL:
        return "window sill";
    case PLACE_PORCH:
        return "porch";
    case PLACE_TUNNEL:
        return "polytunnel";
    case PLACE_GREENHOUSE:
        return "greenhouse";
    case PLACE_COLD_FRAME:
        return "cold frame";
    case PLACE_BOX:
        return "box";
    case PLACE_FLEECE:
        return "fleece";
    case PLACE_STANDING:
        return "standing ground";
    case PLACE_BED:
        return "bed";
    }
    return "place";
}

const char *wording_sky(double cloud_pct)
{
    return cloud_pct < CLEAR_PCT ? "clear" : cloud_pct < CLOUDY_PCT ? "partly" : "cloudy";
}

static void add_device(GString *text, const char *what, const char *how)
{
    g_string_append_printf(text, "%s%s%s", text->len > 0 ? ", " : "", what, how);
}

char *wording_devices(const Garden *garden, const Place *place)
{
    g_autoptr(GString) text = g_string_new(NULL);

    if (!isnan(place->set_point_c)) {
        g_autofree char *to = wording_temperature(garden, place->set_point_c);
        add_device(text, place->kind == PLACE_PROPAGATOR ? "heated to " : "heater to ", to);
        if (place->lift_k > 0.0)
            g_string_append_printf(text, " (at most %.0f %s above its room)",
                                   garden->fahrenheit ? 1.8 * place->lift_k : place->lift_k,
                                   garden->fahrenheit ? "°F" : "°C");
    }
    if (place->cable_w > 0.0) {
        g_autofree char *to = wording_temperature(garden, place->soil_set_point_c);
        add_device(text, "soil cable to ", to);
    }
    if (place->water_l > 0.0) {
        g_autofree char *litres = g_strdup_printf("%.0f l", place->water_l);
        add_device(text, litres, " of water");
    }
    if (place->covered && !isnan(place->cover.opener_from_c)) {
        g_autofree char *from = wording_temperature(garden, place->cover.opener_from_c);
        add_device(text, "opens by itself from ", from);
    }
    return text->len > 0 ? g_strdup(text->str) : NULL;
}

char *wording_visit_minutes(const WordingContext *context, int site, double set_min, double min,
                            int reports)
{
    g_autofree char *where = wording_site_words(context, site);
    g_autofree char *minutes = wording_whole(min);
    g_autofree char *set = wording_whole(set_min);
    const bool home = g_str_equal(where, "home");

    if (reports <= 0)
        return NULL;
    return g_strdup_printf(
        "A visit %s%s is reckoned with %s min beside its jobs, by %d %s%s%s%s.",
        home ? "at " : "to ", where, minutes, reports, reports == 1 ? "report" : "reports",
        g_str_equal(minutes, set) ? "" : "; set are ", g_str_equal(minutes, set) ? "" : set,
        g_str_equal(minutes, set) ? "" : " min");
}

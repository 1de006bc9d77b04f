/* SPDX-License-Identifier: MIT */
#include "met-norway-reply.h"

#include <math.h>

#include "base/local-time.h"

#define HOURLY 48
#define HOUR_S 3600

Site reply_site(double latitude, double longitude)
{
    Site site = {.latitude = latitude, .longitude = longitude, .altitude_m = 38};
    g_strlcpy(site.name, "plot", sizeof site.name);
    return site;
}

static char *quoted(const char *text)
{
    char *copy = g_strdup(text);
    return g_strdelimit(copy, "'", '"');
}

void reply_row(GString *series, int64_t time_utc, const char *instant, const char *next_1,
               const char *next_6)
{
    g_autofree char *time = utc_format(time_utc);
    g_autoptr(GString) row = g_string_new(NULL);
    g_string_append_printf(row, "%s{'time':'%s','data':{'instant':{'details':{%s}}",
                           series->len > 0 ? ",\n" : "", time, instant);
    if (next_6 != NULL)
        g_string_append(row, ",'next_12_hours':{'summary':{'symbol_code':'fair_day'}}");
    if (next_1 != NULL)
        g_string_append_printf(
            row, ",'next_1_hours':{'summary':{'symbol_code':'clearsky_night'},'details':{%s}}",
            next_1);
    if (next_6 != NULL)
        g_string_append_printf(
            row, ",'next_6_hours':{'summary':{'symbol_code':'cloudy'},'details':{%s}}", next_6);
    g_string_append(row, "}}");
    g_autofree char *text = quoted(row->str);
    g_string_append(series, text);
}

char *reply_whole(const Site *site, const char *series)
{
    char east[G_ASCII_DTOSTR_BUF_SIZE], north[G_ASCII_DTOSTR_BUF_SIZE];
    g_ascii_formatd(east, sizeof east, "%.6g", site->longitude);
    g_ascii_formatd(north, sizeof north, "%.6g", site->latitude);
    g_autofree char *head = g_strdup_printf(
        "{'type':'Feature','geometry':{'type':'Point','coordinates':[%s,%s,38]},"
        "'properties':{'meta':{'updated_at':'" REPLY_UPDATED "','units':{" REPLY_UNITS "}},"
        "'timeseries':[\n",
        east, north);
    g_autofree char *text = quoted(head);
    return g_strconcat(text, series, "\n]}}\n", NULL);
}

char *reply_season(const Site *site, int days, double low_c)
{
    g_autoptr(GString) series = g_string_new(NULL);
    for (int h = 0; h < HOURLY + days * 24 + 1; h += h < HOURLY ? 1 : 6) {
        double air_c = 8 - 4 * cos((h - 2) * G_PI / 12);
        g_autofree char *instant = g_strdup_printf(
            "'air_temperature':%.1f,'cloud_area_fraction':40.6,'dew_point_temperature':1.5,"
            "'relative_humidity':71.3,'wind_from_direction':349.3,'wind_speed':2.3",
            air_c);
        bool night = h % 24 == 0;
        g_autofree char *next_6 =
            g_strdup_printf("'air_temperature_max':%.1f,'air_temperature_min':%.1f,"
                            "'precipitation_amount':1.2",
                            air_c + 9, night ? low_c : air_c - 9);
        bool last = h == HOURLY + days * 24;
        reply_row(series, REPLY_UTC + (int64_t)h * HOUR_S, instant,
                  h < HOURLY ? "'precipitation_amount':0.1" : NULL,
                  last || (h >= HOURLY - 6 && h < HOURLY) ? NULL : next_6);
    }
    return reply_whole(site, series->str);
}

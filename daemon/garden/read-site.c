/* SPDX-License-Identifier: MIT */
#include <math.h>
#include <string.h>

#include "garden/read.h"

#define ALTITUDE_USUAL_M 100.0  /* where neither file nor forecast gives it; chosen */
#define VISIT_USUAL_MIN 15      /* the usual weight of a visit, docs/plan.md; chosen */
#define FROST_MEAN_C 11.0       /* daily mean at the mean date of the last frost; chosen */
#define FROST_SD_D 12.0         /* from year to year; chosen */
#define NORMALS_BYTES_MAX 65536 /* of a table of 13 short lines; chosen */
#define DAYS_A_YEAR 365

/* Days before the middle of each month of a common year. */
static const double month_middle_d[] = {15.5,  45,    74.5, 105,   135.5, 166,
                                        196.5, 227.5, 258,  288.5, 319,   349.5};

Normals read_estimate_normals(double latitude)
{
    /* Warmest 20 July in the north, 20 January in the south: days before its middle. */
    double warmest_d = latitude >= 0 ? 200.5 : 19.5;
    Normals normals = {.estimated = true};

    for (int i = 0; i < 12; i++) {
        double turn = 2 * G_PI * (month_middle_d[i] - warmest_d) / DAYS_A_YEAR;

        normals.mean_c[i] = 27.0 - 0.33 * fabs(latitude) + 8.0 * cos(turn);
        normals.daily_range_k[i] = 8.0;
    }
    return normals;
}

/* Mean of the day of the year DAY (0 is 1 January; any year's): linear between the middles of
 * months. */
static double day_mean_c(const Normals *normals, double day)
{
    double d = fmod(day + 0.5 + DAYS_A_YEAR, DAYS_A_YEAR);
    int next = 0;
    double from_d = 0, to_d = 0, part = 0;

    while (next < 12 && month_middle_d[next] <= d)
        next++;
    from_d = next > 0 ? month_middle_d[next - 1] : month_middle_d[11] - DAYS_A_YEAR;
    to_d = next < 12 ? month_middle_d[next] : month_middle_d[0] + DAYS_A_YEAR;
    part = (d - from_d) / (to_d - from_d);
    return normals->mean_c[(next + 11) % 12] * (1 - part) + normals->mean_c[next % 12] * part;
}

void read_estimate_last_frost(const Normals *normals, int *ret_month, int *ret_day)
{
    int coldest = 0, day = 0;
    GDate date;

    for (int i = 1; i < DAYS_A_YEAR; i++) {
        if (day_mean_c(normals, i) < day_mean_c(normals, coldest))
            coldest = i;
    }
    /* Never so cold: the coldest day. Never so warm: the warmest. */
    day = coldest;
    for (int i = 0; i < DAYS_A_YEAR; i++) {
        double mean_c = day_mean_c(normals, (coldest + i) % DAYS_A_YEAR);

        if (mean_c > day_mean_c(normals, day))
            day = (coldest + i) % DAYS_A_YEAR;
        if (mean_c >= FROST_MEAN_C)
            break;
    }
    g_date_clear(&date, 1);
    g_date_set_dmy(&date, 1, G_DATE_JANUARY, 2001);
    g_date_add_days(&date, (guint)day);
    *ret_month = (int)g_date_get_month(&date);
    *ret_day = g_date_get_day(&date);
}

static gboolean normals_row(const char *line, int number, const char *file_name, Normals *normals,
                            GError **error)
{
    g_auto(GStrv) cells = g_strsplit(line, ",", -1);
    double month = 0, mean_c = 0, range_k = 0;

    if (g_strv_length(cells) != 3 || !config_parse_real(g_strstrip(cells[0]), &month) ||
        !config_parse_real(g_strstrip(cells[1]), &mean_c) ||
        !config_parse_real(g_strstrip(cells[2]), &range_k) || month != number - 1 || mean_c < -60 ||
        mean_c > 50 || range_k < 0 || range_k > 40) {
        g_autofree char *start = config_clip(line, 60);

        g_set_error(error, CONFIG_ERROR, CONFIG_ERROR_INVALID,
                    "%s:%d: \"%s\" is not the row of month %d; accepted is %d,MEAN,RANGE with a "
                    "mean from -60 to 50 "
                    "°C and a daily range from 0 to 40 K",
                    file_name, number, start, number - 1, number - 1);
        return FALSE;
    }
    normals->mean_c[number - 2] = mean_c;
    normals->daily_range_k[number - 2] = range_k;
    return TRUE;
}

gboolean read_normals(const char *bytes, gsize length, const char *file_name, Normals *ret,
                      GError **error)
{
    g_autofree char *text = g_strndup(bytes, length);
    g_auto(GStrv) lines = NULL;
    Normals normals = {.estimated = false};

    if (!g_utf8_validate_len(bytes, length, NULL)) {
        g_set_error(error, CONFIG_ERROR, CONFIG_ERROR_INVALID,
                    "%s: is not UTF-8 text; accepted is CSV with 12 months", file_name);
        return FALSE;
    }
    lines = g_strsplit(g_strchomp(text), "\n", -1);
    if (lines[0] == NULL || strcmp(g_strstrip(lines[0]), "month,mean_c,daily_range_k") != 0) {
        g_set_error(
            error, CONFIG_ERROR, CONFIG_ERROR_INVALID,
            "%s:1: the first line is not as it must be; accepted is month,mean_c,daily_range_k",
            file_name);
        return FALSE;
    }
    if (g_strv_length(lines) != 13) {
        g_set_error(error, CONFIG_ERROR, CONFIG_ERROR_INVALID,
                    "%s: %u lines; accepted are 13: a heading and one for each month", file_name,
                    g_strv_length(lines));
        return FALSE;
    }
    for (int i = 1; i < 13; i++) {
        if (!normals_row(g_strstrip(lines[i]), i + 1, file_name, &normals, error))
            return FALSE;
    }
    *ret = normals;
    return TRUE;
}

static gboolean site_normals(const Config *config, ConfigSection *section, Site *site,
                             GError **error)
{
    const char *name = config_get_text(section, "normals");
    g_autofree char *path = NULL;
    g_autofree char *bytes = NULL;
    g_autofree char *shown = NULL;
    g_autoptr(GError) cause = NULL;
    gsize length = 0;

    site->normals = read_estimate_normals(site->latitude);
    if (name == NULL)
        return TRUE;
    path = g_canonicalize_filename(name, config->folder);
    shown = g_filename_display_basename(path);
    bytes = config_read_file(path, NORMALS_BYTES_MAX, &length, &cause);
    if (bytes == NULL || !read_normals(bytes, length, shown, &site->normals, &cause))
        return config_refuse(section, "normals", error, "%s", cause->message);
    return TRUE;
}

/* An IANA name; names without a slash are not only zones: other files lie beside them. */
static gboolean is_zone(const char *zone)
{
    g_autoptr(GTimeZone) found = NULL;

    if (strcmp(zone, "UTC") != 0 && (!g_ascii_isalpha(*zone) || strchr(zone, '/') == NULL ||
                                     strlen(zone) >= sizeof((Site *)NULL)->zone))
        return FALSE;
    for (const char *p = zone; *p != '\0'; p++) {
        if (!g_ascii_isalnum(*p) && strchr("/_-+", *p) == NULL)
            return FALSE;
    }
    found = g_time_zone_new_identifier(zone);
    return found != NULL;
}

static gboolean site_zone(ConfigSection *section, Site *site, GError **error)
{
    const char *zone = config_get_text(section, "zone");
    g_autoptr(GTimeZone) local = g_time_zone_new_local();
    g_autoptr(GTimeZone) again = NULL;

    if (zone != NULL) {
        if (!is_zone(zone))
            return config_refuse(
                section, "zone", error,
                "no such time zone; accepted is UTC or a name such as Europe/London");
        g_strlcpy(site->zone, zone, sizeof site->zone);
        return TRUE;
    }
    again = g_time_zone_new_identifier(g_time_zone_get_identifier(local));
    if (again == NULL || g_strlcpy(site->zone, g_time_zone_get_identifier(local),
                                   sizeof site->zone) >= sizeof site->zone)
        return config_refuse(
            section, "zone", error,
            "not given, and this machine's time zone is not known; accepted is a name such as "
            "Europe/London");
    return TRUE;
}

#define WEATHER_ACCEPTED "open-meteo, met-norway, file:PATH and none"

/* One address as it is kept, a path made whole. Refused with a sentence. */
static char *weather_address(const Config *config, ConfigSection *section, const char *text,
                             GError **error)
{
    g_autofree char *path = NULL;

    if (strcmp(text, "none") == 0 || strcmp(text, "open-meteo") == 0 ||
        strcmp(text, "met-norway") == 0)
        return g_strdup(text);
    if (!g_str_has_prefix(text, "file:") || text[strlen("file:")] == '\0') {
        config_refuse(section, "weather", error, "unknown source; accepted are " WEATHER_ACCEPTED);
        return NULL;
    }
    path = g_canonicalize_filename(text + strlen("file:"), config->folder);
    return g_strconcat("file:", path, NULL);
}

static gboolean site_weather(const Config *config, ConfigSection *section, Site *site,
                             GError **error)
{
    const char *weather = config_get_text(section, "weather");
    g_auto(GStrv) parts = g_strsplit(weather != NULL ? weather : "none", ";", -1);
    g_autoptr(GPtrArray) addresses = g_ptr_array_new_with_free_func(g_free);
    g_autofree char *chain = NULL;

    for (int i = 0; parts[i] != NULL; i++) {
        char *address = weather_address(config, section, g_strstrip(parts[i]), error);

        if (address == NULL)
            return FALSE;
        if (g_ptr_array_find_with_equal_func(addresses, address, g_str_equal, NULL)) {
            g_free(address);
            return config_refuse(section, "weather", error,
                                 "the same source twice; accepted is each one once");
        }
        g_ptr_array_add(addresses, address);
        if (addresses->len > 1 &&
            g_ptr_array_find_with_equal_func(addresses, "none", g_str_equal, NULL))
            return config_refuse(section, "weather", error,
                                 "none beside another source; accepted is none by itself");
    }
    g_ptr_array_add(addresses, NULL);
    chain = g_strjoinv("; ", (char **)addresses->pdata);
    if (g_strlcpy(site->weather, chain, sizeof site->weather) >= sizeof site->weather)
        return config_refuse(section, "weather", error,
                             "with whole paths it is too long; accepted are at most %d bytes",
                             (int)sizeof site->weather - 1);
    return TRUE;
}

static gboolean site_last_frost(ConfigSection *section, Site *site, GError **error)
{
    const char *text = config_get_text(section, "last-frost");
    g_autoptr(GRegex) form =
        g_regex_new("^(\\d\\d?)-(\\d\\d?)(?: +sd +(\\d+(?:\\.\\d+)?))?$", 0, 0, NULL);
    g_autoptr(GMatchInfo) match = NULL;
    double sd_d = FROST_SD_D;
    int month = 0, day = 0;

    site->last_frost_sd_d = FROST_SD_D;
    site->last_frost_estimated = text == NULL;
    if (text == NULL) {
        read_estimate_last_frost(&site->normals, &site->last_frost_month, &site->last_frost_day);
        return TRUE;
    }
    if (g_regex_match(form, text, 0, &match)) {
        g_autofree char *month_text = g_match_info_fetch(match, 1);
        g_autofree char *day_text = g_match_info_fetch(match, 2);
        g_autofree char *sd_text = g_match_info_fetch(match, 3);

        month = (int)g_ascii_strtoll(month_text, NULL, 10);
        day = (int)g_ascii_strtoll(day_text, NULL, 10);
        if (sd_text != NULL && *sd_text != '\0')
            sd_d = g_ascii_strtod(sd_text, NULL);
    }
    if (month < 1 || month > 12 || day < 1 ||
        !g_date_valid_dmy((GDateDay)day, (GDateMonth)month, 2001) || sd_d < 1 || sd_d > 60) {
        return config_refuse(
            section, "last-frost", error,
            "not a date; accepted is MM-DD sd DAYS with 1 to 60 days, such as 05-12 sd 12");
    }
    site->last_frost_month = month;
    site->last_frost_day = day;
    site->last_frost_sd_d = sd_d;
    return TRUE;
}

static gboolean read_site(const Config *config, ConfigSection *section, Site *site, GError **error)
{
    g_strlcpy(site->name, section->name, sizeof site->name);
    for (int i = 0; i < 2; i++) {
        const char *key = i == 0 ? "latitude" : "longitude";
        double most = i == 0 ? 90 : 180;

        if (!config_has(section, key))
            return config_refuse(section, key, error, "is missing; accepted is %g to %g degrees",
                                 -most, most);
        if (!config_get_real(section, key, -most, most, "degrees",
                             i == 0 ? &site->latitude : &site->longitude, error))
            return FALSE;
    }
    site->altitude_m = ALTITUDE_USUAL_M;
    site->visit_min = VISIT_USUAL_MIN;
    site->altitude_estimated = !config_has(section, "altitude");
    return config_get_real(section, "altitude", -430, 6000, "m", &site->altitude_m, error) &&
           site_zone(section, site, error) && site_weather(config, section, site, error) &&
           site_normals(config, section, site, error) && site_last_frost(section, site, error) &&
           config_get_real(section, "visit-minutes", 1, 240, "minutes", &site->visit_min, error) &&
           config_section_finish(section, error);
}

/* Whoever asks MET Norway must say who asks; [weather met-norway] was read before. */
static gboolean check_contact(const Garden *garden, const ConfigSection *section, const Site *site,
                              GError **error)
{
    g_auto(GStrv) chain = g_strsplit(site->weather, "; ", -1);

    if (!g_strv_contains((const char *const *)chain, "met-norway"))
        return TRUE;
    for (int i = 0; i < WEATHER_SERVICES; i++) {
        if (strcmp(garden->services[i].name, "met-norway") == 0 &&
            garden->services[i].contact[0] != '\0')
            return TRUE;
    }
    return config_refuse(section, "weather", error,
                         "MET Norway answers only those who say who they are; accepted with a "
                         "section [weather met-norway], and in it contact= with your mail or web "
                         "address");
}

gboolean read_sites(Config *config, Garden *garden, GError **error)
{
    g_autoptr(GPtrArray) sections = read_sections(config, "site", TRUE, error);

    if (sections == NULL)
        return FALSE;
    garden->sites = g_new0(Site, sections->len);
    garden->n_sites = (int)sections->len;
    for (guint i = 0; i < sections->len; i++) {
        const ConfigSection *section = g_ptr_array_index(sections, i);
        if (!read_site(config, g_ptr_array_index(sections, i), &garden->sites[i], error) ||
            !check_contact(garden, section, &garden->sites[i], error))
            return FALSE;
    }
    return TRUE;
}

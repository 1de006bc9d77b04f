/* SPDX-License-Identifier: MIT */
#include <string.h>

#include "garden/garden.h"
#include "garden/read.h"

#define DAY_MIN (24 * 60)
#define RULE_FORM "accepted are spans such as 07:00-08:30; Mon-Fri 17:30-dusk; Sat,Sun 09:00-18:00"
#define ALL_WEEK 0x7f

/* Reads H:MM or HH:MM from 0:00 to 24:00 at *AT, which it moves past it. */
static gboolean parse_time(const char **at, int *ret_min)
{
    const char *p = *at;
    int hour = 0, minute = 0, digits = 0;

    while (digits < 2 && g_ascii_isdigit(*p)) {
        hour = hour * 10 + g_ascii_digit_value(*p++);
        digits++;
    }
    if (digits == 0 || *p++ != ':' || !g_ascii_isdigit(p[0]) || !g_ascii_isdigit(p[1]) ||
        g_ascii_isdigit(p[2]))
        return FALSE;
    minute = g_ascii_digit_value(p[0]) * 10 + g_ascii_digit_value(p[1]);
    if (minute > 59 || hour * 60 + minute > DAY_MIN)
        return FALSE;
    *at = p + 2;
    *ret_min = hour * 60 + minute;
    return TRUE;
}

/* The day of the week at *AT, 0 for Monday, moved past; or -1. */
static int parse_day(const char **at)
{
    static const char *const days[] = {"Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"};

    for (int i = 0; i < 7; i++) {
        if (g_ascii_strncasecmp(*at, days[i], 3) == 0 && !g_ascii_isalpha((*at)[3])) {
            *at += 3;
            return i;
        }
    }
    return -1;
}

/* "Mon-Fri,Sun" at *AT, moved past; 0 where it is none. A span may run over Sunday. */
static uint8_t parse_days(const char **at)
{
    uint8_t days = 0;

    for (;;) {
        int from = parse_day(at), to = from;

        if (from < 0)
            return 0;
        if (**at == '-') {
            ++*at;
            to = parse_day(at);
            if (to < 0)
                return 0;
        }
        for (int i = from;; i = (i + 1) % 7) {
            days |= (uint8_t)(1u << i);
            if (i == to)
                break;
        }
        if (**at != ',')
            return days;
        ++*at;
        while (**at == ' ')
            ++*at;
    }
}

/* What is wrong with the rule, or NULL; static. */
static const char *parse_rule(const char *text, VisitRule *rule)
{
    const char *p = text;

    rule->weekdays = ALL_WEEK;
    if (*p == '\0')
        return "an empty span";
    if (g_ascii_isalpha(*p)) {
        rule->weekdays = parse_days(&p);
        if (rule->weekdays == 0 || *p != ' ')
            return "a span whose days cannot be read";
        while (*p == ' ')
            p++;
    }
    if (!parse_time(&p, &rule->from_min) || *p++ != '-')
        return "a span whose hours cannot be read";
    if (g_ascii_strcasecmp(p, "dusk") == 0) {
        rule->to_dusk = true;
        rule->to_min = DAY_MIN;
        return rule->from_min < DAY_MIN ? NULL : "a span that ends before it begins";
    }
    if (!parse_time(&p, &rule->to_min) || *p != '\0')
        return "a span whose hours cannot be read";
    return rule->from_min < rule->to_min ? NULL : "a span that ends before it begins";
}

GArray *read_rules(const char *text, int site, char **ret_why)
{
    g_autoptr(GArray) rules = g_array_new(FALSE, TRUE, sizeof(VisitRule));
    g_auto(GStrv) pieces = g_strsplit(text, ";", -1);

    for (int i = 0; pieces[i] != NULL; i++) {
        VisitRule rule = {.site = site};
        const char *wrong = parse_rule(g_strstrip(pieces[i]), &rule);

        if (wrong != NULL) {
            g_autofree char *shown = config_clip(pieces[i], 40);

            *ret_why = g_strdup_printf("\"%s\" is %s; " RULE_FORM, shown, wrong);
            return NULL;
        }
        g_array_append_val(rules, rule);
    }
    return g_steal_pointer(&rules);
}

/* visits-SITE of every site; other visits-… name no site. */
static gboolean grower_rules(const Garden *garden, ConfigSection *section, Grower *grower,
                             GError **error)
{
    g_autoptr(GArray) all = g_array_new(FALSE, TRUE, sizeof(VisitRule));

    for (int i = 0; i < garden->n_sites; i++) {
        g_autofree char *key = g_strconcat("visits-", garden->sites[i].name, NULL);
        const char *text = config_get_text(section, key);
        g_autoptr(GArray) rules = NULL;
        g_autofree char *why = NULL;

        if (text == NULL)
            continue;
        rules = read_rules(text, i, &why);
        if (rules == NULL)
            return config_refuse(section, key, error, "%s", why);
        g_array_append_vals(all, rules->data, rules->len);
    }
    for (guint i = 0; i < section->entries->len; i++) {
        const ConfigEntry *entry = g_ptr_array_index(section->entries, i);
        g_autofree char *hint = NULL;

        if (entry->used || !g_str_has_prefix(entry->key, "visits-") ||
            g_str_has_prefix(entry->key, "visits-a-day"))
            continue;
        hint = garden_suggest(garden, GARDEN_SITE, entry->key + strlen("visits-"));
        return config_refuse(section, entry->key, error, "no such site; %s", hint);
    }
    if (all->len == 0) {
        return config_refuse(section, NULL, error,
                             "no visits; accepted is visits-SITE for at least one site, such as "
                             "visits-%s=07:00-08:30; 17:30-dusk",
                             garden->sites[0].name);
    }
    grower->n_rules = (int)all->len;
    grower->rules = g_array_steal(all, NULL);
    return TRUE;
}

static gboolean read_grower(const Garden *garden, ConfigSection *section, Grower *grower,
                            GError **error)
{
    const char *home = config_get_text(section, "home");

    g_strlcpy(grower->name, section->name, sizeof grower->name);
    grower->travel_min = TRAVEL_USUAL_MIN;
    grower->visits_a_day_home = 2;
    grower->visits_a_day_away = 1;
    grower->minutes_per_batch_day =
        30; /* an extra visit of 15 minutes is worth half a day; chosen */
    grower->desktop = true;
    if (home != NULL) {
        grower->home_site = garden_find_site(garden, home);
        if (grower->home_site < 0) {
            g_autofree char *hint = garden_suggest(garden, GARDEN_SITE, home);

            return config_refuse(section, "home", error, "no such site; %s", hint);
        }
    }
    return config_get_real(section, "travel-minutes", 0, 600, "minutes", &grower->travel_min,
                           error) &&
           config_get_whole(section, "visits-a-day-home", 1, 3, "visits",
                            &grower->visits_a_day_home, error) &&
           config_get_whole(section, "visits-a-day-away", 1, 3, "visits",
                            &grower->visits_a_day_away, error) &&
           config_get_whole(section, "trays-per-trip", 1, 1000, "trays", &grower->trays_per_trip,
                            error) &&
           config_get_real(section, "minutes-per-batch-day", 1, 1440, "minutes",
                           &grower->minutes_per_batch_day, error) &&
           config_get_yes(section, "desktop", &grower->desktop, error) &&
           grower_rules(garden, section, grower, error) && config_section_finish(section, error);
}

static gboolean is_visited(const Garden *garden, int site)
{
    for (int i = 0; i < garden->n_growers; i++) {
        for (int j = 0; j < garden->growers[i].n_rules; j++) {
            if (garden->growers[i].rules[j].site == site)
                return TRUE;
        }
    }
    return FALSE;
}

gboolean read_growers(Config *config, Garden *garden, GError **error)
{
    g_autoptr(GPtrArray) sections = read_sections(config, "grower", TRUE, error);
    guint position = 0;
    const ConfigSection *site = NULL;

    if (sections == NULL)
        return FALSE;
    garden->growers = g_new0(Grower, sections->len);
    garden->n_growers = (int)sections->len;
    for (guint i = 0; i < sections->len; i++) {
        if (!read_grower(garden, g_ptr_array_index(sections, i), &garden->growers[i], error))
            return FALSE;
    }
    while ((site = config_next(config, "site", &position)) != NULL) {
        if (!is_visited(garden, garden_find_site(garden, site->name))) {
            return config_refuse(site, NULL, error,
                                 "nobody visits it; accepted is visits-%s in a [grower NAME]",
                                 site->name);
        }
    }
    return TRUE;
}

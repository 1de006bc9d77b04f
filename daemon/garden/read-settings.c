/* SPDX-License-Identifier: MIT */
#include <math.h>
#include <string.h>

#include "garden/read.h"

/*
 * Cells and pots in everyday use: volume of one, how many in a tray of about 38 by 24 cm, weeks
 * that a plant may be held in it. Sizes: common practice, no source. Weeks: chosen.
 */
static const Container usual[] = {
    {"cells-24", 90, 24, 9}, {"cells-40", 50, 40, 7},   {"cells-60", 30, 60, 6},
    {"cells-84", 17, 84, 5}, {"cells-104", 13, 104, 5}, {"pot-7", 200, 15, 8},
    {"pot-9", 400, 8, 10},   {"pot-11", 700, 6, 12},    {"pot-13", 1100, 4, 14},
    {"tray", 120, 35, 6},
};

gboolean read_settings(Config *config, Garden *garden, GError **error)
{
    static const char *const units[] = {"C", "F", NULL};
    guint position = 0;
    ConfigSection *section = config_next(config, "garden", &position);
    double damage_pct = 1, check_pct = 10;
    int unit = 0, feed_lag_h = 6, server_lag_h = 1; /* lags: chosen */

    garden->assume_done_h = 3; /* chosen */
    if (section != NULL) {
        if (section->name != NULL)
            return config_refuse(section, NULL, error,
                                 "this section has no name; accepted is [garden]");
        if (!config_get_real(section, "risk-damage", 0.01, 50, "percent", &damage_pct, error) ||
            !config_get_real(section, "risk-check", 0.1, 100, "percent", &check_pct, error) ||
            !config_get_whole(section, "assume-done-hours", 1, 48, "hours", &garden->assume_done_h,
                              error) ||
            !config_get_whole(section, "feed-lag-hours", 0, 48, "hours", &feed_lag_h, error) ||
            !config_get_whole(section, "server-lag-hours", 0, 48, "hours", &server_lag_h, error) ||
            !config_get_word(section, "units", units, &unit, error) ||
            !config_section_finish(section, error))
            return FALSE;
    }
    garden->risk.damage = damage_pct / 100;
    garden->risk.check = check_pct / 100;
    garden->fahrenheit = unit == 1;
    garden->feed_lag_s = 3600 * feed_lag_h;
    garden->server_lag_s = 3600 * server_lag_h;
    return TRUE;
}

static gboolean read_container(ConfigSection *section, Container *container, GError **error)
{
    static const char *const keys[] = {"volume-ml", "per-tray", "hold-max-weeks"};
    gboolean is_new = container->volume_ml == 0;

    for (gsize i = 0; i < G_N_ELEMENTS(keys); i++) {
        if (is_new && !config_has(section, keys[i]))
            return config_refuse(section, keys[i], error,
                                 "is missing; a container that is not built in needs "
                                 "volume-ml, per-tray and hold-max-weeks");
    }
    return config_get_real(section, "volume-ml", 1, 20000, "ml", &container->volume_ml, error) &&
           config_get_whole(section, "per-tray", 1, 1000, "plants", &container->per_tray, error) &&
           config_get_real(section, "hold-max-weeks", 1, 52, "weeks", &container->hold_max_weeks,
                           error) &&
           config_section_finish(section, error);
}

gboolean read_containers(Config *config, Garden *garden, GError **error)
{
    g_autoptr(GPtrArray) sections = read_sections(config, "container", FALSE, error);

    if (sections == NULL)
        return FALSE;
    garden->containers = g_new0(Container, G_N_ELEMENTS(usual) + sections->len);
    memcpy(garden->containers, usual, sizeof usual);
    garden->n_containers = G_N_ELEMENTS(usual);
    for (guint i = 0; i < sections->len; i++) {
        ConfigSection *section = g_ptr_array_index(sections, i);
        Container *container = NULL;

        for (int j = 0; j < garden->n_containers; j++) {
            if (strcmp(garden->containers[j].name, section->name) == 0)
                container = &garden->containers[j];
        }
        if (container == NULL) {
            container = &garden->containers[garden->n_containers++];
            g_strlcpy(container->name, section->name, sizeof container->name);
        }
        if (!read_container(section, container, error))
            return FALSE;
    }
    return TRUE;
}

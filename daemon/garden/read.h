/* SPDX-License-Identifier: MIT */
/*
 * The readers of the parts of thole.conf, called in this order by garden_read(). Each fills its
 * arrays of GARDEN, which is zeroed but for what earlier readers wrote, and refuses what makes no
 * sense.
 */
#pragma once

#include "garden/channels.h"
#include "garden/config.h"
#include "garden/types.h"

#define TRAVEL_USUAL_MIN 20.0 /* one way, where not given; chosen */

/* [garden]: risks, units. May be missing. */
gboolean read_settings(Config *config, Garden *garden, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* [weather NAME], a service of forecasts, with key-file=FILE. */
gboolean read_weather(Config *config, Garden *garden, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* [site NAME], with normals=FILE. */
gboolean read_sites(Config *config, Garden *garden, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* [container NAME], over the usual ones. */
gboolean read_containers(Config *config, Garden *garden, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* [place NAME]: parents first in the garden. Needs the sites. */
gboolean read_places(Config *config, Garden *garden, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* [grower NAME] with its visit rules. Needs the sites. */
gboolean read_growers(Config *config, Garden *garden, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* [channel NAME]: ways to reach growers, with secret-file=FILE and ca-file=FILE. Needs the growers.
 */
gboolean read_channels(Config *config, Garden *garden, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* [calendar NAME]: where visits are published. Needs the growers. */
gboolean read_outlets(Config *config, Garden *garden, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* grower=NAME; -1 where it is not given. */
gboolean read_whose(const Garden *garden, ConfigSection *section, int *ret_grower,
                    GError **error) G_GNUC_WARN_UNUSED_RESULT;
/* [feed]: the feed server, off without it; with certificate=FILE and key=FILE. */
gboolean read_feed(Config *config, Garden *garden, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * The line in the file named by KEY, for secret_free(); untouched and TRUE where it is not given.
 * Refused where others than its owner can read it: base/secret.h.
 */
gboolean read_secret(const Config *config, ConfigSection *section, const char *key,
                     char **ret_secret, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Reads H:MM or HH:MM from 0:00 to 24:00 at *AT, which it moves past it. */
gboolean read_time_of_day(const char **at, int *ret_min);

/*
 * The sections of KIND, which need a name each. Refused where there are none and NEEDED is set.
 * Gives an array of ConfigSection (unowned elements), or NULL.
 */
GPtrArray *read_sections(Config *config, const char *kind, gboolean needed,
                         GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * The rules in TEXT, "Mon-Fri 17:30-19:30; Sat,Sun 09:00-dusk", for the site SITE. Gives an array
 * of VisitRule, or NULL with *RET_WHY saying what is wrong; what would be accepted; to be freed.
 */
GArray *read_rules(const char *text, int site, char **ret_why) G_GNUC_WARN_UNUSED_RESULT;

/* The normals of a place at LATITUDE, in degrees: a formula, chosen; see docs/thole.conf.md. */
Normals read_estimate_normals(double latitude);

/* The mean date of the last frost in spring: when the mean of NORMALS rises past 11 °C; chosen. */
void read_estimate_last_frost(const Normals *normals, int *ret_month, int *ret_day);

/*
 * Monthly normals from CSV: a line "month,mean_c,daily_range_k", then a line for each month 1
 * to 12. FILE_NAME is shown in messages.
 */
gboolean read_normals(const char *bytes, gsize length, const char *file_name, Normals *ret,
                      GError **error) G_GNUC_WARN_UNUSED_RESULT;

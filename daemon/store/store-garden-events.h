/* SPDX-License-Identifier: MIT */
/* What happens to the garden as a whole: cover positions, absences, warnings heard. */
#pragma once

#include "store/store.h"

/* From a time on a cover stands in a position. */
typedef struct StorePosition {
    int place;    /* -1: the garden no longer has it */
    int position; /* -1: the cover no longer has a position of that name */
    int64_t from_utc;
    bool known; /* false: assumed, a job that would have set it was never reported */
} StorePosition;

typedef struct StoreAway {
    char id[ID_SIZE];
    int grower; /* -1: the garden no longer has one */
    int64_t from_utc, to_utc;
    char helper[NAME_SIZE]; /* who comes meanwhile; "" nobody, or the site is no longer there */
    int helper_site;        /* where, and in which minutes of each local day */
    int helper_from_min, helper_to_min;
} StoreAway;

/* A low that the grower heard elsewhere for one night at one site. */
typedef struct StoreWarning {
    int site;          /* -1: the garden no longer has it */
    int32_t night_day; /* local day number on which the night begins */
    double low_c;
    int64_t heard_utc;
} StoreWarning;

/* The cover of POSITION's place is put; two at the same second: the later call counts. */
gboolean store_put_position(Store *store, const Garden *garden, const StorePosition *position,
                            GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * The last position of each place, by name: POSITIONS has n_places entries, -1 never set, or its
 * position is gone from the cover. KNOWN, parallel, may be NULL; true where a position was never
 * set.
 */
gboolean store_load_positions(Store *store, const Garden *garden, int *ret_positions,
                              bool *ret_known, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * The positions from FROM_UTC on, with the one in force at FROM_UTC for each place, in order of
 * time.
 */
gboolean store_load_position_history(Store *store, const Garden *garden, int64_t from_utc,
                                     GArray **ret_positions /* StorePosition */,
                                     GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Keeps a new absence and fills in its id. */
gboolean store_put_away(Store *store, const Garden *garden, StoreAway *away,
                        GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* The grower is back at AT_UTC: the absence ends then, if it had not ended before. */
gboolean store_end_away(Store *store, const char *away_id, int64_t at_utc,
                        GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Absences that last beyond FROM_UTC, in order of their start. */
gboolean store_load_aways(Store *store, const Garden *garden, int64_t from_utc,
                          GArray **ret_aways /* StoreAway */,
                          GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* All warnings are kept; the one heard last for a site and night counts. */
gboolean store_put_warning(Store *store, const Garden *garden, const StoreWarning *warning,
                           GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* The warnings that count, for nights from NIGHT_DAY on, in order of night. */
gboolean store_load_warnings(Store *store, const Garden *garden, int32_t night_day,
                             GArray **ret_warnings /* StoreWarning */,
                             GError **error) G_GNUC_WARN_UNUSED_RESULT;

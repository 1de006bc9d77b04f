/* SPDX-License-Identifier: MIT */
/* Plans and predictions as they were made, and the thinning of what is old. */
#pragma once

#include "store/store.h"

typedef enum StorePredicted { STORE_PREDICTED_MIN, STORE_PREDICTED_MAX } StorePredicted;

/*
 * What the air in a place, or the open air of a site, was expected to do, as said at `made_utc`;
 * for the open air that is when the forecast was issued.
 */
typedef struct StorePrediction {
    int64_t made_utc;
    int place; /* -1: the open air of a site, or the garden no longer has it */
    /* local day number: of a maximum, or on which the night of a minimum begins */
    int32_t night_day;
    StorePredicted what;
    double mean_c, spread_k;
    int64_t forecast_issued_utc; /* 0 from normals */
    bool open_air;               /* of `site`, not of a place */
    int site;                    /* of the open air; -1 the garden no longer has it */
    /* what it rests on; those of older stores are NAN and -1 */
    double bias_k; /* as learned then, of the place or the site: it is in the mean */
    double outdoor_spread_k, light_wm2;
    int position; /* of the nearest cover over the place; -1 not known */
    bool tonight; /* readings of that night are in it: nothing is learned by it */
} StorePrediction;

typedef struct StorePlan {
    int64_t made_utc;
    const char *trigger;     /* what asked for it */
    const char *decisions;   /* JSON text: the decisions with their reasons */
    double value, bound_gap; /* batch-days */
} StorePlan;

/* One prediction per moment, place, day and kind: put again it replaces. */
gboolean store_put_prediction(Store *store, const Garden *garden, const StorePrediction *prediction,
                              GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Predictions for FROM_DAY <= night_day <= TO_DAY, in order of the moment they were made. */
gboolean store_load_predictions(Store *store, const Garden *garden, int32_t from_day,
                                int32_t to_day, GArray **ret_predictions /* StorePrediction */,
                                GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Those for the open air of a site on one day. */
gboolean store_load_outdoors(Store *store, const Garden *garden, int site, int32_t day,
                             StorePredicted what, GArray **ret_predictions /* StorePrediction */,
                             GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Two plans of the same second: both are kept. The text must be JSON. */
gboolean store_put_plan(Store *store, const StorePlan *plan,
                        GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * The rule for what is older than 400 days: of plans, and of each place's predictions, the last
 * made of every UTC day is kept; of each site's and source's forecasts the last issued. What the
 * grower wrote, and visits, jobs and calendar memory, is never thinned. Gives the number of rows
 * let go.
 */
gboolean store_thin(Store *store, int64_t now_utc, int *ret_removed,
                    GError **error) G_GNUC_WARN_UNUSED_RESULT;

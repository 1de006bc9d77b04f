/* SPDX-License-Identifier: MIT */
/*
 * How hard a batch is, and what it may be given today (docs/design.md, "Ramp"). Pure.
 * The ramp day runs from one hour after sunrise to the next; the caller closes it.
 */
#pragma once

#include "garden/types.h"

#define RAMP_COLD_STEPS 20     /* the coldest ten hours of a ramp day */
#define RAMP_BUDGET_H 10.0     /* budget of a ramp day: this times the allowed drop, K·h */
#define RAMP_EXPOSURE_FULL 6   /* days used at which exposure is complete */
#define RAMP_EXPOSURE_POROUS 3 /* at a destination under fleece or net; chosen */
#define RAMP_NIGHTS_FROM 5     /* days used from which nights may be open */
#define RAMP_SCORCH_OVER_H 3.5 /* hours above the allowance that are a risk limit; chosen */
#define RAMP_NIGHTS_NEEDED 3   /* of the last NIGHTS_KEPT, under no more cover than to come */

/* One half-hour as the batch meets it. */
typedef struct RampStep {
    double air_c, leaf_c;
    double exposure_weight; /* 0..1, of daylight; 0 at night */
    double shelter;         /* cover over it, chain_shelter() */
    bool night;             /* sunset to one hour after sunrise */
} RampStep;

/* What a closed ramp day came to. */
typedef struct RampDay {
    double cold_c;    /* C: H - Q/10 where Q > 0, else the mean of ten hours; NAN no step */
    double excess_kh; /* beyond the budget, and below the floor */
    double exposed_h, allowance_h; /* weighted; exposed_h includes hours above the allowance */
    bool used;  /* it counts for X: half the allowance was had, in hardening, not held */
    bool check; /* there was an excess: the ramp holds */
} RampDay;

/* A soft batch: H at the growing-on night, X and f at 0; its ramp day begins at `start_utc`. */
void ramp_begin(const Crop *crop, int64_t start_utc, RampState *ret);

/*
 * One half-hour of life: collects the ramp day and lets f follow the air. A step whose air is NAN
 * is not collected at all. `exposure_weight` is taken as it is, night or not.
 */
void ramp_step(const Crop *crop, const RampStep *step, RampState *state);

/*
 * Closes the ramp day and begins the next. X counts only where `hardening`. With fewer than 8 h of
 * steps H stays and the day is not used; the night is unknown (NAN) where it was not seen whole.
 */
RampDay ramp_close_day(const Crop *crop, bool hardening, int64_t next_start_utc, RampState *state);

/* Allowed fall of H a day, K: D = D1 + (D2 - D1)·min(X, 4)/4. */
double ramp_drop_k(const Crop *crop, const RampState *state);

/* Lowest air temperature asked of it, °C: between the soft and the hardened floor, by H and X. */
double ramp_floor_c(const Crop *crop, const RampState *state);

/* What its coldest ten hours may average, °C: the higher of H - D and the floor; H while held. */
double ramp_allowed_low_c(const Crop *crop, const RampState *state);

/* The hottest the air under a cover may be, °C; seedlings without leaves yet stand less. */
double ramp_heat_limit_c(const Crop *crop, Stage stage);

/* Leaf temperature at which tissue is damaged, °C: from soft to hardened by f. */
double ramp_damage_c(const Crop *crop, const RampState *state);

/* Weighted hours of light and wind that today allows: 2 + 1.5 a used day, to 10. */
double ramp_allowance_h(const RampState *state);

/* Whether a half-hour at this weight is too much for it, after what it had today: see ramp.md. */
bool ramp_scorches(const RampState *state, double exposure_weight);

/* Gusts it may stand in uncovered, m/s: 8 while X < 3, 11 while X < 6, then 15 (chosen). */
double ramp_gust_limit_ms(const RampState *state);

/* C of a ramp day with these half-hours, °C: see RampDay. Values that are NAN are left out; NAN
 * where none is left. Of a day under ten hours all count, and Q is divided by their number. */
double ramp_cold_c(const double *air_c, int n, double hardened_to_c);

/*
 * Excess of a ramp day with these half-hours, all shifted by `shift_k`, K·h: beyond the drop D,
 * held or not (to keep a held batch at H is the plan's part), and below the present floor.
 */
double ramp_excess_kh(const Crop *crop, const RampState *state, const double *air_c, int n,
                      double shift_k);

/*
 * Expected excess when the shift is normal with mean 0 and `spread_k`, K·h. Exact: the excess is
 * piecewise linear in the shift, so each piece has a closed form. No spread: the excess itself.
 */
double ramp_expected_excess_kh(const Crop *crop, const RampState *state, const double *air_c, int n,
                               double spread_k);

/*
 * Batch-days still missing until it is ready: exposure (up to `exposure_needed` days), qualifying
 * nights, the fall of H to the C expected there (`destination_cold_c`), days held. None is below 0.
 */
double ramp_days_missing(const Crop *crop, const RampState *state, double destination_cold_c,
                         double destination_shelter, int exposure_needed);

/* Of the last NIGHTS_KEPT nights, those under no more cover than at the destination. */
int ramp_nights_had(const RampState *state, double destination_shelter);

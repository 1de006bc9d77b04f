/* SPDX-License-Identifier: MIT */
/*
 * Every plain struct that more than one part shares. No GLib, nothing to link.
 *
 * Time is int64_t UTC seconds. Temperatures are °C (`_c`), differences and spreads kelvin (`_k`),
 * wind metres per second (`_ms`), radiation W/m² (`_wm2`). A missing number is NAN, a missing
 * index is -1, a missing time is 0. Indices point into the arrays of the Garden they came with.
 */
#pragma once

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define STEP_S 1800     /* planning grid and climate output, s */
#define STEPS_PER_H 2   /* grid steps an hour */
#define NAME_SIZE 48    /* bytes of a name, with its terminating zero */
#define ID_SIZE 40      /* bytes of a random 128-bit id as text, with its zero */
#define POSITIONS_MAX 6 /* positions of one cover */
#define RAMP_DAY_STEPS_MAX                                                                         \
    60                /* half-hours a ramp day may hold; sunrise shifts, also near the poles */
#define MEAN_STEPS 48 /* half-hours in the trailing day that frost tolerance follows */
#define NIGHTS_KEPT 5 /* nights that readiness looks back on */

/* ---- weather ---- */

/* Fields of a WeatherHour that were not in the source but estimated; bits of `estimated`. */
enum {
    EST_DEW_POINT = 1 << 0,
    EST_CLOUD = 1 << 1,
    EST_WIND = 1 << 2,
    EST_RADIATION = 1 << 3,
    EST_TEMPERATURE = 1 << 4,   /* from normals: the cautious fallback */
    EST_WARNING = 1 << 5,       /* shifted by a warning that the grower heard elsewhere */
    EST_INTERPOLATED = 1 << 6,  /* temperature between forecast hours a few hours apart */
    EST_PRECIPITATION = 1 << 7, /* an even share of what falls in several hours */
};

typedef struct WeatherHour {
    int64_t time_utc;
    /* instants at time_utc */
    double temperature_c, dew_point_c, cloud_pct, wind_ms;
    /* for the hour ending at time_utc: maximum gust, mean radiation, sum of precipitation */
    double gust_ms, radiation_wm2, precipitation_mm;
    double spread_k; /* standard deviation of the temperature's error, as issued */
    uint32_t estimated;
} WeatherHour;

/* One half-hour of outdoor conditions; entry i+1 of an array holds the end of step i. */
typedef struct OutdoorStep {
    /* instants at the start of the step */
    double air_c, sky_c, wind_ms, cloud; /* cloud 0..1; wind at 10 m */
    /* over the step */
    double radiation_wm2, gust_ms, precipitation_mm;
    double spread_k;
    double dew_point_c; /* an instant too */
    uint32_t estimated;
} OutdoorStep;

/* Sunrise, sunset and the end of civil twilight of a local day; 0 where the sun does not do so. */
typedef struct SolarDay {
    int32_t day; /* local day number: days since 1970-01-01 */
    int64_t midnight_utc, sunrise_utc, sunset_utc, dusk_utc;
} SolarDay;

/* ---- what is known of errors ---- */

/* The two ends of a day that thermometers keep; errors of night and noon are told apart by them. */
typedef enum Extreme { EXTREME_LOW, EXTREME_HIGH } Extreme;
#define EXTREMES 2

/* How far the truth lies from what was computed, as readings have shown; the prior where n is 0. */
typedef struct LearnedError {
    double bias_k;   /* to be added to what is computed */
    double spread_k; /* standard deviation of what remains, the bias's own uncertainty included */
    int n;           /* readings that it rests on */
} LearnedError;

/* Of the air, and with it the leaf, in a place with the cover over it in one position. */
typedef struct CoverError {
    LearnedError of[EXTREMES];
} CoverError;

/* What a predicted low or high rests on, so that it can be learned from once it was read. */
typedef struct PredictionBasis {
    int position;            /* of the nearest cover over the place then */
    double bias_k;           /* of the place's own, as learned: it is in the prediction */
    double outdoor_spread_k; /* what of it comes from the forecast */
    double light_wm2;        /* on the plants */
    bool tonight;            /* readings of this night are in it */
} PredictionBasis;

/* ---- what the garden has ---- */

typedef struct Normals { /* monthly, January first */
    double mean_c[12], daily_range_k[12];
    bool estimated;
} Normals;

/* A service on the network that gives forecasts, as the grower set it up; "" where not given. */
typedef struct WeatherService {
    char name[NAME_SIZE]; /* "open-meteo", "met-norway" */
    char url[256];        /* another address than the usual one; safe (base/url.h) */
    char key[128];        /* what key-file holds: never shown */
    char contact[128];    /* who asks, for the service to write to */
} WeatherService;

#define WEATHER_SERVICES 2

typedef struct Site {
    char name[NAME_SIZE], zone[64]; /* zone: IANA name */
    char weather[512];              /* addresses of sources, the best first, with "; " between */
    double latitude, longitude, altitude_m;
    int last_frost_month, last_frost_day; /* mean date of the last spring frost */
    double last_frost_sd_d, visit_min;    /* minutes of a visit beside its jobs, as set */
    bool last_frost_estimated, altitude_estimated;
    Normals normals;
} Site;

typedef enum FloorKind { FLOOR_SOIL, FLOOR_SLAB, FLOOR_SHELF } FloorKind;

typedef struct CoverPosition {
    char name[NAME_SIZE];   /* "closed", "10 cm", "open": after "prop" in a job's text */
    double exchange_wm2k;   /* air exchange at no wind, per m² of floor */
    double exchange_per_ms; /* its rise with the wind outside the layer, W/m²K per m/s */
    double exposure_weight; /* what an hour of daylight under it counts for the ramp, 0..1 */
    double shelter;         /* how much cover a night under it has; 0 open, 1 one shut layer */
    bool open;              /* fully open or taken off: the layer is not there */
} CoverPosition;

typedef struct Cover {
    char material[NAME_SIZE]; /* "glass", "twin-wall", "polythene", "fleece", "net" */
    double solar_transmittance, ir_transmittance, ir_emissivity;
    double wet_ir_transmittance, wet_ir_emissivity; /* with water on it, where it `wets` */
    double insulation_m2kw; /* thermal resistance between its two faces, m²K/W; 0 a thin sheet */
    double area_ratio;      /* cover area to floor area, r */
    double gust_limit_ms;   /* above it the cover must not stand open or propped */
    double opener_from_c;   /* an automatic opener lifts from this air temperature; NAN none */
    bool wets;   /* water condenses on it and stops infrared: always while shut, else at night */
    bool porous; /* fleece or net: light and air pass when it is on */
    int n_positions; /* closed first, open last; 1 where it is fixed */
    CoverPosition positions[POSITIONS_MAX];
} Cover;

typedef enum PlaceKind {
    PLACE_PROPAGATOR,
    PLACE_SILL,
    PLACE_PORCH,
    PLACE_TUNNEL,
    PLACE_GREENHOUSE,
    PLACE_COLD_FRAME,
    PLACE_BOX,
    PLACE_FLEECE,
    PLACE_STANDING,
    PLACE_BED,
} PlaceKind;

typedef struct Place {
    char name[NAME_SIZE];
    PlaceKind kind;
    int site, parent; /* parent -1: outdoors itself, or indoors */
    bool indoors,
        covered; /* indoors: in a building, its own range below; covered: `cover` is valid */
    double indoor_night_c, indoor_day_c; /* range of air temperature indoors */
    double set_point_c, heater_w;        /* thermostat and power of a heater; NAN and 0 none */
    double lift_k; /* of a heater indoors: the most above its room; 0 as much as is wanted */
    double soil_set_point_c, cable_w; /* the same of a soil-warming cable under the trays */
    double water_l;                   /* barrels of water that store heat; 0 none */
    double floor_m2, height_m;
    double footprint; /* share of the parent's floor, 0..1 */
    FloorKind floor;
    int trays;  /* capacity; -1 unlimited */
    bool mains; /* mains power is used here: its caution is shown */
    Cover cover;
} Place;

typedef struct Container {
    char name[NAME_SIZE];  /* "cells-40", "pot-9" */
    double volume_ml;      /* of one cell or pot */
    int per_tray;          /* plants in one tray */
    double hold_max_weeks; /* from sowing or the last potting on */
} Container;

typedef enum CropGroup { CROP_VEGETABLE, CROP_HERB, CROP_FLOWER } CropGroup;
#define CROP_GROUPS 3

/* What the books say a crop stands once it is hardened. */
typedef enum FrostClass { FROST_HARD, FROST_LIGHT, FROST_NONE, FROST_NO_COLD } FrostClass;

/* What harmful cold does to a crop that it does not kill. */
typedef enum ChillHarm { CHILL_BOLTS, CHILL_BUTTONS, CHILL_CATFACES } ChillHarm;

typedef struct Crop {
    char name[NAME_SIZE], title[NAME_SIZE];
    CropGroup group;
    /* shown to the grower, used by no law; NAN and -1 where the books are silent */
    double grows_from_c, grows_to_c;
    int frost_class; /* FrostClass */
    /* of the seed and the seedling; NAN and -1 where the books are silent */
    double germinate_at_c;                      /* best; warmer is no faster */
    double germinate_from_c, germinate_below_c; /* coldest compost it comes up in; none comes up */
    double leaf_base_c, leaf_kd;                /* thermal time from one leaf to the next */
    int prick_out_leaves; /* true leaves at pricking out; -1: sown where it stays */
    /* cold that spoils the harvest, and the most days of it; NAN and -1: none is known */
    double chill_below_c, chill_days, chill_from_leaves;
    int chill_does;        /* ChillHarm */
    double leaf_height_cm; /* what each leaf adds to the height, in the warm; NAN not given */
    double growing_on_night_c;
    double floor_soft_c, floor_hardened_c;   /* air */
    double damage_soft_c, damage_hardened_c; /* leaf */
    double drop_first_k,
        drop_k; /* allowed fall of hardened-to a day: fresh off the heat, after four days */
    double heat_limit_c;                   /* air, under covers */
    double soil_at_planting_c;             /* bed at 08:00 */
    double emergence_base_c, emergence_kd; /* thermal time from sowing to emergence */
    double weeks_to_harden,
        weeks_to_plant; /* from sowing: fit to leave the heat; large enough to plant */
    int settle_days;    /* after pricking out or potting on */
} Crop;

/* One rule of when a grower can be at a site: days of the week and a span of the local day. */
typedef struct VisitRule {
    int site;
    uint8_t weekdays;     /* bit 0 Monday … bit 6 Sunday */
    int from_min, to_min; /* minutes of the local day */
    bool to_dusk;         /* ends with civil twilight instead of to_min */
} VisitRule;

typedef struct Grower {
    char name[NAME_SIZE];
    int home_site;
    double travel_min;                        /* one way, from home to any other site */
    int visits_a_day_home, visits_a_day_away; /* caps */
    int trays_per_trip;                       /* 0: as many as there are */
    double minutes_per_batch_day;             /* minutes of visiting that one batch-day is worth */
    bool desktop; /* alarms of this grower's visits are shown on the desktop */
    int n_rules;
    VisitRule *rules; /* owned by the Garden */
} Grower;

typedef struct Risk {
    double damage; /* accepted probability of damage a night; 0.01 */
    double check;  /* accepted expected check, as a share of a ramp day's budget; 0.10 */
} Risk;

typedef struct Garden {
    Site *sites;
    Place *places; /* parents before what stands inside them */
    Container *containers;
    Crop *crops;
    Grower *growers;
    int n_sites, n_places, n_containers, n_crops, n_growers, n_channels, n_outlets;
    WeatherService services[WEATHER_SERVICES]; /* always both, by name */
    Risk risk;
    struct ChannelSetup *channels;               /* garden/channels.h */
    struct OutletSetup *outlets;                 /* garden/outlets.h */
    struct FeedSetup *feed;                      /* garden/feed-setup.h; NULL: no feed */
    int assume_done_h, feed_lag_s, server_lag_s; /* until a job counts as done, a change is seen */
    bool fahrenheit;                             /* units shown to the grower */
} Garden;

/* ---- what happens ---- */

typedef enum Stage {
    STAGE_SOWN,
    STAGE_EMERGED,
    STAGE_GROWING_ON,
    STAGE_SETTLING,
    STAGE_HARDENING,
    STAGE_READY,
    STAGE_PLANTED_OUT,
    STAGE_ENDED,
} Stage;

/* How hard a batch is, and the unfinished ramp day. Written only by ramp/. */
typedef struct RampState {
    double hardened_to_c;   /* H */
    double frost_tolerance; /* f, 0..1 */
    int exposure_days;      /* X */
    int hold_days;          /* ramp days still held after a check */
    int unused_days;        /* in a row */
    /* trailing day of plant air */
    double mean_air_c[MEAN_STEPS];
    int mean_n, mean_next;
    double mean_sum_c;
    /* unfinished ramp day */
    int64_t day_start_utc;
    double day_air_c[RAMP_DAY_STEPS_MAX];
    int day_steps;
    double exposed_h; /* weighted hours so far, uncapped */
    double below_floor_kh;
    double night_shelter; /* most shelter had during this night so far; -1 none yet */
    /* last nights, newest first: the most shelter of each; NAN unknown */
    double nights_shelter[NIGHTS_KEPT];
} RampState;

/* The seedling, moved on with the air where it stands; all 0: nothing is known. */
typedef struct Growth {
    bool known;           /* it is up, and how long it has been */
    double leaves;        /* true leaves */
    double height_cm;     /* as reckoned, before: */
    double height_factor; /* measured over reckoned; 0 not measured */
    double chill_h;       /* hours of harmful cold, of a plant old enough for it */
    double hardening_h;   /* since hardening began */
} Growth;

typedef struct Batch {
    char id[ID_SIZE], name[NAME_SIZE], cultivar[NAME_SIZE];
    int crop, container, number;
    int trays;              /* how many it fills */
    bool bought, resowable; /* resowable false: it cannot be sown again in time */
    int64_t sown_utc;       /* or bought */
    int64_t settled_utc;    /* end of settling after pricking out or potting on; 0 none */
    int64_t potted_utc;     /* last pricking out or potting on; 0: sown_utc counts */
    int64_t planted_utc;    /* 0 not yet */
    int64_t emerged_utc;    /* when the grower saw it up; 0 nobody told */
    Stage stage;
    int place, destination; /* destination -1: to be asked */
    bool position_unknown;  /* a job that guards it was never reported */
    double used_mm;         /* of the water its trays held, since it was watered last */
    RampState ramp;
    Growth growth;
} Batch;

typedef enum JobKind {
    JOB_SET_COVER,  /* place: put its cover to `position` */
    JOB_MOVE,       /* batch: from `from_place` to `place`, same site */
    JOB_TRANSFER,   /* batch: to a place at another site */
    JOB_PLANT_OUT,  /* batch: into its destination */
    JOB_LEAVE_SHUT, /* frosty morning: touch nothing until thawed */
    JOB_RESCUE,     /* urgent: no visit keeps the batch within its limits */
    JOB_CHOOSE,     /* the grower must decide: destination, or pot on against plant under fleece */
    JOB_WATER,      /* place: water what stands in it; `batch`: this one, before it is planted */
    JOB_PROTECT,    /* place: what was planted in it, against slugs and birds */
} JobKind;

typedef enum LimitKind {
    LIMIT_NONE,
    LIMIT_DAMAGE, /* leaf temperature against the damage figure */
    LIMIT_CHECK,  /* colder than the allowed low */
    LIMIT_CHILL,  /* cold that spoils the harvest, its days used up */
    LIMIT_HEAT,
    LIMIT_GUST,
    LIMIT_SCORCH, /* more light and wind than today's allowance */
    LIMIT_FROZEN, /* plants at or below +1 °C: nothing is touched */
    LIMIT_CAPACITY,
    LIMIT_NO_VISIT, /* nobody can be there */
    LIMIT_PROGRESS, /* no limit: it brings the batch on */
    LIMIT_EXPOSURE, /* not enough days in the open yet */
    LIMIT_NIGHTS,   /* not enough nights under the destination's cover yet */
    LIMIT_HOLD,     /* held after a check */
    LIMIT_SETTLING,
    LIMIT_SIZE,        /* plant not large enough */
    LIMIT_SOIL,        /* bed too cold */
    LIMIT_GROUND,      /* bed sodden or gale */
    LIMIT_DESTINATION, /* the next nights there are too cold, or none was named */
    LIMIT_HELD_TOO_LONG,
    LIMIT_WATER, /* what a tray holds for its plants, litres */
    LIMIT_DAMP,  /* nights running under a shut cover; `otherwise_c`: outdoors, too cold to air */
    LIMIT_DAYLIGHT, /* up, and still in the propagator */
} LimitKind;

/* Why something was decided, as data; wording is made from it. */
typedef struct Reason {
    LimitKind limit;
    int batch, place;
    int64_t at_utc;                        /* when the limit binds */
    double predicted_c, spread_k, limit_c; /* or m/s for gusts, hours for exposure */
    double odds;           /* of passing the limit as planned, 0..1; NAN not a matter of odds */
    double otherwise_odds; /* of passing it had nothing been done; NAN not known */
    double otherwise_c;
    uint32_t estimated; /* EST_ bits of the weather it rests on */
} Reason;

typedef struct Job {
    char id[ID_SIZE]; /* empty until the store knows it */
    JobKind kind;
    int visit; /* index in the plan's visits */
    int batch, place, from_place, position;
    int from_position;    /* of the cover, as planned before the visit; -1 unknown */
    int64_t deadline_utc; /* 0 none */
    bool guard;           /* leaving it out breaks a damage limit: never assumed done */
    bool urgent;
    Reason reason;
} Job;

typedef struct Visit {
    char id[ID_SIZE]; /* empty: new */
    int grower, site;
    int64_t start_utc; /* being there */
    double minutes;
    int first_job, n_jobs;          /* into the plan's jobs, in walking order */
    bool beyond_cap, fixed, helped; /* the grower set the time; somebody else makes it */
} Visit;

typedef struct Reading {
    int place;
    int64_t time_utc;
    double value_c;
} Reading;

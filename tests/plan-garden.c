/* SPDX-License-Identifier: MIT */
#include "plan-garden.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "climate/air.h"
#include "climate/sun.h"

static CoverPosition world_position(const char *name, double g0, double g1, double weight,
                                    double shelter, bool open)
{
    CoverPosition p = {.exchange_wm2k = g0,
                       .exchange_per_ms = g1,
                       .exposure_weight = weight,
                       .shelter = shelter,
                       .open = open};
    strcpy(p.name, name);
    return p;
}

static Cover world_glass(void)
{
    Cover c = {.solar_transmittance = 0.88,
               .ir_transmittance = 0.03,
               .ir_emissivity = 0.87,
               .area_ratio = 1.5,
               .gust_limit_ms = 14.0,
               .opener_from_c = NAN,
               .n_positions = 4};
    c.positions[0] = world_position("closed", 0.3, 0.1, 0.0, 1.0, false);
    c.positions[1] = world_position("10 cm", 10.0, 2.0, 0.2, 0.5, false);
    c.positions[2] = world_position("20 cm", 20.0, 4.0, 0.5, 0.5, false);
    c.positions[3] = world_position("open", 40.0, 10.0, 1.0, 0.0, true);
    return c;
}

static Cover world_tunnel(void)
{
    Cover c = {.solar_transmittance = 0.85,
               .ir_transmittance = 0.2,
               .ir_emissivity = 0.7,
               .area_ratio = 1.6,
               .gust_limit_ms = 14.0,
               .opener_from_c = NAN,
               .n_positions = 2};
    c.positions[0] = world_position("closed", 1.0, 0.3, 0.0, 1.0, false);
    c.positions[1] = world_position("doors open", 15.0, 4.0, 0.2, 0.5, false);
    return c;
}

static Cover world_fleece(void)
{
    Cover c = {.solar_transmittance = 0.85,
               .ir_transmittance = 0.5,
               .ir_emissivity = 0.4,
               .area_ratio = 1.1,
               .gust_limit_ms = 14.0,
               .opener_from_c = NAN,
               .porous = true,
               .n_positions = 2};
    c.positions[0] = world_position("on", 3.0, 1.0, 0.4, 0.5, false);
    c.positions[1] = world_position("off", 40.0, 10.0, 1.0, 0.0, true);
    return c;
}

static void world_place(World *w, int at, const char *name, PlaceKind kind, int site, int parent,
                        int trays)
{
    Place *p = &w->places[at];
    *p = (Place){.kind = kind,
                 .site = site,
                 .parent = parent,
                 .trays = trays,
                 .set_point_c = NAN,
                 .floor_m2 = 2.0,
                 .height_m = 0.4,
                 .footprint = parent < 0 ? 1.0 : 0.3,
                 .indoor_night_c = NAN,
                 .indoor_day_c = NAN};
    strcpy(p->name, name);
}

static void world_crop(World *w, int at, const char *name, const double v[10], int settle)
{
    Crop *c = &w->crops[at];
    *c = (Crop){.growing_on_night_c = v[0],
                .floor_soft_c = v[1],
                .floor_hardened_c = v[2],
                .damage_soft_c = v[3],
                .damage_hardened_c = v[4],
                .drop_first_k = v[5],
                .drop_k = v[6],
                .heat_limit_c = v[7],
                .soil_at_planting_c = v[8],
                .weeks_to_plant = v[9],
                .weeks_to_harden = v[9] - 2,
                .settle_days = settle};
    strcpy(c->name, name);
    strcpy(c->title, name);
}

void world_weather(World *w)
{
    for (int s = 0; s < 2; s++) {
        for (int d = 0; d < 12; d++) {
            int64_t midnight = START_UTC + (int64_t)(d - 1) * 86400;
            SolarDay *day = &w->days[s][d];
            day->day = (int32_t)(midnight / 86400);
            day->midnight_utc = midnight;
            (void)sun_rise_set(sun_noon_utc(midnight + 43200, -2.0), 53.0, -2.0, SUN_HORIZON_DEG,
                               &day->sunrise_utc, &day->sunset_utc);
            day->dusk_utc = day->sunset_utc + 2100;
        }
        for (int i = 0; i <= TEST_STEPS; i++) {
            int64_t utc = START_UTC + (int64_t)i * STEP_S;
            double hour = (double)(utc % 86400) / 3600.0;
            int night = (int)((utc - START_UTC + 43200) /
                              86400); /* from noon to noon; 1 is the first evening */
            double cold = night == w->cold_night
                              ? w->cold_night_k * fmax(0.0, cos((hour - 4.5) * 3.14159265 / 12.0))
                              : 0.0;
            OutdoorStep *o = &w->steps[s][i];
            o->air_c = w->mean_c - w->half_range_k * cos((hour - 4.0) * 3.14159265 / 12.0) - cold;
            o->cloud = w->cloud;
            o->wind_ms = 2.0;
            o->gust_ms = 4.0;
            o->sky_c = air_sky_c(o->air_c, w->mean_c - w->half_range_k - 1.0, w->cloud);
            o->radiation_wm2 = sun_clear_sky_mean_wm2(utc, utc + STEP_S, 53.0, -2.0) *
                               (1.0 - 0.75 * pow(w->cloud, 3.4));
            double lead = fmax(1.0, (double)i / 48.0);
            o->spread_k = fmin(4.0, 1.34 + 0.35 * (lead - 1.0));
        }
        w->outlooks[s] = (SiteOutlook){
            .steps = w->steps[s], .days = w->days[s], .n_days = 12, .deep_c = w->mean_c};
    }
}

/* Half-hours of a day. */
static VisitWindow hours(int site, int day, int from, int to)
{
    const int64_t midnight = START_UTC + (int64_t)day * 86400;
    return (VisitWindow){.site = site,
                         .day = (int32_t)(midnight / 86400),
                         .from_utc = midnight + (int64_t)from * STEP_S,
                         .to_utc = midnight + (int64_t)to * STEP_S};
}

/* Visits at home 07:00-08:30 and 17:30-20:30, at the plot 17:30-19:30; local time is UTC here. */
void world_windows(World *w, bool plot_mornings)
{
    int n = 0;
    for (int d = 0; d < 10; d++) {
        w->windows[n++] = hours(HOME, d, 14, 17);
        if (plot_mornings)
            w->windows[n++] = hours(PLOT, d, 14, 18);
        w->windows[n++] = hours(HOME, d, 35, 41);
        w->windows[n++] = hours(PLOT, d, 35, 39);
    }
    w->snapshot.windows = w->windows;
    w->snapshot.n_windows = n;
}

void world_batch(World *w, int at, int crop, int place, int destination, Stage stage)
{
    Batch *b = &w->batches[at];
    *b = (Batch){.crop = crop,
                 .number = 12,
                 .trays = 1,
                 .place = place,
                 .destination = destination,
                 .stage = stage,
                 .sown_utc = START_UTC - 70 * 86400,
                 .resowable = true};
    b->name[0] = 'b';
    b->name[1] = (char)('0' + at);
    ramp_begin(&w->crops[crop], START_UTC - 86400, &b->ramp);
    RampStep step = {
        .air_c = w->crops[crop].growing_on_night_c + 1, .leaf_c = 15, .shelter = 99, .night = true};
    for (int i = 0; i < 36; i++)
        ramp_step(&w->crops[crop], &step, &b->ramp);
    if (at >= w->snapshot.n_batches)
        w->snapshot.n_batches = at + 1;
}

void world_open(World *w, double mean_c, double half_range_k, double cloud)
{
    memset(w, 0, sizeof *w);
    w->mean_c = mean_c;
    w->half_range_k = half_range_k;
    w->cloud = cloud;
    w->cold_night = -1;
    for (int s = 0; s < 2; s++) {
        w->sites[s] = (Site){.latitude = 53.0, .longitude = -2.0, .altitude_m = 100};
        strcpy(w->sites[s].name, s == HOME ? "home" : "plot");
        for (int m = 0; m < 12; m++) {
            w->sites[s].normals.mean_c[m] = 9.5 - 7.0 * cos((m - 0.5) * 3.14159265 / 6.0);
            w->sites[s].normals.daily_range_k[m] = 8.0;
        }
    }
    world_crop(w, CABBAGE, "cabbage", (double[]){10, 3, -2, -2, -6, 2.5, 5, 32, 5, 7}, 6);
    world_crop(w, TOMATO, "tomato", (double[]){15, 9, 6, 1, 0, 3, 3, 35, 12, 6}, 6);
    world_place(w, SILL, "sill", PLACE_SILL, HOME, -1, 6);
    w->places[SILL].indoors = true;
    w->places[SILL].indoor_night_c = 13;
    w->places[SILL].indoor_day_c = 20;
    world_place(w, STANDING, "yard", PLACE_STANDING, HOME, -1, -1);
    world_place(w, FRAME, "frame", PLACE_COLD_FRAME, PLOT, -1, 6);
    w->places[FRAME].covered = true;
    w->places[FRAME].cover = world_glass();
    world_place(w, TUNNEL, "tunnel", PLACE_TUNNEL, PLOT, -1, 20);
    w->places[TUNNEL].covered = true;
    w->places[TUNNEL].cover = world_tunnel();
    world_place(w, BOX, "box", PLACE_BOX, PLOT, TUNNEL, 4);
    w->places[BOX].covered = true;
    w->places[BOX].cover = world_glass();
    world_place(w, BED, "bed", PLACE_BED, PLOT, -1, -1);
    world_place(w, FLEECE, "fleece", PLACE_FLEECE, PLOT, BED, -1);
    w->places[FLEECE].covered = true;
    w->places[FLEECE].cover = world_fleece();
    w->growers[0] = (Grower){.home_site = HOME,
                             .travel_min = 20,
                             .visits_a_day_home = 2,
                             .visits_a_day_away = 1,
                             .minutes_per_batch_day = 30};
    w->garden = (Garden){.sites = w->sites,
                         .places = w->places,
                         .containers = w->containers,
                         .crops = w->crops,
                         .growers = w->growers,
                         .n_sites = 2,
                         .n_places = N_PLACES,
                         .n_containers = 1,
                         .n_crops = 2,
                         .n_growers = 1,
                         .risk = {.damage = 0.01, .check = 0.10},
                         .assume_done_h = 3};
    int n = 0;
    for (int p = 0; p < N_PLACES; p++) {
        if (w->places[p].parent >= 0)
            continue;
        (void)chain_build(&w->garden, p, &w->chains[n]);
        chain_rest(&w->chains[n], mean_c, mean_c, &w->states[n]);
        n++;
    }
    w->snapshot = (Snapshot){.garden = &w->garden,
                             .now_utc = START_UTC,
                             .start_utc = START_UTC,
                             .n_steps = TEST_STEPS,
                             .sites = w->outlooks,
                             .chains = w->chains,
                             .states = w->states,
                             .n_chains = n,
                             .positions = w->positions,
                             .batches = w->batches,
                             .former = w->former,
                             .weights = plan_weights_default()};
    world_windows(w, false);
    world_weather(w);
}

static void add_window(World *w, VisitWindow window)
{
    int at = w->snapshot.n_windows++;
    for (; at > 0 && w->windows[at - 1].from_utc > window.from_utc; at--)
        w->windows[at] = w->windows[at - 1];
    w->windows[at] = window;
}

void world_fix(World *w, int site, int64_t utc)
{
    const int32_t day = (int32_t)((utc + STEP_S - 1) / STEP_S * STEP_S / 86400);
    add_window(
        w, (VisitWindow){.site = site, .day = day, .from_utc = utc, .to_utc = utc, .fixed = true});
}

void world_offer(World *w, int site, int64_t from_utc, int64_t to_utc)
{
    add_window(w, (VisitWindow){.site = site,
                                .day = (int32_t)(from_utc / 86400),
                                .from_utc = from_utc,
                                .to_utc = to_utc,
                                .offered = true});
}

void world_absent(World *w, int from_day, int to_day)
{
    int n = 0;
    for (int i = 0; i < w->snapshot.n_windows; i++) {
        int day = w->windows[i].day - (int)(START_UTC / 86400);
        if (day < from_day || day > to_day)
            w->windows[n++] = w->windows[i];
    }
    w->snapshot.n_windows = n;
}

Plan world_made(const World *w)
{
    static char *memory;
    const size_t size = (size_t)64 << 20;
    Plan plan;
    if (memory == NULL)
        memory = malloc(size);
    Arena arena = {.base = (void *)memory, .size = size};
    if (memory == NULL || !plan_make(&w->snapshot, 20000 /* as the service */, &arena, &plan))
        abort();
    return plan;
}

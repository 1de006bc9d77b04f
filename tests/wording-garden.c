/* SPDX-License-Identifier: MIT */
#include "wording-garden.h"

#include "base/local-time.h"

#include <math.h>
#include <string.h>

static Place make_place(const char *name, PlaceKind kind, int site, int parent)
{
    Place place = {.kind = kind,
                   .site = site,
                   .parent = parent,
                   .floor = FLOOR_SOIL,
                   .set_point_c = NAN,
                   .trays = 6};

    g_strlcpy(place.name, name, sizeof place.name);
    return place;
}

static void give_cover(Place *place, const char *material, const char *const *positions, bool opens)
{
    place->covered = true;
    g_strlcpy(place->cover.material, material, sizeof place->cover.material);
    for (int i = 0; positions[i] != NULL; i++) {
        g_strlcpy(place->cover.positions[i].name, positions[i], NAME_SIZE);
        place->cover.positions[i].open = opens && positions[i + 1] == NULL;
        place->cover.n_positions = i + 1;
    }
}

static void make_places(Fixture *f)
{
    static const char *const light[] = {"closed", "10 cm", "20 cm", "open", NULL};
    static const char *const doors[] = {"closed", "doors open", NULL};
    static const char *const vents[] = {"closed", "vents open", NULL};
    static const char *const sheet[] = {"on", "off", NULL};

    f->places[PROPAGATOR] = make_place("propagator", PLACE_PROPAGATOR, HOME, -1);
    f->places[PROPAGATOR].indoors = f->places[PROPAGATOR].mains = true;
    f->places[SILL] = make_place("sill", PLACE_SILL, HOME, -1);
    f->places[SILL].indoors = true;
    f->places[FRAME] = make_place("frame", PLACE_COLD_FRAME, HOME, -1);
    give_cover(&f->places[FRAME], "glass", light, true);
    f->places[BOX] = make_place("box-1", PLACE_BOX, HOME, -1);
    give_cover(&f->places[BOX], "polythene", light, true);
    f->places[SLAB] = make_place("slab", PLACE_STANDING, HOME, -1);
    f->places[SLAB].floor = FLOOR_SLAB;
    f->places[TUNNEL] = make_place("tunnel", PLACE_TUNNEL, PLOT, -1);
    give_cover(&f->places[TUNNEL], "polythene", doors, false);
    f->places[GREENHOUSE] = make_place("glasshouse", PLACE_GREENHOUSE, PLOT, -1);
    give_cover(&f->places[GREENHOUSE], "glass", vents, false);
    f->places[BED] = make_place("long-bed", PLACE_BED, PLOT, -1);
    f->places[FLEECE] = make_place("bed-fleece", PLACE_FLEECE, PLOT, BED);
    give_cover(&f->places[FLEECE], "fleece", sheet, true);
    f->places[INNER] = make_place("inner-box", PLACE_BOX, PLOT, TUNNEL);
    give_cover(&f->places[INNER], "twin-wall", light, true);
    f->places[SHEET_2] = make_place("sheet-2", PLACE_FLEECE, HOME, FRAME);
    give_cover(&f->places[SHEET_2], "fleece", sheet, true);
}

static Batch make_batch(const char *id, const char *name, int crop, int number, int place,
                        Stage stage)
{
    Batch batch = {.crop = crop,
                   .container = 0,
                   .number = number,
                   .trays = 2,
                   .stage = stage,
                   .place = place,
                   .destination = BED};

    g_strlcpy(batch.id, id, sizeof batch.id);
    g_strlcpy(batch.name, name, sizeof batch.name);
    batch.ramp.hardened_to_c = 9.2;
    batch.ramp.exposure_days = 3;
    return batch;
}

void fixture_init(Fixture *f)
{
    static const char *const titles[] = {"Tomato", "Cabbage", "Kale", "French bean",
                                         "Brussels sprouts"};

    memset(f, 0, sizeof *f);
    g_strlcpy(f->sites[HOME].name, "home", NAME_SIZE);
    g_strlcpy(f->sites[PLOT].name, "plot", NAME_SIZE);
    make_places(f);
    for (int i = 0; i < N_CROPS; i++)
        g_strlcpy(f->crops[i].title, titles[i], NAME_SIZE);
    g_strlcpy(f->containers[0].name, "cells-40", NAME_SIZE);
    f->containers[0].hold_max_weeks = 6;
    f->growers[0] = (Grower){.name = "one", .home_site = HOME, .travel_min = 20.0};
    f->garden = (Garden){.growers = f->growers,
                         .n_growers = 1,
                         .sites = f->sites,
                         .places = f->places,
                         .crops = f->crops,
                         .containers = f->containers,
                         .n_sites = N_SITES,
                         .n_places = N_PLACES,
                         .n_crops = N_CROPS,
                         .n_containers = 1};
    f->batches[TOMATO_1] = make_batch("aa01", "tomato-1", TOMATO, 12, FRAME, STAGE_HARDENING);
    f->batches[CABBAGE_A] = make_batch("aa02", "cabbages", CABBAGE, 24, FLEECE, STAGE_PLANTED_OUT);
    f->batches[KALE_1] = make_batch("aa03", "kale-1", KALE, 1, SLAB, STAGE_HARDENING);
    f->batches[BEANS] = make_batch("aa04", "beans", FRENCH_BEAN, 30, TUNNEL, STAGE_READY);
    f->batches[TOMATO_2] = make_batch("aa05", "tomato-2", TOMATO, 6, SILL, STAGE_GROWING_ON);
    f->zones[HOME] = f->zones[PLOT] = g_time_zone_new_identifier("Europe/London");
    g_assert_nonnull(f->zones[HOME]);
    f->context = (WordingContext){
        .garden = &f->garden, .batches = f->batches, .n_batches = N_BATCHES, .zones = f->zones};
    f->context.now_utc = local_time_on_day(f->zones[HOME], local_day_from_date(2026, 4, 16),
                                           12 * 60); /* a Thursday */
    f->visit = (Visit){.site = HOME, .start_utc = f->context.now_utc + 6 * 3600, .n_jobs = 1};
}

void fixture_clear(Fixture *f)
{
    g_time_zone_unref(f->zones[HOME]);
}

int fixture_rounds(int usual)
{
    const char *given = g_getenv("THOLE_TEST_ROUNDS");

    return given != NULL ? MIN(usual, (int)g_ascii_strtoll(given, NULL, 10) * 10) : usual;
}

/* SPDX-License-Identifier: MIT */
#include "nursery.h"

#include <stdio.h>
#include <string.h>

#include "plan-garden.h"

/* What each site has, in order; the places of the small garden are the patterns. */
static const struct {
    int pattern, parent; /* within the site; -1 none */
    bool holds;          /* batches stand in it as the plan begins */
} layout[NURSERY_SITE_PLACES] = {
    {SILL, -1, true},  {STANDING, -1, true}, {TUNNEL, -1, true}, {BOX, 2, true},
    {BOX, 2, true},    {FRAME, -1, true},    {FRAME, -1, true},  {FRAME, -1, true},
    {FRAME, -1, true}, {FRAME, -1, false},   {BED, -1, false},   {FLEECE, 10, false},
};
#define BED_OF_SITE 10
#define HOLDING 9 /* of the places above */

static World pattern;

static void make_crops(Nursery *n)
{
    for (int c = 0; c < NURSERY_CROPS; c++) {
        Crop *crop = &n->crops[c];
        const bool tender = c % 4 == 3;
        *crop = pattern.crops[tender ? TOMATO : CABBAGE];
        (void)snprintf(crop->name, sizeof crop->name, "crop-%d", c);
        (void)snprintf(crop->title, sizeof crop->title, "crop %d", c);
        crop->floor_hardened_c += 0.5 * (c / 2);
        crop->floor_soft_c += 0.5 * (c / 2);
        crop->growing_on_night_c += 0.5 * (c / 2);
    }
}

static void make_site(Nursery *n, int site, Chain *chains, int *n_chains)
{
    static const char *const names[NURSERY_SITE_PLACES] = {
        "sill",    "yard",    "tunnel",  "box-1",   "box-2", "frame-1",
        "frame-2", "frame-3", "frame-4", "frame-5", "bed",   "fleece"};
    n->sites[site] = pattern.sites[0];
    (void)snprintf(n->sites[site].name, sizeof n->sites[site].name, "site-%d", site);
    for (int i = 0; i < NURSERY_SITE_PLACES; i++) {
        const int at = site * NURSERY_SITE_PLACES + i;
        Place *p = &n->places[at];
        *p = pattern.places[layout[i].pattern];
        (void)snprintf(p->name, sizeof p->name, "%s-%d", names[i], site);
        p->site = site;
        p->parent = layout[i].parent < 0 ? -1 : site * NURSERY_SITE_PLACES + layout[i].parent;
        n->garden.n_places = at + 1;
    }
    for (int i = 0; i < NURSERY_SITE_PLACES; i++) {
        if (layout[i].parent >= 0)
            continue;
        (void)chain_build(&n->garden, site * NURSERY_SITE_PLACES + i, &chains[*n_chains]);
        chain_rest(&chains[*n_chains], pattern.mean_c, pattern.mean_c, &n->states[*n_chains]);
        ++*n_chains;
    }
}

/* Each grower has a home site and one or two more: both ends of the day at home, at the others an
 * hour of the evening, one after the other. Local time is UTC. */
static void make_windows(Nursery *n)
{
    static const struct {
        int grower, site, from_min, to_min;
    } rules[] = {
        {0, 0, 420, 510},   {0, 0, 1050, 1110}, {0, 1, 1140, 1230}, {1, 2, 390, 480},
        {1, 2, 1020, 1080}, {1, 3, 1110, 1200}, {2, 4, 480, 570},   {2, 4, 1080, 1200},
    };
    int count = 0;
    for (int d = 0; d < NURSERY_DAYS; d++) {
        const int64_t midnight = START_UTC + (int64_t)d * 86400;
        for (size_t r = 0; r < sizeof rules / sizeof *rules; r++)
            n->windows[count++] = (VisitWindow){.grower = rules[r].grower,
                                                .site = rules[r].site,
                                                .day = (int32_t)(midnight / 86400),
                                                .from_utc = midnight + rules[r].from_min * 60,
                                                .to_utc = midnight + rules[r].to_min * 60};
    }
    for (int i = 1; i < count; i++) /* by time */
        for (int k = i; k > 0 && n->windows[k].from_utc < n->windows[k - 1].from_utc; k--) {
            const VisitWindow later = n->windows[k - 1];
            n->windows[k - 1] = n->windows[k];
            n->windows[k] = later;
        }
    n->snapshot.windows = n->windows;
    n->snapshot.n_windows = count;
}

static void make_batch(Nursery *n, int at)
{
    const int group = at % NURSERY_GROUPS, site = group % NURSERY_SITES,
              place = group / NURSERY_SITES % HOLDING, round = group / (NURSERY_SITES * HOLDING);
    Batch *b = &n->batches[at];
    const int crop = (round + place) % NURSERY_CROPS;
    world_batch(&pattern, 0, CABBAGE, SILL, BED, place == 0 ? STAGE_GROWING_ON : STAGE_HARDENING);
    *b = pattern.batches[0];
    (void)snprintf(b->id, sizeof b->id, "b%d", at);
    (void)snprintf(b->name, sizeof b->name, "b%d", at);
    b->crop = crop;
    b->place = site * NURSERY_SITE_PLACES + place;
    b->destination = site * NURSERY_SITE_PLACES + BED_OF_SITE;
    ramp_begin(&n->crops[crop], START_UTC - 86400, &b->ramp);
    const RampStep step = {
        .air_c = n->crops[crop].growing_on_night_c + 1, .leaf_c = 15, .shelter = 99, .night = true};
    for (int i = 0; i < 36; i++)
        ramp_step(&n->crops[crop], &step, &b->ramp);
    if (place > 0) {
        b->ramp.exposure_days = round;
        b->ramp.hardened_to_c -= 0.5 * round;
    }
}

void nursery_make(int n_batches, Nursery *n)
{
    int n_chains = 0;
    memset(n, 0, sizeof *n);
    world_open(&pattern, 9, 5, 0.4);
    n->garden = pattern.garden;
    n->garden.sites = n->sites;
    n->garden.places = n->places;
    n->garden.containers = n->containers;
    n->garden.crops = n->crops;
    n->garden.growers = n->growers;
    n->garden.n_sites = NURSERY_SITES;
    n->garden.n_crops = NURSERY_CROPS;
    n->garden.n_growers = NURSERY_GROWERS;
    make_crops(n);
    for (int site = 0; site < NURSERY_SITES; site++) {
        world_open(&pattern, 8 + 0.5 * site, 5, 0.2 * site);
        make_site(n, site, n->chains, &n_chains);
        memcpy(n->steps[site], pattern.steps[0], sizeof n->steps[site]);
        n->outlooks[site] = pattern.outlooks[0];
        n->outlooks[site].steps = n->steps[site];
        n->outlooks[site].days = n->days;
    }
    memcpy(n->days, pattern.days[0], sizeof n->days);
    for (int g = 0; g < NURSERY_GROWERS; g++) {
        n->growers[g] = pattern.growers[0];
        n->growers[g].home_site = g * 2;
    }
    n->snapshot = pattern.snapshot;
    n->snapshot.garden = &n->garden;
    n->snapshot.n_steps = NURSERY_STEPS;
    n->snapshot.sites = n->outlooks;
    n->snapshot.chains = n->chains;
    n->snapshot.states = n->states;
    n->snapshot.n_chains = n_chains;
    n->snapshot.positions = n->positions;
    n->snapshot.batches = n->batches;
    n->snapshot.n_batches = n_batches;
    n->snapshot.former = NULL;
    make_windows(n);
    int trays[NURSERY_PLACES] = {0};
    for (int i = 0; i < n_batches; i++) {
        make_batch(n, i);
        trays[n->batches[i].place] += n->batches[i].trays;
    }
    for (int p = 0; p < NURSERY_PLACES; p++)
        if (n->places[p].trays >= 0)
            n->places[p].trays = 4 + trays[p] + trays[p] / 4;
}

int nursery_groups(const Nursery *n)
{
    int groups = 0;
    for (int i = 0; i < n->snapshot.n_batches; i++) {
        int k = 0;
        for (; k < i; k++) {
            const Batch *a = &n->batches[i], *b = &n->batches[k];
            if (a->crop == b->crop && a->place == b->place && a->stage == b->stage &&
                a->ramp.exposure_days == b->ramp.exposure_days)
                break;
        }
        groups += k == i;
    }
    return groups;
}

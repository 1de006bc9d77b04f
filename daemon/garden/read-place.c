/* SPDX-License-Identifier: MIT */
#include <math.h>
#include <string.h>

#include "garden/garden.h"
#include "garden/kinds.h"
#include "garden/read.h"

#define LEAST_SHARE 0.01 /* of a parent's floor, chosen */

/* A propagator's loss through lid, sides and bottom, two faces of 9 W/m²K each, and the room that
 * it stands in where that is not said; chosen. */
#define PROPAGATOR_LOSS_WM2K 4.5
#define ROOM_NIGHT_C 12
#define ROOM_DAY_C 20

/* A place on its way into the garden. */
typedef struct Draft {
    ConfigSection *section; /* (unowned) */
    const Kind *kind;
    int parent; /* draft index, -1 outdoors itself */
    int place;  /* index in the garden; -1 not there yet */
    gboolean sized, footprint_given;
} Draft;

/* Puts the size of the place, as far as it is given, over what is usual. */
static gboolean read_size(Draft *draft, Place *place, GError **error)
{
    ConfigSection *section = draft->section;
    double length_cm = 0, width_cm = 0, height_cm = draft->kind->height_m * 100;

    if (!config_get_real(section, "length-cm", 5, 20000, "cm", &length_cm, error) ||
        !config_get_real(section, "width-cm", 5, 20000, "cm", &width_cm, error) ||
        !config_get_real(section, "height-cm", 1, 1000, "cm", &height_cm, error))
        return FALSE;
    draft->sized = length_cm > 0 && width_cm > 0;
    if (!draft->sized && (length_cm > 0 || width_cm > 0)) {
        return config_refuse(section, length_cm > 0 ? "length-cm" : "width-cm", error,
                             "given alone; accepted are length-cm and width-cm together");
    }
    place->floor_m2 = draft->sized ? length_cm / 100 * width_cm / 100 : draft->kind->floor_m2;
    place->height_m = height_cm / 100;
    return TRUE;
}

/* "-2-8": two numbers with a hyphen between them. */
static gboolean parse_range(const char *text, double *ret_from, double *ret_to)
{
    const char *hyphen = *text != '\0' ? strchr(text + 1, '-') : NULL;
    g_autofree char *from =
        hyphen != NULL ? g_strstrip(g_strndup(text, (gsize)(hyphen - text))) : NULL;
    g_autofree char *to = hyphen != NULL ? g_strstrip(g_strdup(hyphen + 1)) : NULL;

    return from != NULL && config_parse_real(from, ret_from) && config_parse_real(to, ret_to);
}

static gboolean read_range(ConfigSection *section, const char *key, Place *place, GError **error)
{
    const char *range = config_get_text(section, key);

    if (range == NULL)
        return TRUE;
    if (!parse_range(range, &place->indoor_night_c, &place->indoor_day_c) ||
        place->indoor_night_c > place->indoor_day_c || place->indoor_night_c < -10 ||
        place->indoor_day_c > 40)
        return config_refuse(
            section, key, error,
            "not a range; accepted is NIGHT-DAY in °C, from -10 to 40, such as 12-20");
    return TRUE;
}

/* A propagator whose heater is known: it warms the air of its room, as far as its power goes. */
static gboolean read_propagator_heater(ConfigSection *section, Place *place, GError **error)
{
    const double sides_m2 = 4 * sqrt(place->floor_m2) * place->height_m;

    if (config_has(section, "range-c")) {
        return config_refuse(
            section, "range-c", error,
            "its air follows from its heater and the room; accepted is range-c, or "
            "heater-watts with room-c");
    }
    if (!config_get_real(section, "heater-watts", 1, 2000, "W", &place->heater_w, error))
        return FALSE;
    place->lift_k = place->heater_w / (PROPAGATOR_LOSS_WM2K * (2 * place->floor_m2 + sides_m2));
    place->indoor_night_c = ROOM_NIGHT_C;
    place->indoor_day_c = ROOM_DAY_C;
    return read_range(section, "room-c", place, error);
}

static gboolean read_indoors(const Draft *draft, Place *place, GError **error)
{
    ConfigSection *section = draft->section;
    double span_k = draft->kind->day_c - draft->kind->night_c;

    place->indoor_night_c = draft->kind->night_c;
    place->indoor_day_c = draft->kind->day_c;
    if (!isnan(draft->kind->set_point_c)) {
        if (!config_get_real(section, "set-point-c", 5, 35, "°C", &place->set_point_c, error))
            return FALSE;
        place->indoor_night_c = place->set_point_c;
        place->indoor_day_c = place->set_point_c + span_k;
        if (config_has(section, "heater-watts"))
            return read_propagator_heater(section, place, error);
        if (config_has(section, "room-c"))
            return config_refuse(section, "room-c", error,
                                 "given alone; accepted are heater-watts and room-c together");
    }
    return read_range(section, "range-c", place, error);
}

static gboolean read_props(ConfigSection *section, CoverChoice *choice, GError **error)
{
    const char *text = config_get_text(section, "prop-heights-cm");
    g_auto(GStrv) heights = NULL;
    double props[G_N_ELEMENTS(choice->prop_cm)] = {0};
    guint n = 0;
    gboolean good = TRUE;

    if (text == NULL)
        return TRUE;
    heights = g_strsplit(text, ",", -1);
    n = g_strv_length(heights);
    good = n <= G_N_ELEMENTS(props);
    for (guint i = 0; good && i < n; i++) {
        good = config_parse_real(g_strstrip(heights[i]), &props[i]) && props[i] >= 1 &&
               props[i] <= 200 && (i == 0 || props[i] > props[i - 1]);
    }
    if (!good) {
        return config_refuse(section, "prop-heights-cm", error,
                             "not a list of heights; accepted are one to %d rising heights from 1 "
                             "to 200 cm, such as "
                             "10,20",
                             (int)G_N_ELEMENTS(props));
    }
    memcpy(choice->prop_cm, props, sizeof props);
    choice->n_props = (int)n;
    return TRUE;
}

static gboolean read_material(const Draft *draft, CoverChoice *choice, GError **error)
{
    /* a sheet is not rigid, and a blanket no roof */
    static const char *const sheets[] = {"polythene", "thermal-polythene", "fleece",  "fleece-17",
                                         "fleece-30", "fleece-50",         "blanket", "net",
                                         NULL};
    static const char *const roofs[] = {
        "glass",  "twin-wall", "acrylic",   "polythene", "thermal-polythene",
        "fleece", "fleece-17", "fleece-30", "fleece-50", "net",
        NULL};
    const char *const *words = draft->kind->opening == OPENING_SHEET ? sheets : roofs;
    int index = 0;

    if (!config_has(draft->section, "material"))
        return TRUE;
    if (!config_get_word(draft->section, "material", words, &index, error))
        return FALSE;
    choice->material = material_find(words[index]);
    return TRUE;
}

/* Thermostat and power: one without the other does nothing. */
static gboolean refuse_alone(ConfigSection *section, const char *power, const char *thermostat,
                             GError **error)
{
    gboolean watts = config_has(section, power);

    return watts == config_has(section, thermostat) ||
           config_refuse(section, watts ? power : thermostat, error,
                         "given alone; accepted are %s and %s together", power, thermostat);
}

static gboolean read_heater(ConfigSection *section, Place *place, GError **error)
{
    return refuse_alone(section, "heater-watts", "set-point-c", error) &&
           config_get_real(section, "heater-watts", 1, 20000, "W", &place->heater_w, error) &&
           config_get_real(section, "set-point-c", 0, 35, "°C", &place->set_point_c, error) &&
           refuse_alone(section, "soil-cable-watts", "soil-cable-c", error) &&
           config_get_real(section, "soil-cable-watts", 1, 20000, "W", &place->cable_w, error) &&
           config_get_real(section, "soil-cable-c", 0, 30, "°C", &place->soil_set_point_c, error) &&
           config_get_real(section, "water-litres", 1, 20000, "litres", &place->water_l, error);
}

static gboolean read_cover(const Draft *draft, Place *place, GError **error)
{
    ConfigSection *section = draft->section;
    CoverChoice choice = kind_cover_choice(draft->kind);
    Opening opening = draft->kind->opening;

    choice.height_m = place->height_m;
    if (!read_material(draft, &choice, error))
        return FALSE;
    if (opening == OPENING_PROP && !read_props(section, &choice, error))
        return FALSE;
    if (opening == OPENING_PROP && !config_get_yes(section, "fixed", &choice.fixed, error))
        return FALSE;
    if (!choice.material->porous &&
        !config_get_real(section, "leakage", 0, 60, "air changes an hour", &choice.air_changes_h,
                         error))
        return FALSE;
    kind_build_cover(draft->kind, &choice, &place->cover);
    if (!config_get_real(section, "gust-limit-ms", 3, 40, "m/s", &place->cover.gust_limit_ms,
                         error))
        return FALSE;
    if (opening == OPENING_SHEET)
        return TRUE;
    return config_get_real(section, "opener-c", 10, 40, "°C", &place->cover.opener_from_c, error) &&
           read_heater(section, place, error);
}

static gboolean read_floor(const Draft *draft, Place *place, GError **error)
{
    static const char *const floors[] = {"soil", "slab", "shelf", NULL};
    static const FloorKind floor_kinds[] = {FLOOR_SOIL, FLOOR_SLAB, FLOOR_SHELF};
    int index = 0;

    place->floor = draft->kind->floor;
    if (!config_has(draft->section, "stands-on"))
        return TRUE;
    if (!config_get_word(draft->section, "stands-on", floors, &index, error))
        return FALSE;
    place->floor = floor_kinds[index];
    return TRUE;
}

/* What share the place says it takes; share_floor() has the last word. */
static gboolean read_footprint(Draft *draft, Place *place, GError **error)
{
    double share_pct = 0;

    place->footprint = 1;
    if (place->parent < 0)
        return TRUE;
    draft->footprint_given = config_has(draft->section, "footprint");
    if (!config_get_real(draft->section, "footprint", 1, 100, "percent", &share_pct, error))
        return FALSE;
    place->footprint = draft->footprint_given ? share_pct / 100 : draft->kind->footprint;
    return TRUE;
}

/* Everything of one place whose parent, if any, is in the garden already. */
static gboolean read_place(Draft *draft, Place *place, GError **error)
{
    const Kind *kind = draft->kind;

    place->kind = kind->kind;
    place->indoors = kind->indoors;
    place->covered = kind->opening != OPENING_NONE;
    place->set_point_c = kind->set_point_c;
    place->trays = kind->trays;
    if (!config_get_whole(draft->section, "trays", 1, 1000, "trays", &place->trays, error) ||
        !read_size(draft, place, error))
        return FALSE;
    if (!(kind->indoors ? read_indoors(draft, place, error) : read_floor(draft, place, error)))
        return FALSE;
    if (kind->indoors)
        place->floor = kind->floor;
    if (!read_footprint(draft, place, error) ||
        (place->covered && !read_cover(draft, place, error)))
        return FALSE;
    place->mains = kind->mains || place->heater_w > 0 || place->cable_w > 0;
    return config_get_yes(draft->section, "mains", &place->mains, error) &&
           config_section_finish(draft->section, error);
}

/* The kind, which decides what else may be said. */
static gboolean read_kind(Draft *draft, GError **error)
{
    const char *const *words = kind_words();
    int index = 0;

    if (!config_has(draft->section, "kind")) {
        g_autofree char *hint = config_suggest("accepted", "", words);

        return config_refuse(draft->section, "kind", error, "is missing; %s", hint);
    }
    if (!config_get_word(draft->section, "kind", words, &index, error))
        return FALSE;
    draft->kind = kind_find(words[index]);
    return TRUE;
}

static int find_draft(const GArray *drafts, const char *name)
{
    for (guint i = 0; i < drafts->len; i++) {
        if (strcmp(g_array_index(drafts, Draft, i).section->name, name) == 0)
            return (int)i;
    }
    return -1;
}

/* What the place stands in, where it says so. */
static gboolean read_parent(const GArray *drafts, Draft *draft, GError **error)
{
    const char *inside = draft->kind->indoors ? NULL : config_get_text(draft->section, "inside");
    g_autoptr(GPtrArray) names = g_ptr_array_new();
    g_autofree char *hint = NULL;

    draft->parent = -1;
    if (inside == NULL)
        return TRUE;
    draft->parent = find_draft(drafts, inside);
    for (guint i = 0; i < drafts->len; i++) {
        const Draft *other = &g_array_index(drafts, Draft, i);

        if (other != draft && !other->kind->indoors)
            g_ptr_array_add(names, other->section->name);
    }
    g_ptr_array_add(names, NULL);
    hint = config_suggest("outdoor places", inside, (const char *const *)names->pdata);
    if (draft->parent < 0)
        return config_refuse(draft->section, "inside", error, "no such place; %s", hint);
    if (&g_array_index(drafts, Draft, draft->parent) == draft)
        return config_refuse(draft->section, "inside", error,
                             "a place cannot stand inside itself; %s", hint);
    if (g_array_index(drafts, Draft, draft->parent).kind->indoors)
        return config_refuse(draft->section, "inside", error, "that place is indoors; %s", hint);
    return TRUE;
}

/* Its own site, or for what stands inside another place: that one's. */
static gboolean read_place_site(const Garden *garden, const Draft *draft, Place *place,
                                GError **error)
{
    const char *name = NULL;
    g_autofree char *hint = NULL;

    if (place->parent >= 0) {
        place->site = garden->places[place->parent].site;
        if (config_get_text(draft->section, "site") != NULL)
            return config_refuse(
                draft->section, "site", error,
                "it stands inside another place, whose site counts; accepted is site or inside, "
                "not both");
        return TRUE;
    }
    name = config_get_text(draft->section, "site");
    if (name == NULL && garden->n_sites == 1)
        return TRUE;
    hint = garden_suggest(garden, GARDEN_SITE, name != NULL ? name : "");
    if (name == NULL)
        return config_refuse(draft->section, "site", error, "is missing; %s", hint);
    place->site = garden_find_site(garden, name);
    return place->site >= 0 ||
           config_refuse(draft->section, "site", error, "no such site; %s", hint);
}

/* Adds what now can be added; the number of places added, or -1 with ERROR. */
static int add_places(Garden *garden, GArray *drafts, GError **error)
{
    int added = 0;

    for (guint i = 0; i < drafts->len; i++) {
        Draft *draft = &g_array_index(drafts, Draft, i);
        Place *place = &garden->places[garden->n_places];

        if (draft->place >= 0 ||
            (draft->parent >= 0 && g_array_index(drafts, Draft, draft->parent).place < 0))
            continue;
        /* "reading plot 2.1" is of the open air at the site. */
        if (garden_find_site(garden, draft->section->name) >= 0) {
            config_refuse(draft->section, NULL, error,
                          "a site has that name; accepted is one that no site has");
            return -1;
        }
        g_strlcpy(place->name, draft->section->name, sizeof place->name);
        place->parent = draft->parent < 0 ? -1 : g_array_index(drafts, Draft, draft->parent).place;
        if (!read_place_site(garden, draft, place, error) || !read_place(draft, place, error))
            return -1;
        draft->place = garden->n_places++;
        added++;
    }
    return added;
}

/* Refuses the first place, by line, that stands inside itself by way of others. */
static gboolean refuse_circle(const GArray *drafts, GError **error)
{
    for (guint i = 0; i < drafts->len; i++) {
        const Draft *draft = &g_array_index(drafts, Draft, i);
        g_autoptr(GString) way = g_string_new(draft->section->name);
        int at = draft->parent;

        for (guint steps = 0; steps < drafts->len && at >= 0; steps++) {
            const Draft *next = &g_array_index(drafts, Draft, at);

            g_string_append_printf(way, " inside %s", next->section->name);
            if (next == draft) {
                g_autofree char *shown = config_clip(way->str, 200);

                return config_refuse(
                    draft->section, "inside", error,
                    "a place cannot stand inside itself (%s); accepted is a place that stands free "
                    "of it",
                    shown);
            }
            at = next->parent;
        }
    }
    return TRUE;
}

static const Draft *draft_of(const GArray *drafts, int place)
{
    for (guint i = 0; i < drafts->len; i++) {
        if (g_array_index(drafts, Draft, i).place == place)
            return &g_array_index(drafts, Draft, i);
    }
    return NULL;
}

/* Whether the share of the parent's floor follows from what the grower gave. */
static gboolean is_share_known(const Draft *draft, const Draft *above)
{
    return draft->footprint_given || (draft->sized && above->sized);
}

/* The shares that are known; their sum goes to *TAKEN and the number of the others to *WAITING. */
static gboolean take_known_shares(Garden *garden, const GArray *drafts, int parent, double *taken,
                                  int *waiting, GError **error)
{
    const Draft *above = draft_of(drafts, parent);

    for (int i = parent + 1; i < garden->n_places; i++) {
        Place *place = &garden->places[i];
        const Draft *draft = NULL;

        if (place->parent != parent)
            continue;
        draft = draft_of(drafts, i);
        if (!is_share_known(draft, above)) {
            ++*waiting;
            continue;
        }
        if (!draft->footprint_given)
            place->footprint = place->floor_m2 / garden->places[parent].floor_m2;
        *taken += place->footprint;
        if (*taken > 1 + 1e-9) {
            return config_refuse(draft->section, draft->footprint_given ? "footprint" : "length-cm",
                                 error,
                                 "the places inside %s need more than its whole floor; accepted "
                                 "are at most 100 percent together",
                                 garden->places[parent].name);
        }
    }
    return TRUE;
}

/*
 * Shares of one parent's floor: those that are known, then what is usual, which gives way where
 * several must share what is left. Places without a size of their own get it from their share.
 */
static gboolean share_floor(Garden *garden, const GArray *drafts, int parent, GError **error)
{
    const Draft *above = draft_of(drafts, parent);
    double taken = 0;
    int waiting = 0;

    if (!take_known_shares(garden, drafts, parent, &taken, &waiting, error))
        return FALSE;
    for (int i = parent + 1; i < garden->n_places; i++) {
        Place *place = &garden->places[i];
        const Draft *draft = NULL;

        if (place->parent != parent)
            continue;
        draft = draft_of(drafts, i);
        if (!is_share_known(draft, above)) {
            if ((1 - taken) / waiting < LEAST_SHARE) {
                return config_refuse(draft->section, NULL, error,
                                     "no floor of %s is left for it; accepted are at most 100 "
                                     "percent together",
                                     garden->places[parent].name);
            }
            place->footprint = MIN(place->footprint, (1 - taken) / waiting);
        }
        if (!draft->sized)
            place->floor_m2 = place->footprint * garden->places[parent].floor_m2;
    }
    return TRUE;
}

/* Counts what stands in one another: a chain is solved as one, and its size is bounded. */
static gboolean check_chains(const Garden *garden, const GArray *drafts, GError **error)
{
    g_autofree int *root = g_new0(int, garden->n_places);
    g_autofree int *size = g_new0(int, garden->n_places);

    for (int i = 0; i < garden->n_places; i++) {
        root[i] = garden->places[i].parent < 0 ? i : root[garden->places[i].parent];
        if (++size[root[i]] > GARDEN_CHAIN_PLACES_MAX) {
            return config_refuse(draft_of(drafts, i)->section, NULL, error,
                                 "too many places inside %s; accepted are at most %d",
                                 garden->places[root[i]].name, GARDEN_CHAIN_PLACES_MAX - 1);
        }
    }
    return TRUE;
}

static gboolean check_sites_used(Config *config, const Garden *garden, GError **error)
{
    ConfigSection *section = NULL;
    guint position = 0;

    while ((section = config_next(config, "site", &position)) != NULL) {
        int site = garden_find_site(garden, section->name);
        gboolean used = FALSE;

        for (int i = 0; i < garden->n_places; i++)
            used = used || garden->places[i].site == site;
        if (!used) {
            return config_refuse(section, NULL, error,
                                 "no place stands there; accepted is a [place NAME] with site=%s",
                                 section->name);
        }
    }
    return TRUE;
}

gboolean read_places(Config *config, Garden *garden, GError **error)
{
    g_autoptr(GPtrArray) sections = read_sections(config, "place", TRUE, error);
    g_autoptr(GArray) drafts = g_array_new(FALSE, TRUE, sizeof(Draft));
    int added = 0;

    if (sections == NULL)
        return FALSE;
    for (guint i = 0; i < sections->len; i++) {
        Draft draft = {.section = g_ptr_array_index(sections, i), .parent = -1, .place = -1};

        if (!read_kind(&draft, error))
            return FALSE;
        g_array_append_val(drafts, draft);
    }
    for (guint i = 0; i < drafts->len; i++) {
        if (!read_parent(drafts, &g_array_index(drafts, Draft, i), error))
            return FALSE;
    }
    if (!refuse_circle(drafts, error))
        return FALSE;
    garden->places = g_new0(Place, sections->len);
    do {
        added = add_places(garden, drafts, error);
        if (added < 0)
            return FALSE;
    } while (added > 0);
    for (int i = 0; i < garden->n_places; i++) {
        if (!share_floor(garden, drafts, i, error))
            return FALSE;
    }
    return check_chains(garden, drafts, error) && check_sites_used(config, garden, error);
}

/* SPDX-License-Identifier: MIT */
/*
 * Both files have the same keys. In the shipped one a bar and the source follow every figure, and
 * every source has a section with its title; the grower's has figures alone, and their source is
 * the grower. A section is applied whole or not at
 * all, and checked after it was applied: what counts is the crop as it comes out.
 */
#include "garden/crops.h"

#include <math.h>
#include <string.h>

#include "garden/config.h"
#include "garden/crop-sources.h"

enum {
    NIGHT,
    GROWS_FROM,
    GROWS_TO,
    FROST_WORD,
    FLOOR_SOFT,
    FLOOR_HARDENED,
    DAMAGE_SOFT,
    DAMAGE_HARDENED,
    DROP_FIRST,
    DROP,
    HEAT_LIMIT,
    SOIL,
    GERMINATE_AT,
    GERMINATE_FROM,
    GERMINATE_BELOW,
    EMERGENCE_BASE,
    EMERGENCE_KD,
    LEAF_BASE,
    LEAF_KD,
    PRICK_OUT_LEAVES,
    LEAF_HEIGHT,
    CHILL_BELOW,
    CHILL_DAYS,
    CHILL_FROM_LEAVES,
    CHILL_DOES,
    WEEKS_TO_HARDEN,
    WEEKS_TO_PLANT,
    SETTLE_DAYS,
};

const char *const crop_group_words[] = {"vegetable", "herb", "flower", NULL};
const char *const crop_frost_words[] = {"hard frost", "light frost", "no frost", "no cold", NULL};
const char *const crop_chill_words[] = {"bolts", "buttons", "catfaces", NULL};

/* A figure that every crop has, in numbers; the ones that are only shown may be left out. */
#define FIGURE(key_, unit_, meaning_, member, min_, max_, kind_)                                   \
    {                                                                                              \
        .key = (key_), .unit = (unit_), .meaning = (meaning_), .offset = offsetof(Crop, member),   \
        .min = (min_), .max = (max_), .kind = (kind_)                                              \
    }
#define SHOWN(key_, unit_, meaning_, member, min_, max_, kind_)                                    \
    {                                                                                              \
        .key = (key_), .unit = (unit_), .meaning = (meaning_), .offset = offsetof(Crop, member),   \
        .min = (min_), .max = (max_), .kind = (kind_), .optional = true                            \
    }

/* The ranges are chosen: wide enough for any crop raised in trays, narrow enough to catch °F and
 * slips. */
const CropField crop_fields[CROP_FIELDS] = {
    [NIGHT] = FIGURE("growing-on-night-c", "°C", "night it is raised at, off the heat mat",
                     growing_on_night_c, 0, 25, CROP_KIND_GROWING_ON),
    [GROWS_FROM] = SHOWN("grows-from-c", "°C", "coldest month it is said to grow in", grows_from_c,
                         0, 25, CROP_KIND_GROWING_ON),
    [GROWS_TO] = SHOWN("grows-to-c", "°C", "warmest month it is said to grow in", grows_to_c, 10,
                       45, CROP_KIND_GROWING_ON),
    [FROST_WORD] = {"frost-class", "", "what it is said to stand when hardened",
                    offsetof(Crop, frost_class), FROST_HARD, FROST_NO_COLD, true, CROP_KIND_FROST,
                    true, crop_frost_words},
    [FLOOR_SOFT] = FIGURE("floor-soft-c", "°C", "coldest air asked of it when soft", floor_soft_c,
                          -10, 20, CROP_KIND_OTHER),
    [FLOOR_HARDENED] = FIGURE("floor-hardened-c", "°C", "coldest air asked of it when hardened",
                              floor_hardened_c, -15, 20, CROP_KIND_OTHER),
    [DAMAGE_SOFT] = FIGURE("damage-soft-c", "°C", "leaf temperature that damages it when soft",
                           damage_soft_c, -10, 10, CROP_KIND_OTHER),
    [DAMAGE_HARDENED] =
        FIGURE("damage-hardened-c", "°C", "leaf temperature that damages it when hardened",
               damage_hardened_c, -25, 10, CROP_KIND_OTHER),
    [DROP_FIRST] = FIGURE("drop-first-k", "K", "how much colder a day, fresh off the heat",
                          drop_first_k, 0.5, 10, CROP_KIND_OTHER),
    [DROP] = FIGURE("drop-k", "K", "how much colder a day, after four days in the open", drop_k,
                    0.5, 10, CROP_KIND_OTHER),
    [HEAT_LIMIT] = FIGURE("heat-limit-c", "°C", "warmest air under a cover", heat_limit_c, 20, 45,
                          CROP_KIND_OTHER),
    [SOIL] = FIGURE("soil-at-planting-c", "°C", "bed at 08:00, warm enough to plant in",
                    soil_at_planting_c, 0, 25, CROP_KIND_SOIL),
    [GERMINATE_AT] = SHOWN("germinate-at-c", "°C", "compost the seed comes up best in",
                           germinate_at_c, 5, 40, CROP_KIND_GERMINATION),
    [GERMINATE_FROM] = SHOWN("germinate-from-c", "°C", "coldest compost its seed comes up in",
                             germinate_from_c, 0, 25, CROP_KIND_OTHER),
    [GERMINATE_BELOW] = SHOWN("germinate-below-c", "°C", "steady warmth at which no seed comes up",
                              germinate_below_c, 15, 50, CROP_KIND_OTHER),
    [EMERGENCE_BASE] = FIGURE("emergence-base-c", "°C", "temperature below which seed stands still",
                              emergence_base_c, -5, 20, CROP_KIND_GERMINATION),
    [EMERGENCE_KD] =
        FIGURE("emergence-kd", "°C·d", "warmth above that base from sowing to emergence",
               emergence_kd, 10, 1000, CROP_KIND_GERMINATION),
    [LEAF_BASE] = SHOWN("leaf-base-c", "°C", "temperature below which it makes no leaf",
                        leaf_base_c, -5, 20, CROP_KIND_OTHER),
    [LEAF_KD] = SHOWN("leaf-kd", "°C·d", "warmth above that base from one leaf to the next",
                      leaf_kd, 10, 200, CROP_KIND_OTHER),
    [PRICK_OUT_LEAVES] = {"prick-out-leaves", "leaves", "true leaves it is pricked out with",
                          offsetof(Crop, prick_out_leaves), 0, 6, true, CROP_KIND_OTHER, true,
                          NULL},
    [LEAF_HEIGHT] = SHOWN("leaf-height-cm", "cm", "what each leaf adds to its height, in the warm",
                          leaf_height_cm, 0.2, 30, CROP_KIND_OTHER),
    [CHILL_BELOW] = SHOWN("chill-below-c", "°C", "air that counts as harmful cold", chill_below_c,
                          0, 20, CROP_KIND_OTHER),
    [CHILL_DAYS] = SHOWN("chill-days", "days", "the most of that cold it may have", chill_days, 1,
                         90, CROP_KIND_OTHER),
    [CHILL_FROM_LEAVES] =
        SHOWN("chill-from-leaves", "leaves", "from how many true leaves it counts",
              chill_from_leaves, 0, 30, CROP_KIND_OTHER),
    [CHILL_DOES] = {"chill-does", "", "what that cold does", offsetof(Crop, chill_does),
                    CHILL_BOLTS, CHILL_CATFACES, true, CROP_KIND_OTHER, true, crop_chill_words},
    [WEEKS_TO_HARDEN] =
        FIGURE("weeks-to-harden", "weeks", "from sowing until it may leave the heat",
               weeks_to_harden, 1, 40, CROP_KIND_OTHER),
    [WEEKS_TO_PLANT] =
        FIGURE("weeks-to-plant", "weeks", "from sowing until it is large enough to plant",
               weeks_to_plant, 1, 52, CROP_KIND_OTHER),
    [SETTLE_DAYS] = {"settle-days", "days", "left in peace after pricking out or potting on",
                     offsetof(Crop, settle_days), 0, 21, true, CROP_KIND_OTHER, false, NULL},
};

#define CROP_DERIVED ", derived" /* behind a source */

/* What must hold between two figures of a crop. */
typedef struct Order {
    int upper, lower;
    gboolean may_be_equal;
} Order;

static const Order orders[] = {
    {NIGHT, FLOOR_SOFT, FALSE}, /* the floor is found by a share of the way between them */
    {FLOOR_SOFT, FLOOR_HARDENED, TRUE},
    {DAMAGE_SOFT, DAMAGE_HARDENED, TRUE},
    {FLOOR_SOFT, DAMAGE_SOFT, FALSE},
    {FLOOR_HARDENED, DAMAGE_HARDENED, FALSE},
    {DROP, DROP_FIRST, TRUE},
    {HEAT_LIMIT, NIGHT, FALSE},
    {GROWS_TO, GROWS_FROM, FALSE},
    {WEEKS_TO_PLANT, WEEKS_TO_HARDEN, TRUE},
    {GERMINATE_BELOW, GERMINATE_FROM, FALSE},
    {GERMINATE_BELOW, EMERGENCE_BASE, FALSE},
};

static void crop_source_clear(CropSource *source)
{
    for (int i = 0; i < CROP_FIELDS; i++)
        g_clear_pointer(&source->of[i], g_free);
}
G_DEFINE_AUTO_CLEANUP_CLEAR_FUNC(CropSource, crop_source_clear)

void crops_free(Crops *crops)
{
    if (crops == NULL)
        return;
    for (int i = 0; i < crops->n; i++)
        crop_source_clear(&crops->sources[i]);
    for (int i = 0; i < crops->n_references; i++) {
        g_free(crops->references[i].key);
        g_free(crops->references[i].title);
    }
    g_free(crops->references);
    g_free(crops->sources);
    g_free(crops->crops);
    g_free(crops);
}

int crops_find(const Crops *crops, const char *name)
{
    for (int i = 0; i < crops->n; i++)
        if (strcmp(crops->crops[i].name, name) == 0)
            return i;
    return -1;
}

double crop_field_value(const Crop *crop, const CropField *field)
{
    const char *at = (const char *)crop + field->offset;
    if (field->whole) {
        int value;
        memcpy(&value, at, sizeof value);
        return field->optional && value < 0 ? (double)NAN : value;
    }
    double value;
    memcpy(&value, at, sizeof value);
    return value;
}

static void set_field(Crop *crop, const CropField *field, double value)
{
    char *at = (char *)crop + field->offset;
    int whole = (int)value;
    if (field->whole)
        memcpy(at, &whole, sizeof whole);
    else
        memcpy(at, &value, sizeof value);
}

const char *crops_source(const Crops *crops, int crop, const char *key)
{
    if (crop < 0 || crop >= crops->n)
        return NULL;
    for (int i = 0; i < CROP_FIELDS; i++)
        if (strcmp(crop_fields[i].key, key) == 0)
            return crops->sources[crop].of[i];
    return NULL;
}

/* One of the words for "no published source", or a heading of docs/references.md by its shape. */
static gboolean is_source(const char *text)
{
    static const char *const words[] = {CROP_SOURCE_CHOSEN, CROP_SOURCE_MEMORY,
                                        CROP_SOURCE_PRACTICE, NULL};
    if (g_strv_contains(words, text))
        return TRUE;
    return *text != '\0' && strcmp(text, CROP_SOURCE_GROWER) != 0 &&
           text[strspn(text, "abcdefghijklmnopqrstuvwxyz0123456789-")] == '\0';
}

/* The value of a figure as written, or the text of the refusal. */
static char *parse_figure(const CropField *field, const char *text, double *ret)
{
    double value = -1;

    if (field->words != NULL) {
        for (int i = 0; field->words[i] != NULL; i++)
            if (g_str_equal(field->words[i], text))
                value = i;
        if (value < 0) {
            g_autofree char *hint = config_suggest("accepted", text, field->words);
            return g_strdup_printf("\"%s\" cannot be used; %s", text, hint);
        }
    } else if (!config_parse_real(text, &value) || value < field->min || value > field->max ||
               (field->whole && value != (double)(int)value)) {
        return g_strdup_printf("\"%s\" cannot be used; accepted is a%s number from %g to %g %s",
                               text, field->whole ? " whole" : "", field->min, field->max,
                               field->unit);
    }
    *ret = value;
    return NULL;
}

/* Cuts off the word that says that a figure is worked out from what its source prints. */
static gboolean take_derived(char *source)
{
    if (!g_str_has_suffix(source, CROP_DERIVED))
        return FALSE;
    source[strlen(source) - strlen(CROP_DERIVED)] = '\0';
    return TRUE;
}

/* Reads one figure and, from the shipped file, its source, which are left as they are where it is
 * not given. `at` is its place in crop_fields. */
static gboolean read_figure(ConfigSection *section, int at, gboolean shipped, Crop *crop,
                            CropSource *given, GError **error)
{
    const CropField *field = &crop_fields[at];
    const char *text = config_get_text(section, field->key);
    if (text == NULL)
        return TRUE;

    const char *bar = strchr(text, '|');
    if (!shipped && bar != NULL)
        return config_refuse(
            section, field->key, error,
            "a source is not for the grower to give; the number alone is accepted");
    g_autofree char *number = bar != NULL ? g_strndup(text, (gsize)(bar - text)) : g_strdup(text);
    g_strstrip(number);
    double value = 0;
    g_autofree char *refused = parse_figure(field, number, &value);
    if (refused != NULL)
        return config_refuse(section, field->key, error, "%s", refused);

    g_autofree char *source = g_strdup(bar != NULL ? bar + 1 : shipped ? "" : CROP_SOURCE_GROWER);
    g_strstrip(source);
    const gboolean derived = shipped && take_derived(source);
    if (shipped && (!is_source(source) || (derived && !crop_source_is_published(source))))
        return config_refuse(
            section, field->key, error,
            "no source that can be used; after the number and a bar (|) accepted is "
            "a heading of the references, \"%s\", \"%s\" or \"%s\"",
            CROP_SOURCE_CHOSEN, CROP_SOURCE_MEMORY, CROP_SOURCE_PRACTICE);
    set_field(crop, field, value);
    given->of[at] = g_steal_pointer(&source);
    given->derived[at] = derived;
    return TRUE;
}

static gboolean read_title(ConfigSection *section, Crop *crop, GError **error)
{
    const char *title = config_get_text(section, "title");
    if (title == NULL) {
        if (*crop->title == '\0')
            g_strlcpy(crop->title, crop->name, sizeof crop->title);
        return TRUE;
    }
    if (strlen(title) >= sizeof crop->title)
        return config_refuse(section, "title", error,
                             "cannot be used; accepted is a text of at most %d bytes",
                             NAME_SIZE - 1);
    g_strlcpy(crop->title, title, sizeof crop->title);
    return TRUE;
}

/* The grower's new crop is a vegetable where nothing is said. */
static gboolean read_group(ConfigSection *section, gboolean shipped, int *group, GError **error)
{
    if (!config_get_word(section, "group", crop_group_words, group, error))
        return FALSE;
    if (shipped && !config_has(section, "group"))
        return config_refuse(section, NULL, error,
                             "no group; accepted are vegetable, herb and flower");
    return TRUE;
}

/* Refuses a crop that is new here but lacks a figure; in the grower's file it may be a slip. */
static gboolean check_whole(const Crops *crops, const ConfigSection *section, gboolean shipped,
                            const CropSource *source, GError **error)
{
    for (int i = 0; i < CROP_FIELDS; i++) {
        if (source->of[i] != NULL || crop_fields[i].optional)
            continue;
        const char *key = crop_fields[i].key;
        if (shipped)
            return config_refuse(section, NULL, error, "no %s; every figure is needed", key);
        g_autofree const char **names = g_new0(const char *, (gsize)crops->n + 1);
        for (int c = 0; c < crops->n; c++)
            names[c] = crops->crops[c].name;
        g_autofree char *suggestion = config_suggest("crops", section->name, names);
        return config_refuse(section, NULL, error,
                             "not in the crop data, and no %s; a new crop needs every figure; %s",
                             key, suggestion);
    }
    return TRUE;
}

/* `given` has the sources of this section: the message names a key that stands in it. */
static gboolean check_orders(const ConfigSection *section, const Crop *crop,
                             const CropSource *given, GError **error)
{
    for (gsize i = 0; i < G_N_ELEMENTS(orders); i++) {
        const Order *order = &orders[i];
        const CropField *upper = &crop_fields[order->upper], *lower = &crop_fields[order->lower];
        double high = crop_field_value(crop, upper), low = crop_field_value(crop, lower);
        if (isnan(high) || isnan(low) || high > low || (order->may_be_equal && high >= low))
            continue;
        const char *or_equal = order->may_be_equal ? "the same or " : "";
        if (given->of[order->lower] == NULL)
            return config_refuse(section, upper->key, error,
                                 "%s is %g %s; accepted is %smore than that", lower->key, low,
                                 lower->unit, or_equal);
        return config_refuse(section, lower->key, error,
                             "%s is %g %s; accepted is %sless than that", upper->key, high,
                             upper->unit, or_equal);
    }
    return TRUE;
}

static int append(Crops *crops)
{
    crops->crops = g_renew(Crop, crops->crops, crops->n + 1);
    crops->sources = g_renew(CropSource, crops->sources, crops->n + 1);
    memset(&crops->crops[crops->n], 0, sizeof *crops->crops);
    memset(&crops->sources[crops->n], 0, sizeof *crops->sources);
    return crops->n++;
}

static gboolean read_crop(Crops *crops, ConfigSection *section, gboolean shipped, GError **error)
{
    if (section->name == NULL)
        return config_refuse(section, NULL, error, "no name; accepted is [crop NAME]");
    int at = crops_find(crops, section->name);
    Crop crop = {0};
    for (int i = 0; i < CROP_FIELDS; i++)
        if (crop_fields[i].optional)
            set_field(&crop, &crop_fields[i], crop_fields[i].whole ? -1.0 : (double)NAN);
    int group = at >= 0 ? (int)crops->crops[at].group : CROP_VEGETABLE;
    if (at >= 0)
        crop = crops->crops[at];
    else
        g_strlcpy(crop.name, section->name, sizeof crop.name);

    g_auto(CropSource) given = {0};
    for (int i = 0; i < CROP_FIELDS; i++)
        if (!read_figure(section, i, shipped, &crop, &given, error))
            return FALSE;
    if (!read_title(section, &crop, error) || !read_group(section, shipped, &group, error))
        return FALSE;
    crop.group = (CropGroup)group;
    if (!config_section_finish(section, error)) /* first: a misspelt key is also a missing one */
        return FALSE;
    if (at < 0 && !check_whole(crops, section, shipped, &given, error))
        return FALSE;
    if (!check_orders(section, &crop, &given, error))
        return FALSE;

    if (at < 0)
        at = append(crops);
    crops->crops[at] = crop;
    for (int i = 0; i < CROP_FIELDS; i++) {
        if (given.of[i] == NULL)
            continue;
        g_free(crops->sources[at].of[i]);
        crops->sources[at].of[i] = g_steal_pointer(&given.of[i]);
        crops->sources[at].derived[i] = given.derived[i];
    }
    return TRUE;
}

/* [source KEY] with the title of a published source. */
static gboolean read_reference(Crops *crops, ConfigSection *section, GError **error)
{
    const char *title = config_get_text(section, "title");
    if (section->name == NULL || title == NULL || *title == '\0')
        return config_refuse(section, NULL, error,
                             "no name or no title; accepted is [source NAME] with title=TEXT");
    if (!config_section_finish(section, error))
        return FALSE;
    crops->references = g_renew(CropReference, crops->references, crops->n_references + 1);
    crops->references[crops->n_references++] =
        (CropReference){.key = g_strdup(section->name), .title = g_strdup(title)};
    return TRUE;
}

/* Every published source that a figure names must have its section. */
static gboolean check_references(const Crops *crops, const char *file, GError **error)
{
    for (int c = 0; c < crops->n; c++) {
        for (int i = 0; i < CROP_FIELDS; i++) {
            const char *source = crops->sources[c].of[i];
            if (source == NULL || !crop_source_is_published(source) ||
                crops_source_title(crops, source) != NULL)
                continue;
            g_set_error(error, CONFIG_ERROR, CONFIG_ERROR_INVALID,
                        "%s: [crop %s] %s: no section [source %s]; accepted is a source that has "
                        "one, with its title",
                        file, crops->crops[c].name, crop_fields[i].key, source);
            return FALSE;
        }
    }
    return TRUE;
}

static gboolean read_crops(Crops *crops, const char *bytes, gsize length, const char *name,
                           gboolean shipped, GError **error)
{
    g_autoptr(Config) config = config_scan(bytes, length, name, error);
    if (config == NULL)
        return FALSE;
    guint position = 0;
    for (ConfigSection *section; (section = config_next(config, "crop", &position)) != NULL;)
        if (!read_crop(crops, section, shipped, error))
            return FALSE;
    position = 0;
    for (ConfigSection *section;
         shipped && (section = config_next(config, "source", &position)) != NULL;)
        if (!read_reference(crops, section, error))
            return FALSE;
    if (!config_finish(config, error))
        return FALSE;
    if (crops->n == 0) {
        g_set_error(error, CONFIG_ERROR, CONFIG_ERROR_INVALID,
                    "%s: no crop in it; accepted are [crop NAME] sections with every figure",
                    config->file);
        return FALSE;
    }
    return !shipped || check_references(crops, config->file, error);
}

gboolean crops_parse(const char *bytes, gsize length, const char *file_name, const char *overrides,
                     gsize overrides_length, const char *overrides_name, Crops **ret_crops,
                     GError **error)
{
    g_autoptr(Crops) crops = g_new0(Crops, 1);
    if (!read_crops(crops, bytes, length, file_name, TRUE, error))
        return FALSE;
    if (overrides != NULL &&
        !read_crops(crops, overrides, overrides_length, overrides_name, FALSE, error))
        return FALSE;
    *ret_crops = g_steal_pointer(&crops);
    return TRUE;
}

gboolean crops_load(const char *path, const char *overrides_path, Crops **ret_crops, GError **error)
{
    gsize length = 0, overrides_length = 0;
    g_autofree char *bytes = config_read_file(path, CONFIG_BYTES_MAX, &length, error);
    if (bytes == NULL)
        return FALSE;
    g_autofree char *overrides = NULL;
    if (overrides_path != NULL) {
        overrides = config_read_file(overrides_path, CONFIG_BYTES_MAX, &overrides_length, error);
        if (overrides == NULL)
            return FALSE;
    }
    return crops_parse(bytes, length, path, overrides, overrides_length, overrides_path, ret_crops,
                       error);
}

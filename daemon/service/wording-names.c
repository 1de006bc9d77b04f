/* SPDX-License-Identifier: MIT */
/* What places and batches are called. Names stay as the grower gave them. */
#include "service/wording-private.h"

#include <string.h>

const Place *wording_place(const WordingContext *context, int place)
{
    return place >= 0 && place < context->garden->n_places ? &context->garden->places[place] : NULL;
}

const Batch *wording_batch(const WordingContext *context, int batch)
{
    return batch >= 0 && batch < context->n_batches ? &context->batches[batch] : NULL;
}

const Crop *wording_crop(const WordingContext *context, const Batch *batch)
{
    if (batch == NULL || batch->crop < 0 || batch->crop >= context->garden->n_crops)
        return NULL;
    return &context->garden->crops[batch->crop];
}

int wording_site(const WordingContext *context, int place, int batch)
{
    const Place *here = wording_place(context, place);
    const Batch *plants = wording_batch(context, batch);

    if (here == NULL && plants != NULL)
        here = wording_place(context, plants->place);
    return here != NULL && here->site >= 0 && here->site < context->garden->n_sites ? here->site
                                                                                    : -1;
}

/* Letters, digits and signs of ASCII with single blanks between, as nearly all names are. */
static bool is_clean(const char *name, size_t length)
{
    for (size_t i = 0; i < length; i++) {
        const bool blank = name[i] == ' ';
        if ((guchar)name[i] < 0x20 || (guchar)name[i] > 0x7e ||
            (blank && (i == 0 || i == length - 1 || name[i - 1] == ' ')))
            return false;
    }
    return true;
}

char *wording_name(const char *name, size_t size)
{
    const size_t length = strnlen(name, size);

    if (is_clean(name, length))
        return g_strndup(name, length);
    g_autofree char *raw = g_strndup(name, size);
    g_autofree char *valid = g_utf8_make_valid(raw, -1);
    GString *clean = g_string_new(NULL);

    for (const char *p = valid; *p != '\0'; p = g_utf8_next_char(p)) {
        const gunichar c = g_utf8_get_char(p);
        const bool blank = g_unichar_isspace(c) || g_unichar_iscntrl(c);

        if (!blank)
            g_string_append_unichar(clean, c);
        else if (clean->len > 0 && clean->str[clean->len - 1] != ' ')
            g_string_append_c(clean, ' ');
    }
    if (clean->len > 0 && clean->str[clean->len - 1] == ' ')
        g_string_truncate(clean, clean->len - 1);
    return g_string_free(clean, FALSE);
}

static bool is_proper(const char *name)
{
    return strpbrk(name, "0123456789") != NULL || g_unichar_isupper(g_utf8_get_char(name));
}

char *wording_place_words(const WordingContext *context, int place)
{
    const Place *here = wording_place(context, place);
    g_autofree char *name =
        here != NULL ? wording_name(here->name, sizeof here->name) : g_strdup("");

    if (*name == '\0')
        return here != NULL ? g_strdup_printf("the %s", wording_place_kind(here->kind))
                            : g_strdup("its place");
    return g_strconcat(is_proper(name) ? "" : "the ", name, NULL);
}

const char *wording_in(const Place *place)
{
    switch (place->kind) {
    case PLACE_SILL:
    case PLACE_STANDING:
        return "on";
    case PLACE_FLEECE:
        return "under";
    case PLACE_PROPAGATOR:
    case PLACE_PORCH:
    case PLACE_TUNNEL:
    case PLACE_GREENHOUSE:
    case PLACE_COLD_FRAME:
    case PLACE_BOX:
    case PLACE_BED:
        break;
    }
    return "in";
}

char *wording_where(const WordingContext *context, int place)
{
    const Place *here = wording_place(context, place);
    g_autofree char *name = wording_place_words(context, place);

    return g_strdup_printf("%s %s", here != NULL ? wording_in(here) : "in", name);
}

char *wording_site_words(const WordingContext *context, int site)
{
    if (site < 0 || site >= context->garden->n_sites)
        return g_strdup("");
    g_autofree char *name = wording_name(context->garden->sites[site].name, NAME_SIZE);

    return g_strconcat(*name == '\0' || strcmp(name, "home") == 0 || is_proper(name) ? "" : "the ",
                       name, NULL);
}

/* ---- crops ---- */

static bool in_list(const char *word, const char *const *list)
{
    return g_strv_contains(list, word);
}

/* Names of plants that are not counted: "12 kale plants". */
static const char *const uncounted[] = {
    "broccoli", "kale",    "celery",  "celeriac",  "corn",   "basil",     "spinach",
    "chard",    "parsley", "fennel",  "coriander", "garlic", "asparagus", "choi",
    "rocket",   "mint",    "thyme",   "dill",      "sorrel", "okra",      "sage",
    "oregano",  "chilli",  "statice", "alyssum",   "stock",  NULL};

/* First words that keep their capital in a sentence. */
static const char *const proper[] = {"French", "Brussels",  "Swiss",    "Chinese", "Savoy",
                                     "Welsh",  "Jerusalem", "Japanese", "English", "Italian",
                                     "German", "Florence",  "China",    NULL};

static char *in_a_sentence(const char *title)
{
    const char *space = strchr(title, ' ');
    g_autofree char *first =
        space != NULL ? g_strndup(title, (gsize)(space - title)) : g_strdup(title);

    if (in_list(first, proper))
        return g_strdup(title);
    const char *rest = g_utf8_next_char(title);
    g_autofree char *initial = g_utf8_strdown(title, (gssize)(rest - title));

    return g_strconcat(initial, rest, NULL);
}

static char *plural_of(const char *word)
{
    const gsize length = strlen(word);
    const char last = word[length - 1];
    const char before = length > 1 ? word[length - 2] : '\0';

    if (g_str_has_suffix(word, "ss") || g_str_has_suffix(word, "sh") ||
        g_str_has_suffix(word, "ch") || last == 'x' || g_str_has_suffix(word, "tomato") ||
        g_str_has_suffix(word, "potato"))
        return g_strconcat(word, "es", NULL);
    if (last == 'y' && strchr("aeiou", before) == NULL)
        return g_strdup_printf("%.*sies", (int)length - 1, word);
    return g_strconcat(word, last == 's' ? "" : "s", NULL);
}

char *wording_crop_words(const Crop *crop, bool plural)
{
    g_autofree char *title =
        crop != NULL ? wording_name(crop->title, sizeof crop->title) : g_strdup("");

    if (*title == '\0')
        return g_strdup(plural ? "plants" : "plant");
    char *other_name = strstr(title, " (");
    if (other_name != NULL && other_name != title)
        *other_name = '\0';
    g_autofree char *word = in_a_sentence(title);
    const char *space = strrchr(word, ' ');

    if (in_list(space != NULL ? space + 1 : word, uncounted))
        return g_strconcat(word, plural ? " plants" : " plant", NULL);
    return plural ? plural_of(word) : g_steal_pointer(&word);
}

/* ---- batches ---- */

bool wording_is_one(const WordingContext *context, int batch)
{
    const Batch *plants = wording_batch(context, batch);

    if (plants == NULL || plants->number != 1)
        return false;
    g_autofree char *word = wording_crop_words(wording_crop(context, plants), false);

    return word[strlen(word) - 1] != 's' || g_str_has_suffix(word, "ss");
}

/* " (tomato-1)", or nothing where the name only repeats the crop. */
static char *in_brackets(const Batch *plants, const char *noun)
{
    g_autofree char *name = wording_name(plants->name, sizeof plants->name);

    return *name == '\0' || g_ascii_strcasecmp(name, noun) == 0 ? g_strdup("")
                                                                : g_strdup_printf(" (%s)", name);
}

char *wording_batch_words(const WordingContext *context, int batch)
{
    const Batch *plants = wording_batch(context, batch);

    if (plants == NULL)
        return g_strdup("the plants");
    g_autofree char *noun = wording_crop_words(wording_crop(context, plants), plants->number != 1);
    g_autofree char *name = in_brackets(plants, noun);

    return plants->number > 1 ? g_strdup_printf("the %d %s%s", plants->number, noun, name)
                              : g_strdup_printf("the %s%s", noun, name);
}

char *wording_plants(const WordingContext *context, const Batch *batch)
{
    g_autofree char *noun = wording_crop_words(wording_crop(context, batch), batch->number != 1);
    g_autofree char *name = in_brackets(batch, noun);

    return g_strdup_printf("%d %s%s", batch->number, noun, name);
}

static bool is_only_one_of_crop(const WordingContext *context, const Batch *plants)
{
    int same = 0;

    for (int i = 0; i < context->n_batches && same <= 1; i++)
        same +=
            context->batches[i].crop == plants->crop && context->batches[i].stage != STAGE_ENDED;
    return same <= 1;
}

char *wording_plants_words(const WordingContext *context, int batch)
{
    const Batch *plants = wording_batch(context, batch);

    if (plants == NULL)
        return g_strdup("the plants");
    g_autofree char *noun = wording_crop_words(wording_crop(context, plants), plants->number != 1);
    g_autofree char *name =
        is_only_one_of_crop(context, plants) ? g_strdup("") : in_brackets(plants, noun);

    return g_strdup_printf("the %s%s", noun, name);
}

char *wording_sheet_words(const Place *place, bool short_form)
{
    g_autofree char *name = wording_name(place->name, sizeof place->name);
    g_autofree char *given = wording_name(place->cover.material, sizeof place->cover.material);
    const char *material = *given != '\0' ? given : "fleece";

    if (*name == '\0' || g_ascii_strcasecmp(name, material) == 0)
        return g_strconcat(short_form ? "" : "the ", material, NULL);
    if (strstr(name, material) != NULL)
        return g_strconcat(short_form || is_proper(name) ? "" : "the ", name, NULL);
    return short_form ? g_strdup(material) : g_strdup_printf("the %s (%s)", material, name);
}

/* SPDX-License-Identifier: MIT */
#include "garden/init.h"

#include <math.h>
#include <string.h>

#include "garden/garden.h"
#include "garden/kinds.h"
#include "garden/read.h"

#define PLACES_MAX 100  /* of one kind, chosen */
#define COUNT_MAX 10000 /* plants of a batch, chosen */

static gboolean parse_count(const char *text, int most, int *ret)
{
    gint64 number = 0;

    if (!g_ascii_string_to_signed(text, 10, 1, most, &number, NULL))
        return FALSE;
    *ret = (int)number;
    return TRUE;
}

/* The words of TEXT, however many spaces stand between them. */
static GPtrArray *split_words(const char *text)
{
    g_auto(GStrv) pieces = g_strsplit_set(text, " \t\n\r", -1);
    GPtrArray *words = g_ptr_array_new_with_free_func(g_free);

    for (int i = 0; pieces[i] != NULL; i++) {
        if (*pieces[i] != '\0')
            g_ptr_array_add(words, g_strdup(pieces[i]));
    }
    return words;
}

static gboolean refuse_item(const char *item, GError **error, const char *what)
{
    g_autofree char *shown = config_clip(item, 60);

    g_set_error(error, CONFIG_ERROR, CONFIG_ERROR_INVALID,
                "\"%s\": %s; accepted are items such as sill, 2 cold-frame 6 trays, tunnel at plot",
                shown, what);
    return FALSE;
}

/* What follows the kind: "6 trays", "at SITE". */
static gboolean parse_tail(const GPtrArray *words, guint at, const char *item, const char *home,
                           const char *plot, InitPlaces *places, GError **error)
{
    while (at + 1 < words->len) {
        const char *first = words->pdata[at], *second = words->pdata[at + 1];

        if (strcmp(first, "at") == 0) {
            places->at_plot = plot != NULL && strcmp(second, plot) == 0;
            if (!places->at_plot && strcmp(second, home) != 0)
                return refuse_item(item, error, "no such site");
        } else if (strcmp(second, "trays") != 0 && strcmp(second, "tray") != 0) {
            break;
        } else if (!parse_count(first, 1000, &places->trays)) {
            return refuse_item(item, error, "the number of trays is not from 1 to 1000");
        }
        at += 2;
    }
    return at == words->len || refuse_item(item, error, "words that cannot be read");
}

static gboolean parse_item(const char *item, const char *home, const char *plot, InitPlaces *ret,
                           GError **error)
{
    g_autoptr(GPtrArray) words = split_words(item);
    InitPlaces places = {.count = 1};
    const Kind *kind = NULL;
    guint at = 0;

    if (words->len == 0)
        return refuse_item(item, error, "an empty item");
    if (g_ascii_isdigit(*(const char *)words->pdata[0])) {
        if (!parse_count(words->pdata[at++], PLACES_MAX, &places.count))
            return refuse_item(item, error, "the number of places is not from 1 to 100");
    }
    kind = at < words->len ? kind_find(words->pdata[at++]) : NULL;
    if (kind == NULL) {
        g_autofree char *shown = config_clip(item, 60);
        g_autofree char *hint =
            config_suggest("kinds", at > 0 ? words->pdata[at - 1] : "", kind_words());

        g_set_error(error, CONFIG_ERROR, CONFIG_ERROR_INVALID, "\"%s\": no such kind of place; %s",
                    shown, hint);
        return FALSE;
    }
    places.kind = kind->kind;
    places.at_plot = plot != NULL && !kind->indoors;
    if (!parse_tail(words, at, item, home, plot, &places, error))
        return FALSE;
    *ret = places;
    return TRUE;
}

GArray *init_parse_places(const char *text, const char *home, const char *plot, GError **error)
{
    g_autoptr(GArray) all = g_array_new(FALSE, TRUE, sizeof(InitPlaces));
    g_auto(GStrv) items = NULL;

    if (!g_utf8_validate(text, -1, NULL)) {
        g_autofree char *valid = g_utf8_make_valid(text, -1);

        refuse_item(valid, error, "not UTF-8 text");
        return NULL;
    }
    items = g_strsplit(text, ",", -1);
    for (int i = 0; items[i] != NULL; i++) {
        InitPlaces places = {0};

        if (!parse_item(g_strstrip(items[i]), home, plot, &places, error))
            return NULL;
        g_array_append_val(all, places);
    }
    if (all->len == 0) {
        refuse_item("", error, "an empty item");
        return NULL;
    }
    return g_steal_pointer(&all);
}

gboolean init_parse_batch(const char *text, InitBatch *ret, GError **error)
{
    g_autoptr(GPtrArray) words = NULL;
    g_autofree char *valid = NULL, *shown = NULL;
    InitBatch batch = {.number = 0};

    if (g_utf8_validate(text, -1, NULL)) {
        words = split_words(text);
        if (words->len == 3 && config_is_name(words->pdata[0]) &&
            parse_count(words->pdata[1], COUNT_MAX, &batch.number) &&
            config_is_name(words->pdata[2])) {
            g_strlcpy(batch.crop, words->pdata[0], sizeof batch.crop);
            g_strlcpy(batch.place, words->pdata[2], sizeof batch.place);
            *ret = batch;
            return TRUE;
        }
    }
    valid = g_utf8_make_valid(text, -1);
    shown = config_clip(valid, 60);
    g_set_error(
        error, CONFIG_ERROR, CONFIG_ERROR_INVALID,
        "the batch \"%s\" cannot be read; accepted is CROP NUMBER PLACE, such as tomato 12 sill, "
        "with a number from 1 "
        "to %d",
        shown, COUNT_MAX);
    return FALSE;
}

static gboolean has_plot(const InitAnswers *answers)
{
    return answers->plot.name[0] != '\0';
}

static void append_number(GString *text, const char *key, const char *format, double value)
{
    char number[G_ASCII_DTOSTR_BUF_SIZE];

    g_ascii_formatd(number, sizeof number, format, value);
    g_string_append_printf(text, "%s%s\n", key, number);
}

static void append_site(GString *text, const InitSite *site)
{
    Normals normals = read_estimate_normals(site->latitude);
    double coldest_c = normals.mean_c[0], warmest_c = normals.mean_c[0];
    int month = 0, day = 0;
    char from[G_ASCII_DTOSTR_BUF_SIZE], to[G_ASCII_DTOSTR_BUF_SIZE];

    for (int i = 1; i < 12; i++) {
        coldest_c = MIN(coldest_c, normals.mean_c[i]);
        warmest_c = MAX(warmest_c, normals.mean_c[i]);
    }
    read_estimate_last_frost(&normals, &month, &day);
    g_ascii_formatd(from, sizeof from, "%.0f", coldest_c);
    g_ascii_formatd(to, sizeof to, "%.0f", warmest_c);
    g_string_append_printf(text, "\n[site %s]\n", site->name);
    append_number(text, "latitude=", "%.6f", site->latitude);
    append_number(text, "longitude=", "%.6f", site->longitude);
    g_string_append_printf(
        text,
        "weather=%s\n"
        "# estimated: altitude=100\n"
        "# estimated: last-frost=%02d-%02d sd 12\n"
        "# estimated: monthly means from %s to %s °C (normals=FILE for your own)\n",
        site->weather, month, day, from, to);
}

/* Who asks a service should know what he sends, and on which terms. */
static void append_services(GString *text, const InitAnswers *answers)
{
    if (strstr(answers->home.weather, "open-meteo") == NULL &&
        (!has_plot(answers) || strstr(answers->plot.weather, "open-meteo") == NULL))
        return;
    g_string_append(
        text,
        "\n# weather=open-meteo asks api.open-meteo.com about once an hour; the latitude and\n"
        "# longitude it sends are rounded to 0.01 degrees, about 1 km. That host is free for\n"
        "# non-commercial use (https://open-meteo.com/en/terms); for others, and for other\n"
        "# sources of forecasts, see thole.conf.md. weather=none asks nobody.\n");
}

/* The first place of KIND at the site, or NULL: names follow from the answers alone. */
static const InitPlaces *find_places(const InitAnswers *answers, PlaceKind kind, gboolean at_plot)
{
    for (int i = 0; i < answers->n_places; i++) {
        if (answers->places[i].kind == kind && answers->places[i].at_plot == at_plot)
            return &answers->places[i];
    }
    return NULL;
}

/* How many places of KIND the answers before item END name, both sites together. */
static int places_before(const InitAnswers *answers, PlaceKind kind, int end)
{
    int n = 0;

    for (int i = 0; i < end; i++)
        n += answers->places[i].kind == kind ? answers->places[i].count : 0;
    return n;
}

/* "tunnel" where there is one, else "tunnel-1", "tunnel-2" …, counted over all answers. */
static char *place_name(const InitAnswers *answers, PlaceKind kind, int number)
{
    const char *word = kind_get(kind)->word;

    if (places_before(answers, kind, answers->n_places) == 1)
        return g_strdup(word);
    return g_strdup_printf("%s-%d", word, number + 1);
}

/* A box stands in the tunnel, a fleece lies over the bed, where the site has one. */
static char *parent_name(const InitAnswers *answers, const InitPlaces *places)
{
    PlaceKind outer = places->kind == PLACE_BOX ? PLACE_TUNNEL : PLACE_BED;
    const InitPlaces *found = NULL;

    if (places->kind == PLACE_BOX || places->kind == PLACE_FLEECE)
        found = find_places(answers, outer, places->at_plot);
    return found != NULL ? place_name(answers, outer,
                                      places_before(answers, outer, (int)(found - answers->places)))
                         : NULL;
}

static void append_places(GString *text, const InitAnswers *answers, int item)
{
    const InitPlaces *places = &answers->places[item];
    const Kind *kind = kind_get(places->kind);
    g_autofree char *parent = parent_name(answers, places);
    int before = places_before(answers, places->kind, item);

    for (int i = 0; i < places->count; i++) {
        g_autofree char *name = place_name(answers, places->kind, before + i);

        g_string_append_printf(text, "\n[place %s]\nkind=%s\n", name, kind->word);
        if (parent != NULL)
            g_string_append_printf(text, "inside=%s\n", parent);
        else
            g_string_append_printf(text, "site=%s\n",
                                   places->at_plot ? answers->plot.name : answers->home.name);
        if (places->trays > 0)
            g_string_append_printf(text, "trays=%d\n", places->trays);
        else if (kind->trays > 0)
            g_string_append_printf(text, "# estimated: trays=%d\n", kind->trays);
        if (kind->indoors) {
            g_string_append_printf(text, "# estimated: range-c=%d-%d\n", (int)kind->night_c,
                                   (int)kind->day_c);
        } else if (kind->opening != OPENING_NONE) {
            g_string_append_printf(text, "# estimated: material=%s, height-cm=%d\n", kind->material,
                                   (int)lround(kind->height_m * 100));
        }
    }
}

static void append_grower(GString *text, const InitAnswers *answers)
{
    g_string_append_printf(text, "\n[grower me]\nvisits-%s=%s\n", answers->home.name,
                           answers->home.visits);
    if (!has_plot(answers))
        return;
    g_string_append_printf(text, "visits-%s=%s\n", answers->plot.name, answers->plot.visits);
    append_number(text, "travel-minutes=", "%.0f", answers->travel_min);
}

/* One line each: what the grower types must not become another key. */
static gboolean check_site(const InitSite *site, GError **error)
{
    const char *const lines[] = {site->weather, site->visits};

    if (!g_utf8_validate(site->name, -1, NULL) || !config_is_name(site->name)) {
        g_autofree char *valid = g_utf8_make_valid(site->name, -1);

        g_set_error(error, CONFIG_ERROR, CONFIG_ERROR_INVALID,
                    "a site cannot have the name \"%s\"; accepted are letters, digits, - and _, "
                    "no spaces, at most 47 bytes",
                    valid);
        return FALSE;
    }
    for (gsize i = 0; i < G_N_ELEMENTS(lines); i++) {
        if (lines[i] == NULL || *lines[i] == '\0' || strpbrk(lines[i], "\r\n") != NULL) {
            g_set_error(error, CONFIG_ERROR, CONFIG_ERROR_INVALID,
                        "site %s: the %s must be one line of text", site->name,
                        i == 0 ? "weather source" : "visits");
            return FALSE;
        }
    }
    return TRUE;
}

/* Each site needs a place that stands there. */
static gboolean check_answers(const InitAnswers *answers, GError **error)
{
    gboolean home = FALSE, plot = FALSE;

    if (!check_site(&answers->home, error) ||
        (has_plot(answers) && !check_site(&answers->plot, error)))
        return FALSE;
    for (int i = 0; i < answers->n_places; i++) {
        home = home || !answers->places[i].at_plot;
        plot = plot || answers->places[i].at_plot;
        if (answers->places[i].at_plot && !has_plot(answers)) {
            g_set_error(error, CONFIG_ERROR, CONFIG_ERROR_INVALID,
                        "a place stands at the second site, which has no name");
            return FALSE;
        }
    }
    if (!home || (has_plot(answers) && !plot)) {
        g_set_error(error, CONFIG_ERROR, CONFIG_ERROR_INVALID,
                    "no place stands at %s; accepted is at least one place at each site, such as "
                    "sill at home",
                    home ? answers->plot.name : answers->home.name);
        return FALSE;
    }
    return TRUE;
}

char *init_config_text(const InitAnswers *answers, GError **error)
{
    g_autoptr(GString) text = g_string_new(NULL);
    g_autoptr(Garden) garden = NULL;

    if (!check_answers(answers, error))
        return NULL;
    g_string_append(
        text, "# What the garden has. Every key: thole.conf.md, in the documentation.\n"
              "# Lines that begin with \"# estimated\" say what is taken where you say nothing:\n"
              "# to mend one, write the key and your own value on a line of its own below it.\n"
              "\n[garden]\nunits=C\n");
    append_site(text, &answers->home);
    if (has_plot(answers))
        append_site(text, &answers->plot);
    append_services(text, answers);
    for (int i = 0; i < answers->n_places; i++)
        append_places(text, answers, i);
    append_grower(text, answers);
    garden = garden_parse(text->str, text->len, "thole.conf", NULL, 0, NULL, error);
    return garden != NULL ? g_string_free(g_steal_pointer(&text), FALSE) : NULL;
}

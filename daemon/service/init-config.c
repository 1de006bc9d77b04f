/* SPDX-License-Identifier: MIT */
#include "service/init-config.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "garden/garden.h"
#include "garden/init.h"

#define USUAL_HOME "home"
#define USUAL_WEATHER "open-meteo"
#define TRAVEL_MOST_MIN 1440.0

enum {
    KEY_HOME,
    KEY_LATITUDE,
    KEY_LONGITUDE,
    KEY_VISITS,
    KEY_WEATHER,
    KEY_PLOT,
    KEY_PLOT_LATITUDE,
    KEY_PLOT_LONGITUDE,
    KEY_PLOT_VISITS,
    KEY_TRAVEL,
    KEY_OWN,
    KEY_BATCH,
    N_KEYS,
};

static const char *const keys[N_KEYS + 1] = {
    "home",           "latitude",    "longitude",      "visits", "weather", "plot", "plot-latitude",
    "plot-longitude", "plot-visits", "travel-minutes", "own",    "batch",   NULL};

static gboolean G_GNUC_PRINTF(2, 3) refuse(GError **error, const char *format, ...)
{
    va_list args;

    va_start(args, format);
    g_autofree char *message = g_strdup_vprintf(format, args);
    va_end(args);
    g_set_error_literal(error, THOLE_ERROR, THOLE_ERROR_INVALID, message);
    return FALSE;
}

static int find_key(const char *name, gsize length)
{
    for (int key = 0; key < N_KEYS; key++)
        if (strlen(keys[key]) == length && strncmp(keys[key], name, length) == 0)
            return key;
    return -1;
}

/* Each argument's value under its key. */
static gboolean read_arguments(int n, char *const *arguments, const char *values[N_KEYS],
                               GError **error)
{
    for (int i = 0; i < n; i++) {
        const char *equals = strchr(arguments[i], '=');
        const int key =
            equals != NULL ? find_key(arguments[i], (gsize)(equals - arguments[i])) : -1;
        if (!g_utf8_validate(arguments[i], -1, NULL))
            return refuse(error, "argument %d is not UTF-8 text", i + 1);
        g_autofree char *shown = config_clip(arguments[i], 60);
        if (key < 0) {
            g_autofree char *name = equals != NULL
                                        ? g_strndup(arguments[i], (gsize)(equals - arguments[i]))
                                        : g_strdup(arguments[i]);
            g_autofree char *hint = config_suggest("keys", name, keys);
            return refuse(error, "\"%s\": no such KEY=VALUE; %s", shown, hint);
        }
        if (values[key] != NULL)
            return refuse(error, "%s: given twice; give it once", keys[key]);
        if (equals[1] == '\0')
            return refuse(error, "%s: the value is empty; give one, or leave the key out",
                          keys[key]);
        values[key] = equals + 1;
    }
    return TRUE;
}

static gboolean need(const char *const values[N_KEYS], int key, const char *accepted,
                     GError **error)
{
    return values[key] != NULL || refuse(error, "%s is missing; give %s", keys[key], accepted);
}

static gboolean read_number(const char *const values[N_KEYS], int key, double least, double most,
                            const char *unit, double *ret, GError **error)
{
    double value = NAN;

    if (!config_parse_real(values[key], &value) || !(value >= least && value <= most)) {
        g_autofree char *shown = config_clip(values[key], 40);
        return refuse(error, "%s: \"%s\" is not accepted; give %s from %g to %g", keys[key], shown,
                      unit, least, most);
    }
    *ret = value;
    return TRUE;
}

static gboolean read_name(const char *const values[N_KEYS], int key, char *ret, GError **error)
{
    if (!config_is_name(values[key])) {
        g_autofree char *shown = config_clip(values[key], 40);
        return refuse(error, "%s: \"%s\" is not accepted; give letters, digits, - and _, no spaces",
                      keys[key], shown);
    }
    g_strlcpy(ret, values[key], NAME_SIZE);
    return TRUE;
}

static gboolean read_home(const char *const values[N_KEYS], InitSite *home, GError **error)
{
    g_strlcpy(home->name, USUAL_HOME, NAME_SIZE);
    home->visits = values[KEY_VISITS];
    home->weather = values[KEY_WEATHER] != NULL ? values[KEY_WEATHER] : USUAL_WEATHER;
    return (values[KEY_HOME] == NULL || read_name(values, KEY_HOME, home->name, error)) &&
           need(values, KEY_LATITUDE, "degrees, north above 0", error) &&
           read_number(values, KEY_LATITUDE, -90, 90, "degrees", &home->latitude, error) &&
           need(values, KEY_LONGITUDE, "degrees, east above 0", error) &&
           read_number(values, KEY_LONGITUDE, -180, 180, "degrees", &home->longitude, error) &&
           need(values, KEY_VISITS, "when somebody is at home, such as 07:00-08:30; 17:30-dusk",
                error);
}

static gboolean read_plot(const char *const values[N_KEYS], InitAnswers *answers, GError **error)
{
    static const int of_plot[] = {KEY_PLOT_LATITUDE, KEY_PLOT_LONGITUDE, KEY_PLOT_VISITS,
                                  KEY_TRAVEL};
    InitSite *plot = &answers->plot;

    for (gsize i = 0; values[KEY_PLOT] == NULL && i < G_N_ELEMENTS(of_plot); i++)
        if (values[of_plot[i]] != NULL)
            return refuse(error, "%s: there is no second site; give plot=NAME, or leave it out",
                          keys[of_plot[i]]);
    if (values[KEY_PLOT] == NULL)
        return TRUE;
    plot->visits = values[KEY_PLOT_VISITS];
    plot->weather = answers->home.weather;
    if (!read_name(values, KEY_PLOT, plot->name, error) ||
        !need(values, KEY_PLOT_LATITUDE, "degrees, north above 0", error) ||
        !read_number(values, KEY_PLOT_LATITUDE, -90, 90, "degrees", &plot->latitude, error) ||
        !need(values, KEY_PLOT_LONGITUDE, "degrees, east above 0", error) ||
        !read_number(values, KEY_PLOT_LONGITUDE, -180, 180, "degrees", &plot->longitude, error) ||
        !need(values, KEY_PLOT_VISITS, "when somebody is there, such as Sat-Sun 09:00-18:00",
              error))
        return FALSE;
    if (strcmp(plot->name, answers->home.name) == 0)
        return refuse(error, "plot: \"%s\" is the name of the first site; give another",
                      plot->name);
    return values[KEY_TRAVEL] == NULL || read_number(values, KEY_TRAVEL, 0, TRAVEL_MOST_MIN,
                                                     "minutes", &answers->travel_min, error);
}

/* The first batch is not in the file, but it must make sense with it. */
static gboolean check_batch(const char *value, const char *text, GError **error)
{
    InitBatch batch = {.number = 0};

    if (value == NULL)
        return TRUE;
    if (!init_parse_batch(value, &batch, error)) {
        g_prefix_error(error, "batch: ");
        return FALSE;
    }
    g_autoptr(Garden) garden = garden_parse(text, strlen(text), "thole.conf", NULL, 0, NULL, error);
    if (garden == NULL)
        return FALSE;
    if (garden_find_place(garden, batch.place) >= 0)
        return TRUE;
    g_autofree char *hint = garden_suggest(garden, GARDEN_PLACE, batch.place);
    return refuse(error, "batch: no place is called \"%s\"; %s", batch.place, hint);
}

char *init_config_from(int n, char *const *arguments, GError **error)
{
    const char *values[N_KEYS] = {NULL};
    InitAnswers answers = {.travel_min = 20}; /* as where it is not given in the file; chosen */

    if (!read_arguments(n, arguments, values, error) || !read_home(values, &answers.home, error) ||
        !read_plot(values, &answers, error) ||
        !need(values, KEY_OWN, "what stands where, such as sill, 2 cold-frame 6 trays", error))
        return NULL;
    g_autoptr(GArray) places =
        init_parse_places(values[KEY_OWN], answers.home.name,
                          values[KEY_PLOT] != NULL ? answers.plot.name : NULL, error);
    if (places == NULL) {
        g_prefix_error(error, "own: ");
        return NULL;
    }
    answers.places = (const InitPlaces *)(gconstpointer)places->data;
    answers.n_places = (int)places->len;
    g_autofree char *text = init_config_text(&answers, error);
    if (text == NULL || !check_batch(values[KEY_BATCH], text, error))
        return NULL;
    return g_steal_pointer(&text);
}

int init_config_main(int n, char **arguments)
{
    g_autoptr(GError) error = NULL;
    g_autofree char *text = init_config_from(n, arguments, &error);

    if (text == NULL) {
        fprintf(stderr, "tholed: %s\n", error->message);
        return 1;
    }
    return fputs(text, stdout) >= 0 && fflush(stdout) == 0 ? 0 : 1;
}

/* SPDX-License-Identifier: MIT */
/* The picture of the days ahead: what is read, where words stand, and the three kinds of file. */
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <setjmp.h>
#include <cmocka.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "ctl/draw/labels.h"
#include "ctl/draw/paint.h"
#include "ctl/draw/ramp-paint.h"
#include "ctl/draw/save.h"

static JsonParser *load(void)
{
    g_autofree char *path =
        g_build_filename(g_getenv("THOLE_SOURCE_DIR"), "tests", "ctl", "course.json", NULL);
    JsonParser *parser = json_parser_new();

    assert_true(json_parser_load_from_file(parser, path, NULL));
    return parser;
}

static Figure *figure_of(JsonParser *parser)
{
    g_autofree char *why = NULL;
    Figure *figure = figure_new(json_node_get_object(json_parser_get_root(parser)), &why);

    assert_non_null(figure);
    return figure;
}

static void test_reads(void **state)
{
    g_autoptr(JsonParser) parser = load();
    g_autoptr(Figure) figure = figure_of(parser);

    (void)state;
    assert_int_equal(figure->n_steps, 96);
    assert_float_equal(figure->step_h, 0.5, 0);
    assert_int_equal(figure->panels->len, 3);
    const FigurePanel *frame = &g_array_index(figure->panels, FigurePanel, 1);
    assert_string_equal(frame->name, "frame");
    assert_string_equal(frame->limit_batch, "leek-1");
    assert_true(isfinite(frame->air_c[0]) && isfinite(frame->spread_k[95]));
    assert_true(frame->stretches->len > 0 && frame->frosts->len > 0);
    assert_true(isnan(figure->normals_from_h) && !figure->fahrenheit);
}

/* What is no course is refused; what is damaged in it is left out. */
static void test_bad_replies(void **state)
{
    static const char *const replies[] = {
        "{}", "{\"start_utc\":\"x\"}", "{\"start_utc\":\"2026-04-09T00:00:00Z\",\"step_s\":1800}",
        "{\"start_utc\":\"2026-04-09T00:00:00Z\",\"step_s\":0,\"outdoors\":{\"air_c\":[1,2]}}",
        "{\"start_utc\":\"2026-04-09T00:00:00Z\",\"step_s\":1800,\"outdoors\":{\"air_c\":[1]}}"};

    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(replies); i++) {
        g_autoptr(JsonParser) parser = json_parser_new();
        g_autofree char *why = NULL;
        assert_true(json_parser_load_from_data(parser, replies[i], -1, NULL));
        assert_null(figure_new(json_node_get_object(json_parser_get_root(parser)), &why));
        assert_string_equal(why, "the daemon's reply is no course of days");
    }
    g_autoptr(JsonParser) parser = json_parser_new();
    assert_true(json_parser_load_from_data(
        parser,
        "{\"start_utc\":\"2026-04-09T00:00:00Z\",\"step_s\":1800,\"days\":[7],\"visits\":{},"
        "\"outdoors\":{\"air_c\":[1,null,\"x\",1e300],\"spread_k\":[1]},"
        "\"places\":[{\"place\":3,\"positions\":[{\"from_utc\":\"no\"}],\"frosts\":[{}]}]}",
        -1, NULL));
    g_autoptr(Figure) figure = figure_of(parser);
    const FigurePanel *outdoors = &g_array_index(figure->panels, FigurePanel, 0);
    assert_true(outdoors->air_c[0] == 1 && isnan(outdoors->air_c[1]) && isnan(outdoors->air_c[3]));
    assert_true(isnan(outdoors->spread_k[0]));
    const Picture picture = paint_picture(figure);
    for (SaveAs as = SAVE_SVG; as < SAVE_NONE; as++) {
        g_autofree char *why = NULL;
        g_autoptr(GBytes) bytes = save_bytes(&picture, as, &why);
        assert_non_null(bytes);
    }
}

/* Whatever is asked for, no two labels meet, and all lie within. */
static void test_labels(void **state)
{
    const char *given = getenv("THOLE_TEST_SEED");
    const unsigned seed = given ? (unsigned)strtoul(given, NULL, 10) : (unsigned)time(NULL);
    Labels labels;
    int placed = 0;

    (void)state;
    print_message("# seed %u (THOLE_TEST_SEED)\n", seed);
    srand(seed);
    labels_init(&labels);
    labels.within = (Box){10, 20, 700, 200};
    for (int i = 0; i < 2000; i++) {
        const double wishes[][2] = {{rand() % 800 - 20, rand() % 260 - 10},
                                    {rand() % 800 - 20, rand() % 260 - 10}};
        Box box;
        placed += labels_place(&labels, wishes, 2, 5 + rand() % 90, 5 + rand() % 25, &box);
    }
    assert_int_equal(labels.taken->len, placed);
    assert_in_range(placed, 20, 1999);
    for (guint i = 0; i < labels.taken->len; i++) {
        const Box *a = &g_array_index(labels.taken, Box, i);
        assert_true(a->x >= 10 && a->y >= 20 && a->x + a->width <= 710 && a->y + a->height <= 220);
        for (guint k = 0; k < i; k++) {
            const Box *b = &g_array_index(labels.taken, Box, k);
            assert_false(a->x < b->x + b->width && b->x < a->x + a->width &&
                         a->y < b->y + b->height && b->y < a->y + a->height);
        }
    }
    labels_clear(&labels);
}

static GPtrArray *words_of(const Figure *figure)
{
    GPtrArray *words = g_ptr_array_new_with_free_func(g_free);
    cairo_surface_t *surface = cairo_recording_surface_create(CAIRO_CONTENT_COLOR, NULL);
    cairo_t *cr = cairo_create(surface);

    paint(cr, figure, words);
    assert_int_equal(cairo_status(cr), CAIRO_STATUS_SUCCESS);
    cairo_destroy(cr);
    cairo_surface_destroy(surface);
    return words;
}

static void assert_said(const GPtrArray *words, const char *text)
{
    for (guint i = 0; i < words->len; i++)
        if (g_str_equal(words->pdata[i], text))
            return;
    fail_msg("\"%s\" is not on the picture", text);
}

static void test_words(void **state)
{
    static const char *const said[] = {"plot",
                                       "outdoors",
                                       "frame",
                                       "fleece",
                                       "Thu 16",
                                       "Fri 17",
                                       "open",
                                       "on",
                                       "damage to leek-1 below −3 °C",
                                       "Weather data by Open-Meteo.com (CC BY 4.0)"};
    g_autoptr(JsonParser) parser = load();
    g_autoptr(Figure) figure = figure_of(parser);
    g_autoptr(GPtrArray) words = words_of(figure);

    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(said); i++)
        assert_said(words, said[i]);
    figure->fahrenheit = true;
    g_array_index(figure->panels, FigurePanel, 1).limit_c = -5;
    g_autoptr(GPtrArray) foreign = words_of(figure);
    assert_said(foreign, "damage to leek-1 below 23 °F");
}

/* The likeliest frost is marked, however many nights there are and wherever it comes in the list.
 */
static void test_worst_frost(void **state)
{
    g_autoptr(JsonParser) parser = load();
    g_autoptr(Figure) figure = figure_of(parser);
    FigurePanel *frame = &g_array_index(figure->panels, FigurePanel, 1);

    (void)state;
    g_array_set_size(frame->frosts, 0);
    for (int i = 0; i < 40; i++) {
        const FigureFrost frost = {i, i == 17 ? 0.9 : 0.05};
        g_array_append_val(frame->frosts, frost);
    }
    g_autoptr(GPtrArray) words = words_of(figure);
    assert_said(words, "90%");
}

static void on_element(GMarkupParseContext *context, const char *name, const char **names,
                       const char **values, gpointer data, GError **error)
{
    (void)context;
    (void)names;
    (void)values;
    (void)error;
    *(bool *)data |= g_str_equal(name, "svg");
}

static void test_files(void **state)
{
    static const unsigned char png[] = {0x89, 'P', 'N', 'G', '\r', '\n', 0x1a, '\n'};
    const GMarkupParser markup = {.start_element = on_element};
    g_autoptr(JsonParser) parser = load();
    g_autoptr(Figure) figure = figure_of(parser);
    const Picture picture = paint_picture(figure);
    gsize length = 0;
    bool seen = false;

    (void)state;
    for (SaveAs as = SAVE_SVG; as < SAVE_NONE; as++) {
        g_autofree char *why = NULL;
        g_autoptr(GBytes) bytes = save_bytes(&picture, as, &why),
                          again = save_bytes(&picture, as, &why);
        const unsigned char *data = g_bytes_get_data(bytes, &length);
        assert_true(length > 1000);
        if (as == SAVE_PNG) {
            /* the other two hold counters of the library */
            assert_true(g_bytes_equal(bytes, again));
            assert_memory_equal(data, png, sizeof png);
            const unsigned width = (unsigned)data[18] << 8 | data[19];
            const unsigned height = (unsigned)data[22] << 8 | data[23];
            assert_int_equal(width, 2 * PAINT_WIDTH);
            assert_int_equal(height, lround(2 * paint_height(figure)));
        } else if (as == SAVE_PDF) {
            assert_memory_equal(data, "%PDF-", 5);
        } else {
            GMarkupParseContext *context = g_markup_parse_context_new(&markup, 0, &seen, NULL);
            assert_true(
                g_markup_parse_context_parse(context, (const char *)data, (gssize)length, NULL));
            assert_true(g_markup_parse_context_end_parse(context, NULL));
            g_markup_parse_context_free(context);
            assert_true(seen);
        }
    }
}

static void test_formats(void **state)
{
    (void)state;
    assert_int_equal(save_format("a.svg"), SAVE_SVG);
    assert_int_equal(save_format("/x/A.PNG"), SAVE_PNG);
    assert_int_equal(save_format("a.b.pdf"), SAVE_PDF);
    assert_int_equal(save_format("png"), SAVE_NONE);
    assert_int_equal(save_format("a.jpeg"), SAVE_NONE);
}

/* ---- the picture of a batch ---- */

static RampFigure *ramp_figure_of(JsonParser *parser)
{
    g_autofree char *path =
        g_build_filename(g_getenv("THOLE_SOURCE_DIR"), "tests", "ctl", "batch.json", NULL);
    g_autofree char *why = NULL;

    assert_true(json_parser_load_from_file(parser, path, NULL));
    RampFigure *figure = ramp_figure_new(json_node_get_object(json_parser_get_root(parser)), &why);
    assert_non_null(figure);
    return figure;
}

static void test_batch(void **state)
{
    static const char *const said[] = {"leek-1",
                                       "Ready Wed 22 Apr (21–28 Apr)",
                                       "as planned ▸",
                                       "▾ ready",
                                       "Hours in light and wind",
                                       "frame",
                                       "sill",
                                       "Apr",
                                       "16",
                                       "3%"};
    g_autoptr(JsonParser) parser = json_parser_new();
    g_autoptr(RampFigure) figure = ramp_figure_of(parser);
    g_autoptr(GPtrArray) words = g_ptr_array_new_with_free_func(g_free);
    cairo_surface_t *surface = cairo_recording_surface_create(CAIRO_CONTENT_COLOR, NULL);
    cairo_t *cr = cairo_create(surface);
    const Picture picture = ramp_picture(figure);

    (void)state;
    assert_int_equal(figure->days->len, 17);
    const RampFigureDay *first = &g_array_index(figure->days, RampFigureDay, 0);
    assert_false(first->planned);
    assert_true(isnan(first->odds) && isfinite(first->cold_c) && isfinite(first->allowed_h));
    picture.paint(cr, picture.figure, words);
    assert_int_equal(cairo_status(cr), CAIRO_STATUS_SUCCESS);
    for (gsize i = 0; i < G_N_ELEMENTS(said); i++)
        assert_said(words, said[i]);
    cairo_destroy(cr);
    cairo_surface_destroy(surface);
    for (SaveAs as = SAVE_SVG; as < SAVE_NONE; as++) {
        g_autofree char *why = NULL;
        g_autoptr(GBytes) bytes = save_bytes(&picture, as, &why),
                          again = save_bytes(&picture, as, &why);
        assert_non_null(bytes);
        if (as == SAVE_PNG) /* as above */
            assert_true(g_bytes_equal(bytes, again));
    }
}

/* No days: refused. What is damaged in them is left out, and it is drawn still. */
static void test_bad_batches(void **state)
{
    static const char *const replies[] = {"{}", "{\"batch\":{}}", "{\"batch\":{},\"days\":7}",
                                          "{\"days\":[{\"when\":\"Thu 16 Apr\"}]}"};

    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(replies); i++) {
        g_autoptr(JsonParser) parser = json_parser_new();
        g_autofree char *why = NULL;
        assert_true(json_parser_load_from_data(parser, replies[i], -1, NULL));
        assert_null(ramp_figure_new(json_node_get_object(json_parser_get_root(parser)), &why));
        assert_non_null(strstr(why, "nothing is known yet"));
    }
    g_autoptr(JsonParser) parser = json_parser_new();
    g_autofree char *why = NULL;
    assert_true(json_parser_load_from_data(
        parser,
        "{\"batch\":{\"name\":7,\"ready\":\"from 27 Apr\"},\"units\":\"F\",\"days\":[7,{\"low_c\":"
        "1e300,\"when\":\"x\"},{\"cold_c\":2,\"spread_k\":\"no\",\"planned\":true,\"exposed_h\":-3}"
        "]}",
        -1, NULL));
    g_autoptr(RampFigure) figure =
        ramp_figure_new(json_node_get_object(json_parser_get_root(parser)), &why);
    assert_non_null(figure);
    assert_string_equal(figure->ready, "Ready not before 27 Apr");
    const Picture picture = ramp_picture(figure);
    g_autoptr(GBytes) bytes = save_bytes(&picture, SAVE_PNG, &why);
    assert_non_null(bytes);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_reads),       cmocka_unit_test(test_bad_replies),
        cmocka_unit_test(test_labels),      cmocka_unit_test(test_words),
        cmocka_unit_test(test_worst_frost), cmocka_unit_test(test_files),
        cmocka_unit_test(test_formats),     cmocka_unit_test(test_batch),
        cmocka_unit_test(test_bad_batches),
    };
    return cmocka_run_group_tests_name("draw", tests, NULL, NULL);
}

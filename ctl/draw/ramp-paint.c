/* SPDX-License-Identifier: MIT */
/*
 * A column is a day and its night. Above: dots are nights, full as they were and hollow as planned,
 * on a bar that holds eight of ten; the thick line is what the batch bears, hatched what it is not
 * ready for. Beneath: hours in light and wind, against what each day allows.
 */
#include "ctl/draw/ramp-paint.h"

#include <math.h>
#include <string.h>

#include "ctl/draw/brush.h"
#include "ctl/print.h"
#include "ctl/show.h"

#define WIDTH 800.0 /* as the picture of a site */
#define LEFT 74.0
#define RIGHT 22.0
#define PLOT_WIDTH (WIDTH - LEFT - RIGHT)
#define NIGHTS_TOP 228.0
#define NIGHTS_HEIGHT 352.0
#define RISK_ROW 42.0 /* of it, at its foot, kept for the odds */
#define STRIP 34.0    /* where it stands */
#define AXIS 56.0     /* weekday and date */
#define HOURS_HEAD 44.0
#define HOURS_HEIGHT 130.0
#define FOOT 184.0
#define STRIP_TOP (NIGHTS_TOP + NIGHTS_HEIGHT + 4)
#define AXIS_TOP (STRIP_TOP + STRIP + 6)
#define HOURS_TOP (AXIS_TOP + AXIS + HOURS_HEAD)
#define FOOT_TOP (HOURS_TOP + HOURS_HEIGHT + 18)
#define EIGHT_IN_TEN 1.2816 /* spreads either side of a normal error */
#define HOURS_MOST 16.0     /* shown */
#define RISK_SHOWN 0.01

typedef struct Painter {
    cairo_t *cr;
    const RampFigure *figure;
    Brush brush;
    double low, high; /* of the degrees shown */
    double hours;     /* most shown */
} Painter;

static const RampFigureDay *day_at(const Painter *p, guint i)
{
    return &g_array_index(p->figure->days, RampFigureDay, i);
}

static guint n_days(const Painter *p)
{
    return p->figure->days->len;
}

static double column(const Painter *p)
{
    return PLOT_WIDTH / MAX(n_days(p), 7); /* few days are not drawn out */
}

static double x_of(const Painter *p, double day)
{
    return LEFT + day * column(p);
}

static double degrees(const Painter *p, double c)
{
    return p->figure->fahrenheit ? c * 1.8 + 32 : c;
}

static double y_of(const Painter *p, double c)
{
    const double share = (degrees(p, c) - p->low) / (p->high - p->low);

    return NIGHTS_TOP + (NIGHTS_HEIGHT - RISK_ROW) * (1 - fmax(0, fmin(1, share)));
}

static double y_of_hours(const Painter *p, double hours)
{
    return HOURS_TOP + HOURS_HEIGHT * (1 - fmax(0, fmin(1, hours / p->hours)));
}

static void find_range(Painter *p)
{
    double low = INFINITY, high = -INFINITY, hours = 10;

    for (guint i = 0; i < n_days(p); i++) {
        const RampFigureDay *day = day_at(p, i);
        const double wide = isfinite(day->spread_k) ? EIGHT_IN_TEN * day->spread_k : 0;
        const double values[] = {day->low_c,         day->cold_c - wide, day->cold_c + wide,
                                 day->allowed_low_c, day->hardened_to_c, day->damage_c};
        for (gsize k = 0; k < G_N_ELEMENTS(values); k++) {
            low = fmin(low, degrees(p, values[k])); /* both pass over NAN */
            high = fmax(high, degrees(p, values[k]));
        }
        hours = fmax(hours, fmax(day->exposed_h, day->allowed_h));
    }
    if (!(low < high)) {
        low = degrees(p, -5);
        high = degrees(p, 15);
    }
    p->low = 5 * floor((fmin(low, degrees(p, 0)) - 1) / 5);
    p->high = 5 * ceil((fmax(high, degrees(p, 5)) + 2) / 5);
    p->hours = fmin(HOURS_MOST, ceil(hours) + 1);
}

static void set_line(Painter *p, double width, double grey)
{
    cairo_set_source_rgb(p->cr, grey, grey, grey);
    cairo_set_line_width(p->cr, width);
}

static void line(Painter *p, double x, double y, double to_x, double to_y)
{
    cairo_move_to(p->cr, x, y);
    cairo_line_to(p->cr, to_x, to_y);
    cairo_stroke(p->cr);
}

/* A number at the left of the plots. */
static void paint_tick(Painter *p, double number, const char *unit, double y)
{
    g_autofree char *digits = print_number(number, 0);
    g_autofree char *text = g_strconcat(digits, unit, NULL);
    g_autoptr(PangoLayout) layout = brush_layout(&p->brush, text, 19, PLAIN);
    int width, height;

    pango_layout_get_pixel_size(layout, &width, &height);
    brush_put(&p->brush, layout, LEFT - 8 - width, y - 0.5 * height, false);
}

static void paint_frame(Painter *p, double top, double height)
{
    set_line(p, 1.5, 0);
    cairo_rectangle(p->cr, LEFT, top, PLOT_WIDTH, height);
    cairo_stroke(p->cr);
}

/* ---- nights ---- */

static void paint_grid(Painter *p)
{
    const int step = p->high - p->low > 30 ? 10 : 5;

    for (int d = step * (int)ceil(p->low / step); d <= (int)p->high; d += step) {
        const double y = y_of(p, p->figure->fahrenheit ? (d - 32) / 1.8 : d);
        set_line(p, 1, 0.78);
        line(p, LEFT, y, LEFT + PLOT_WIDTH, y);
        paint_tick(p, d, "", y);
    }
    set_line(p, 2, 0);
    line(p, LEFT, y_of(p, 0), LEFT + PLOT_WIDTH, y_of(p, 0));
}

/* A value of each day as steps; `grey` from black to white. */
static void paint_steps(Painter *p, size_t offset, double (*y)(const Painter *, double),
                        double width, double grey, const double *dash, int n_dash)
{
    bool drawing = false;

    cairo_save(p->cr);
    set_line(p, width, grey);
    cairo_set_dash(p->cr, dash, n_dash, 0);
    for (guint i = 0; i < n_days(p); i++) {
        const double value = G_STRUCT_MEMBER(double, day_at(p, i), offset);
        if (isfinite(value)) {
            if (drawing)
                cairo_line_to(p->cr, x_of(p, i), y(p, value));
            else
                cairo_move_to(p->cr, x_of(p, i), y(p, value));
            cairo_line_to(p->cr, x_of(p, i + 1), y(p, value));
        }
        drawing = isfinite(value);
    }
    cairo_stroke(p->cr);
    cairo_restore(p->cr);
}

/* What it is not ready for: colder than allowed. */
static void paint_not_allowed(Painter *p)
{
    const double foot = NIGHTS_TOP + NIGHTS_HEIGHT - RISK_ROW;
    const Box all = {LEFT, NIGHTS_TOP, PLOT_WIDTH, foot - NIGHTS_TOP};

    cairo_save(p->cr);
    for (guint i = 0; i < n_days(p); i++) {
        const double y = y_of(p, day_at(p, i)->allowed_low_c);
        if (isfinite(day_at(p, i)->allowed_low_c))
            cairo_rectangle(p->cr, x_of(p, i), y, column(p), foot - y);
    }
    cairo_clip(p->cr);
    brush_hatch(&p->brush, &all, 16);
    cairo_restore(p->cr);
    paint_steps(p, G_STRUCT_OFFSET(RampFigureDay, allowed_low_c), y_of, 1.5, 0.2, NULL, 0);
}

/* What holds eight nights of ten; blue below freezing. */
static void paint_band(Painter *p, double x, const RampFigureDay *day)
{
    const double wide = EIGHT_IN_TEN * day->spread_k, half = fmin(9, 0.28 * column(p));

    if (!isfinite(wide) || !isfinite(day->cold_c))
        return;
    const double top = y_of(p, day->cold_c + wide), foot = y_of(p, day->cold_c - wide);
    cairo_set_source_rgb(p->cr, 0.72, 0.72, 0.72);
    cairo_rectangle(p->cr, x - half, top, 2 * half, foot - top);
    cairo_fill(p->cr);
    const double cold = fmax(top, y_of(p, 0));
    if (cold < foot) {
        cairo_set_source_rgb(p->cr, 0.45, 0.58, 0.85);
        cairo_rectangle(p->cr, x - half, cold, 2 * half, foot - cold);
        cairo_fill(p->cr);
    }
    set_line(p, 1, 0.3);
    cairo_rectangle(p->cr, x - half, top, 2 * half, foot - top);
    cairo_stroke(p->cr);
}

static void paint_dot(Painter *p, double x, const RampFigureDay *day)
{
    const double y = y_of(p, day->cold_c), radius = fmin(7, 0.22 * column(p));

    if (!isfinite(day->cold_c))
        return;
    if (isfinite(day->low_c)) { /* down to the lowest air */
        set_line(p, 2, 0);
        line(p, x, y, x, y_of(p, day->low_c));
        line(p, x - 5, y_of(p, day->low_c), x + 5, y_of(p, day->low_c));
    }
    cairo_new_sub_path(p->cr);
    cairo_arc(p->cr, x, y, radius, 0, 2 * G_PI);
    cairo_set_source_rgb(p->cr, day->planned ? 1 : 0, day->planned ? 1 : 0, day->planned ? 1 : 0);
    cairo_fill_preserve(p->cr);
    set_line(p, 2.5, 0);
    cairo_stroke(p->cr);
    if (!day->check)
        return;
    set_line(p, 3.5, 0);
    line(p, x - 13, y - 13, x + 13, y + 13);
    line(p, x - 13, y + 13, x + 13, y - 13);
}

static void paint_nights(Painter *p)
{
    const double risk_y = NIGHTS_TOP + NIGHTS_HEIGHT - 0.42 * RISK_ROW;

    for (guint i = 0; i < n_days(p); i++)
        paint_band(p, x_of(p, i + 0.5), day_at(p, i));
    for (guint i = 0; i < n_days(p); i++)
        paint_dot(p, x_of(p, i + 0.5), day_at(p, i));
    p->brush.labels.within = (Box){LEFT, NIGHTS_TOP, PLOT_WIDTH, NIGHTS_HEIGHT};
    for (guint i = 0; i < n_days(p); i++) {
        const RampFigureDay *day = day_at(p, i);
        const double x = x_of(p, i + 0.5), y = y_of(p, day->low_c),
                     up = y_of(p, fmax(day->cold_c, day->low_c));
        const bool on_line = fabs(y + 15 - y_of(p, day->hardened_to_c)) < 14;
        const double wishes[][2] = {{x, on_line ? up - 22 : y + 15}, {x, up - 22}, {x, y + 30}};
        const double risk[][2] = {{x, risk_y}};
        g_autofree char *number = print_number(degrees(p, day->low_c), 0);
        g_autofree char *odds = print_odds(day->odds);
        if (isfinite(day->low_c))
            brush_label(&p->brush, number, 18, BOLD, wishes, 3);
        if (day->odds >= RISK_SHOWN)
            brush_label(&p->brush, odds, column(p) < 45 ? 16 : 19, BOLD, risk, 1);
    }
    brush_text(&p->brush, "risk", 18, PLAIN, LEFT - 44, risk_y - 12, 0);
}

/* ---- beneath ---- */

static void paint_places(Painter *p)
{
    for (guint i = 0, end; i < n_days(p); i = end) {
        const char *place = day_at(p, i)->place;
        for (end = i + 1; end < n_days(p) && g_str_equal(day_at(p, end)->place, place);)
            end++;
        const double x = x_of(p, i), width = x_of(p, end) - x;
        g_autoptr(PangoLayout) layout = brush_layout(&p->brush, place, 19, PLAIN);
        int text_width, height;
        set_line(p, 1.5, 0);
        cairo_rectangle(p->cr, x, STRIP_TOP, width, STRIP);
        cairo_stroke(p->cr);
        pango_layout_set_width(layout, (int)(fmax(width - 6, 1) * PANGO_SCALE));
        pango_layout_set_ellipsize(layout, PANGO_ELLIPSIZE_END);
        pango_layout_get_pixel_size(layout, &text_width, &height);
        brush_put(&p->brush, layout, x + 0.5 * (width - text_width),
                  STRIP_TOP + 0.5 * (STRIP - height), false);
    }
}

/* "Th" over "16", and the month where it is a new one. */
static void paint_axis(Painter *p)
{
    p->brush.labels.within = (Box){0, AXIS_TOP, WIDTH, AXIS};
    for (guint i = 0; i < n_days(p); i++) {
        g_auto(GStrv) words = g_strsplit(day_at(p, i)->when, " ", 3);
        if (g_strv_length(words) < 3)
            continue;
        const double x = x_of(p, i + 0.5);
        const double upper[][2] = {{x, AXIS_TOP + 12}}, lower[][2] = {{x, AXIS_TOP + 38}};
        g_autofree char *weekday = g_strndup(words[0], column(p) < 45 ? 2 : 3);
        brush_label(&p->brush, weekday, 18, PLAIN, upper, 1);
        brush_label(&p->brush, words[1], 21, BOLD, lower, 1);
        if (i == 0 || g_str_equal(words[1], "1")) {
            const double month[][2] = {{i == 0 ? LEFT - 30 : x, AXIS_TOP + (i == 0 ? 38 : 12)}};
            brush_label(&p->brush, words[2], 18, PLAIN, month, 1);
        }
    }
}

static void paint_hours(Painter *p)
{
    brush_text(&p->brush, "Hours in light and wind", 26, BOLD, LEFT, HOURS_TOP - 38, PLOT_WIDTH);
    for (int h = 5; h < p->hours; h += 5) {
        set_line(p, 1, 0.78);
        line(p, LEFT, y_of_hours(p, h), LEFT + PLOT_WIDTH, y_of_hours(p, h));
        paint_tick(p, h, " h", y_of_hours(p, h));
    }
    for (guint i = 0; i < n_days(p); i++) {
        const RampFigureDay *day = day_at(p, i);
        const double top = y_of_hours(p, day->exposed_h);
        const Box bar = {x_of(p, i + 0.2), top, 0.6 * column(p), HOURS_TOP + HOURS_HEIGHT - top};
        if (!(day->exposed_h > 0))
            continue;
        cairo_rectangle(p->cr, bar.x, bar.y, bar.width, bar.height);
        cairo_set_source_rgb(p->cr, day->planned ? 1 : 0.35, day->planned ? 1 : 0.35,
                             day->planned ? 1 : 0.35);
        cairo_fill(p->cr);
        if (day->planned)
            brush_hatch(&p->brush, &bar, 8);
        set_line(p, 1.5, 0);
        cairo_rectangle(p->cr, bar.x, bar.y, bar.width, bar.height);
        cairo_stroke(p->cr);
    }
    paint_steps(p, G_STRUCT_OFFSET(RampFigureDay, allowed_h), y_of_hours, 3, 0, NULL, 0);
    paint_frame(p, HOURS_TOP, HOURS_HEIGHT);
}

/* Where the past ends, and when it is ready. */
static void paint_marks(Painter *p)
{
    p->brush.labels.within = (Box){LEFT, NIGHTS_TOP - 30, PLOT_WIDTH, 30};
    for (guint i = 0; i < n_days(p); i++) {
        const RampFigureDay *day = day_at(p, i);
        const double x = x_of(p, i), top = NIGHTS_TOP - 26;
        const double right[][2] = {{x + 62, NIGHTS_TOP - 15}},
                     middle[][2] = {{x_of(p, i + 0.5), NIGHTS_TOP - 15}};
        if (strlen(day->date) == 10 && g_str_has_prefix(p->figure->ready_date, day->date))
            brush_label(&p->brush, "▾ ready", 20, BOLD, middle, 1);
        if (!day->planned || (i > 0 && day_at(p, i - 1)->planned))
            continue;
        set_line(p, 2.5, 0);
        line(p, x, top, x, NIGHTS_TOP + NIGHTS_HEIGHT);
        line(p, x, HOURS_TOP, x, HOURS_TOP + HOURS_HEIGHT);
        brush_label(&p->brush, "as planned ▸", 19, PLAIN, right, 1);
    }
}

/* ---- around ---- */

static void paint_head(Painter *p)
{
    const RampFigure *f = p->figure;
    g_autofree char *under =
        show_join(" · ", f->crop, f->stage, f->place, f->site, f->fahrenheit ? "°F" : "°C", NULL);

    brush_text(&p->brush, f->name, 44, BOLD, LEFT, 14, PLOT_WIDTH);
    brush_text(&p->brush, under, 22, PLAIN, LEFT, 68, PLOT_WIDTH);
    brush_text(&p->brush, f->ready, 26, BOLD, LEFT, 100, PLOT_WIDTH);
    g_autoptr(PangoLayout) bound = brush_layout(&p->brush, f->bound, 20, PLAIN);
    pango_layout_set_width(bound, (int)(PLOT_WIDTH * PANGO_SCALE));
    pango_layout_set_height(bound, -2); /* lines */
    pango_layout_set_ellipsize(bound, PANGO_ELLIPSIZE_END);
    brush_put(&p->brush, bound, LEFT, 138, false);
}

static void paint_foot(Painter *p)
{
    static const char *const lines[] = {
        "Dot: its coldest ten hours, full as they were, hollow as planned;",
        "the grey bar holds eight nights of ten, blue below 0 °C.",
        "Down from it, with its number: the lowest air. ×: it took a check.",
        "Thick line: what it bears. Hatched: colder than it is ready for.",
        "Dashed: where leaves are damaged. Risk: odds of that. ( ): in eight cases of ten.",
        "Bars: hours had, hatched as planned; line over them: as many as allowed."};

    for (gsize i = 0; i < G_N_ELEMENTS(lines); i++)
        brush_text(&p->brush, lines[i], 18, PLAIN, LEFT, FOOT_TOP + 25 * (double)i, PLOT_WIDTH);
    brush_credits(&p->brush, p->figure->reply, LEFT, FOOT_TOP + 160, PLOT_WIDTH);
}

static void paint_all(cairo_t *cr, gconstpointer figure, GPtrArray *labelled)
{
    static const double dash[] = {14, 8};
    Painter p = {.cr = cr, .figure = figure, .brush = brush_new(cr, labelled)};

    find_range(&p);
    cairo_set_source_rgb(cr, 1, 1, 1);
    cairo_paint(cr);
    paint_head(&p);
    paint_grid(&p);
    paint_not_allowed(&p);
    paint_steps(&p, G_STRUCT_OFFSET(RampFigureDay, damage_c), y_of, 8, 1, NULL, 0);
    paint_steps(&p, G_STRUCT_OFFSET(RampFigureDay, damage_c), y_of, 2.5, 0, dash, 2);
    paint_steps(&p, G_STRUCT_OFFSET(RampFigureDay, hardened_to_c), y_of, 5, 0, NULL, 0);
    paint_marks(&p);
    paint_nights(&p);
    paint_frame(&p, NIGHTS_TOP, NIGHTS_HEIGHT);
    paint_places(&p);
    paint_axis(&p);
    paint_hours(&p);
    paint_foot(&p);
    brush_clear(&p.brush);
}

Picture ramp_picture(const RampFigure *figure)
{
    return (Picture){WIDTH, FOOT_TOP + FOOT + brush_credits_height(figure->reply), paint_all,
                     figure};
}

/* SPDX-License-Identifier: MIT */
/*
 * One panel for the outdoors and one for each place, under a common time axis. A line is what is
 * expected, the grey about it holds eight nights of ten, blue is below freezing; the strip beneath
 * is the cover. Words stand at what they speak of, never over one another.
 */
#include "ctl/draw/paint.h"

#include <math.h>
#include <string.h>

#include "ctl/draw/brush.h"
#include "ctl/print.h"
#include "ctl/read.h"

#define LEFT 74.0
#define RIGHT 22.0
#define PLOT_WIDTH (PAINT_WIDTH - LEFT - RIGHT)
#define TOP 164.0         /* title and days */
#define HEAD 44.0         /* a panel's name */
#define PLOT_HEIGHT 196.0 /* its curve */
#define STRIP 34.0        /* its cover */
#define GAP 30.0
#define FOOT 120.0
#define DENSE 100.0         /* a day narrower than that */
#define EIGHT_IN_TEN 1.2816 /* spreads either side of a normal error */
#define FROST_ROW 30.0      /* kept free for the marks of frost */

typedef struct Painter {
    cairo_t *cr;
    const Figure *figure;
    Brush brush;      /* on the same cr */
    double low, high; /* of the degrees shown, common to all panels */
    double top;       /* of the plot being painted */
} Painter;

/* ---- scales ---- */

static double degrees(const Painter *p, double c)
{
    return p->figure->fahrenheit ? c * 1.8 + 32 : c;
}

static double x_of(const Painter *p, double hour)
{
    const double hours = p->figure->n_steps * p->figure->step_h;

    return LEFT + PLOT_WIDTH * fmax(0, fmin(1, hour / hours));
}

static double y_of(const Painter *p, double c)
{
    const double share = (degrees(p, c) - p->low) / (p->high - p->low);

    return p->top + (PLOT_HEIGHT - FROST_ROW) * (1 - share);
}

/* Many days on one sheet: shorter words. */
static bool is_dense(const Painter *p)
{
    return PLOT_WIDTH * 24 / (p->figure->n_steps * p->figure->step_h) < DENSE;
}

static double hour_of(const Painter *p, int step)
{
    return (step + 1) * p->figure->step_h;
}

static void find_range(Painter *p)
{
    double low = INFINITY, high = -INFINITY;

    for (guint i = 0; i < p->figure->panels->len; i++) {
        const FigurePanel *panel = &g_array_index(p->figure->panels, FigurePanel, i);
        for (int k = 0; k < p->figure->n_steps; k++) {
            const double wide = EIGHT_IN_TEN * panel->spread_k[k];
            if (!isfinite(panel->air_c[k]) || !isfinite(wide))
                continue;
            low = fmin(low, degrees(p, panel->air_c[k] - wide));
            high = fmax(high, degrees(p, panel->air_c[k] + wide));
        }
    }
    if (!(low < high)) {
        low = degrees(p, -5);
        high = degrees(p, 20);
    }
    const double freezing = degrees(p, 0);
    p->low = 5 * floor(fmin(low, freezing) / 5);
    p->high = 5 * ceil((fmax(high, freezing + 5) + 2) / 5); /* room for a number over the line */
}

/* ---- a panel ---- */

static void paint_nights(Painter *p, double height)
{
    const GArray *days = p->figure->days;

    cairo_set_source_rgb(p->cr, 0.93, 0.93, 0.93);
    for (guint i = 0; i < days->len; i++) {
        const FigureDay *day = &g_array_index(days, FigureDay, i);
        const double before = i > 0 ? g_array_index(days, FigureDay, i - 1).sunset_h : -1e6;
        if (!isfinite(day->sunrise_h))
            continue;
        const double from = isfinite(before) ? x_of(p, before) : LEFT;
        cairo_rectangle(p->cr, from, p->top, x_of(p, day->sunrise_h) - from, height);
        cairo_fill(p->cr);
        if (i + 1 == days->len && isfinite(day->sunset_h)) {
            const double last = x_of(p, day->sunset_h);
            cairo_rectangle(p->cr, last, p->top, LEFT + PLOT_WIDTH - last, height);
            cairo_fill(p->cr);
        }
    }
}

static void paint_grid(Painter *p)
{
    const int step = p->high - p->low > 30 ? 10 : 5;
    const int first = step * (int)ceil(p->low / step), last = (int)floor(p->high);

    for (int d = first; d <= last; d += step) {
        const double c = p->figure->fahrenheit ? (d - 32) / 1.8 : d;
        g_autofree char *number = print_number(d, 0);
        g_autoptr(PangoLayout) layout = brush_layout(&p->brush, number, 19, PLAIN);
        int width, height;

        cairo_set_source_rgb(p->cr, 0.78, 0.78, 0.78);
        cairo_set_line_width(p->cr, 1);
        cairo_move_to(p->cr, LEFT, y_of(p, c));
        cairo_line_to(p->cr, LEFT + PLOT_WIDTH, y_of(p, c));
        cairo_stroke(p->cr);
        pango_layout_get_pixel_size(layout, &width, &height);
        brush_put(&p->brush, layout, LEFT - 8 - width, y_of(p, c) - 0.5 * height, false);
    }
    cairo_set_source_rgb(p->cr, 0, 0, 0);
    cairo_set_line_width(p->cr, 2);
    cairo_move_to(p->cr, LEFT, y_of(p, 0));
    cairo_line_to(p->cr, LEFT + PLOT_WIDTH, y_of(p, 0));
    cairo_stroke(p->cr);
    for (guint i = 0; i < p->figure->days->len; i++) {
        const FigureDay *day = &g_array_index(p->figure->days, FigureDay, i);
        if (day->midnight_h <= 0)
            continue;
        cairo_set_source_rgb(p->cr, 0.6, 0.6, 0.6);
        cairo_set_line_width(p->cr, 1);
        cairo_move_to(p->cr, x_of(p, day->midnight_h), p->top);
        cairo_line_to(p->cr, x_of(p, day->midnight_h), p->top + PLOT_HEIGHT);
        cairo_stroke(p->cr);
    }
}

/* The outline of what holds eight nights of ten, for each run of steps that are known. */
static void band_path(Painter *p, const FigurePanel *panel)
{
    const int n = p->figure->n_steps;

    for (int from = 0; from < n; from++) {
        int to = from;
        while (to < n && isfinite(panel->air_c[to]) && isfinite(panel->spread_k[to]))
            to++;
        for (int k = from; k < to; k++)
            cairo_line_to(p->cr, x_of(p, hour_of(p, k)),
                          y_of(p, panel->air_c[k] + EIGHT_IN_TEN * panel->spread_k[k]));
        for (int k = to - 1; k >= from; k--)
            cairo_line_to(p->cr, x_of(p, hour_of(p, k)),
                          y_of(p, panel->air_c[k] - EIGHT_IN_TEN * panel->spread_k[k]));
        if (to > from) {
            cairo_close_path(p->cr);
            cairo_new_sub_path(p->cr);
        }
        from = to;
    }
}

static void paint_band(Painter *p, const FigurePanel *panel)
{
    cairo_save(p->cr);
    band_path(p, panel);
    cairo_set_source_rgba(p->cr, 0.45, 0.45, 0.45, 0.38);
    cairo_fill(p->cr);
    cairo_rectangle(p->cr, LEFT, y_of(p, 0), PLOT_WIDTH, PLOT_HEIGHT);
    cairo_clip(p->cr);
    band_path(p, panel);
    cairo_set_source_rgba(p->cr, 0.10, 0.30, 0.75, 0.45);
    cairo_fill(p->cr);
    cairo_restore(p->cr);
}

static void paint_line(Painter *p, const FigurePanel *panel, double width, const double *dash,
                       int n_dash)
{
    bool drawing = false;

    cairo_save(p->cr);
    cairo_set_source_rgb(p->cr, 0, 0, 0);
    cairo_set_line_width(p->cr, width);
    cairo_set_line_join(p->cr, CAIRO_LINE_JOIN_ROUND);
    cairo_set_dash(p->cr, dash, n_dash, 0);
    for (int k = 0; k < p->figure->n_steps; k++) {
        if (!isfinite(panel->air_c[k])) {
            drawing = false;
            continue;
        }
        if (drawing)
            cairo_line_to(p->cr, x_of(p, hour_of(p, k)), y_of(p, panel->air_c[k]));
        else
            cairo_move_to(p->cr, x_of(p, hour_of(p, k)), y_of(p, panel->air_c[k]));
        drawing = true;
    }
    cairo_stroke(p->cr);
    cairo_restore(p->cr);
}

/* A star of three strokes: frost, also without colour. */
static void paint_star(Painter *p, double x, double y, double radius)
{
    cairo_set_source_rgb(p->cr, 0.05, 0.2, 0.6);
    cairo_set_line_width(p->cr, 3);
    for (int arm = 0; arm < 3; arm++) {
        const double angle = arm * G_PI / 3 + G_PI / 2;
        cairo_move_to(p->cr, x - radius * cos(angle), y - radius * sin(angle));
        cairo_line_to(p->cr, x + radius * cos(angle), y + radius * sin(angle));
    }
    cairo_stroke(p->cr);
}

static void paint_frost(Painter *p, const FigureFrost *frost)
{
    const double y = p->top + PLOT_HEIGHT - 0.5 * FROST_ROW, star = is_dense(p) ? 7 : 10;
    g_autofree char *odds = print_odds(frost->odds);
    g_autoptr(PangoLayout) layout = brush_layout(&p->brush, odds, is_dense(p) ? 16 : 21, BOLD);
    int width, height;
    Box box;

    pango_layout_get_pixel_size(layout, &width, &height);
    const double all = width + 2.6 * star, x = x_of(p, frost->at_h) - 0.5 * all;
    const double wishes[][2] = {{x, y - 0.5 * height},
                                {fmax(LEFT, fmin(x, LEFT + PLOT_WIDTH - all)), y - 0.5 * height}};
    if (!labels_place(&p->brush.labels, wishes, 2, all, height, &box))
        return;
    paint_star(p, box.x + star + 1, y, star);
    brush_put(&p->brush, layout, box.x + 2.6 * star, box.y, false);
}

static int by_odds(gconstpointer a, gconstpointer b)
{
    const FigureFrost *x = a, *y = b;

    return x->odds < y->odds ? 1 : x->odds > y->odds ? -1 : 0;
}

/* The likeliest first: where there is no room for all, they are the ones that must be seen. */
static void paint_frosts(Painter *p, const FigurePanel *panel)
{
    g_array_sort(panel->frosts, by_odds);
    for (guint i = 0; i < panel->frosts->len; i++)
        paint_frost(p, &g_array_index(panel->frosts, FigureFrost, i));
}

/* The step of the lowest or highest air in [from, from + 24) hours; -1 where it is at an end. */
static int extreme(const Painter *p, const FigurePanel *panel, double from, bool low)
{
    const int n = p->figure->n_steps;
    int found = -1;

    for (int k = 0; k < n; k++) {
        const double hour = hour_of(p, k), c = panel->air_c[k];
        if (hour < from || hour >= from + 24 || !isfinite(c))
            continue;
        if (found < 0 || (low ? c < panel->air_c[found] : c > panel->air_c[found]))
            found = k;
    }
    return found > 0 && from + 24 <= hour_of(p, n - 1) ? found : -1;
}

/* The low of each night, from noon to noon, and the high of each day, in numbers. */
static void paint_extremes(Painter *p, const FigurePanel *panel)
{
    const Figure *f = p->figure;

    for (guint i = 0; i < f->days->len; i++) {
        const double midnight = g_array_index(f->days, FigureDay, i).midnight_h;
        for (int which = 0; which < 2; which++) {
            const bool low = which == 0;
            const int k = extreme(p, panel, low ? midnight - 12 : midnight, low);
            if (k < 0)
                continue;
            const double x = x_of(p, hour_of(p, k)), y = y_of(p, panel->air_c[k]);
            const double side = low ? 1 : -1;
            const double wishes[][2] = {{x, y + 17 * side},
                                        {x, y - 17 * side},
                                        {x + 30, y + 14 * side},
                                        {x - 30, y + 14 * side}};
            g_autofree char *number = print_number(degrees(p, panel->air_c[k]), 0);
            brush_label(&p->brush, number, 21, BOLD, wishes, 4);
        }
    }
}

static void paint_limit(Painter *p, const FigurePanel *panel)
{
    static const double dash[] = {14, 8};
    const double y = y_of(p, panel->limit_c);

    if (panel->limit_batch == NULL || !(y >= p->top && y <= p->top + PLOT_HEIGHT - FROST_ROW))
        return; /* its figure stands beside the name */
    cairo_save(p->cr);
    cairo_set_source_rgb(p->cr, 0, 0, 0);
    cairo_set_line_width(p->cr, 2.5);
    cairo_set_dash(p->cr, dash, 2, 0);
    cairo_move_to(p->cr, LEFT, y);
    cairo_line_to(p->cr, LEFT + PLOT_WIDTH, y);
    cairo_stroke(p->cr);
    cairo_restore(p->cr);
}

static void paint_strip(Painter *p, const FigurePanel *panel)
{
    const double y = p->top + PLOT_HEIGHT + 4;

    for (guint i = 0; i < panel->stretches->len; i++) {
        const FigureStretch *s = &g_array_index(panel->stretches, FigureStretch, i);
        const double x = x_of(p, s->from_h), width = x_of(p, s->to_h) - x;
        g_autoptr(PangoLayout) layout = brush_layout(&p->brush, s->position, 19, PLAIN);
        int text_width, height;

        cairo_set_source_rgb(p->cr, 1, 1, 1);
        cairo_rectangle(p->cr, x, y, width, STRIP);
        cairo_fill(p->cr);
        if (s->open < 1)
            brush_hatch(&p->brush, &(Box){x, y, width, STRIP}, s->open > 0 ? 22 : 8);
        cairo_set_source_rgb(p->cr, 0, 0, 0);
        cairo_set_line_width(p->cr, 1.5);
        cairo_rectangle(p->cr, x, y, width, STRIP);
        cairo_stroke(p->cr);
        pango_layout_get_pixel_size(layout, &text_width, &height);
        if (text_width + 12 < width)
            brush_put(&p->brush, layout, x + 0.5 * (width - text_width), y + 0.5 * (STRIP - height),
                      true);
    }
}

static void paint_panel(Painter *p, guint index)
{
    static const double dots[] = {2, 6};
    const FigurePanel *panel = &g_array_index(p->figure->panels, FigurePanel, index);
    const double head = p->top - HEAD;

    g_autofree char *limit = print_number(degrees(p, panel->limit_c), 0);
    g_autofree char *said = panel->limit_batch == NULL
                                ? g_strdup("")
                                : g_strdup_printf("damage to %s below %s %s", panel->limit_batch,
                                                  limit, p->figure->fahrenheit ? "°F" : "°C");
    g_autoptr(PangoLayout) note = brush_layout(&p->brush, said, 20, PLAIN);
    int width, height;
    pango_layout_get_pixel_size(note, &width, &height);
    const double room = fmin(width, 0.62 * PLOT_WIDTH);
    pango_layout_set_width(note, (int)(room * PANGO_SCALE));
    pango_layout_set_ellipsize(note, PANGO_ELLIPSIZE_MIDDLE);
    brush_text(&p->brush, panel->name, 28, BOLD, LEFT, head + 4, PLOT_WIDTH - room - 16);
    if (*said != '\0')
        brush_put(&p->brush, note, LEFT + PLOT_WIDTH - room, head + 11, false);
    p->brush.labels.within = (Box){LEFT, p->top, PLOT_WIDTH, PLOT_HEIGHT};
    paint_nights(p, PLOT_HEIGHT);
    paint_grid(p);
    paint_band(p, panel);
    if (index > 0)
        paint_line(p, &g_array_index(p->figure->panels, FigurePanel, 0), 2, dots, 2);
    paint_limit(p, panel);
    paint_line(p, panel, 3.5, NULL, 0);
    paint_frosts(p, panel);
    paint_extremes(p, panel);
    cairo_set_source_rgb(p->cr, 0, 0, 0);
    cairo_set_line_width(p->cr, 1.5);
    cairo_rectangle(p->cr, LEFT, p->top, PLOT_WIDTH, PLOT_HEIGHT);
    cairo_stroke(p->cr);
    if (panel->stretches->len > 0)
        paint_strip(p, panel);
}

/* ---- around the panels ---- */

static void paint_head(Painter *p)
{
    const Figure *f = p->figure;
    g_autofree char *under = g_strdup_printf("%s · %s", f->forecast, f->fahrenheit ? "°F" : "°C");

    brush_text(&p->brush, f->site, 44, BOLD, LEFT, 14, PLOT_WIDTH);
    brush_text(&p->brush, under, 22, PLAIN, LEFT, 68, PLOT_WIDTH);
    p->brush.labels.within = (Box){LEFT, 0, PLOT_WIDTH, TOP};
    for (guint i = 0; i < f->days->len; i++) {
        const FigureDay *day = &g_array_index(f->days, FigureDay, i);
        const double from = x_of(p, day->midnight_h), to = x_of(p, day->midnight_h + 24);
        const double middle[][2] = {{0.5 * (from + to), 120}};
        /* "Thu 9": the weekday and the day, which is all that fits a phone */
        const char *space = strchr(day->when, ' ');
        const size_t first = space != NULL && !is_dense(p) ? strcspn(space + 1, " ") + 1 : 0;
        g_autofree char *name = g_strndup(
            day->when, space != NULL ? (size_t)(space - day->when) + first : strlen(day->when));
        if (to - from > 40)
            brush_label(&p->brush, name, 23, BOLD, middle, 1);
    }
    for (guint i = 0; i < f->visits->len; i++) {
        const FigureVisit *visit = &g_array_index(f->visits, FigureVisit, i);
        const double x = x_of(p, visit->at_h);
        const double wishes[][2] = {{x, 148}, {x + 36, 148}, {x - 36, 148}};
        g_autofree char *text = g_strdup_printf("▾ %s", visit->clock);
        brush_label(&p->brush, text, 19, PLAIN, wishes, 3);
    }
}

static void paint_visits(Painter *p, double from, double to)
{
    static const double dash[] = {4, 5};

    cairo_save(p->cr);
    cairo_set_source_rgb(p->cr, 0.25, 0.25, 0.25);
    cairo_set_line_width(p->cr, 1.5);
    cairo_set_dash(p->cr, dash, 2, 0);
    for (guint i = 0; i < p->figure->visits->len; i++) {
        const double x = x_of(p, g_array_index(p->figure->visits, FigureVisit, i).at_h);
        cairo_move_to(p->cr, x, from);
        cairo_line_to(p->cr, x, to);
    }
    cairo_stroke(p->cr);
    cairo_restore(p->cr);
}

static void paint_foot(Painter *p, double y)
{
    static const char *const lines[] = {
        "Line: expected. Grey: eight nights of ten; blue below 0 °C. Dotted: outdoors.",
        "Star: odds of frost on leaves. Dashed: where leaves are damaged. ▾ a visit.",
        "Strip: the cover, the denser the more shut."};

    for (gsize i = 0; i < G_N_ELEMENTS(lines); i++)
        brush_text(&p->brush, lines[i], 18, PLAIN, LEFT, y + 25 * (double)i, PLOT_WIDTH);
    brush_credits(&p->brush, p->figure->reply, LEFT, y + 80, PLOT_WIDTH);
}

static double panel_height(const FigurePanel *panel)
{
    return HEAD + PLOT_HEIGHT + (panel->stretches->len > 0 ? STRIP + 4 : 0) + GAP;
}

double paint_height(const Figure *figure)
{
    double height = TOP + FOOT + brush_credits_height(figure->reply);

    for (guint i = 0; i < figure->panels->len; i++)
        height += panel_height(&g_array_index(figure->panels, FigurePanel, i));
    return height;
}

void paint(cairo_t *cr, const Figure *figure, GPtrArray *labelled)
{
    Painter p = {.cr = cr, .figure = figure, .brush = brush_new(cr, labelled)};
    double y = TOP;

    find_range(&p);
    cairo_set_source_rgb(cr, 1, 1, 1);
    cairo_paint(cr);
    paint_head(&p);
    for (guint i = 0; i < figure->panels->len; i++) {
        p.top = y + HEAD;
        paint_panel(&p, i);
        paint_visits(&p, p.top, p.top + PLOT_HEIGHT);
        y += panel_height(&g_array_index(figure->panels, FigurePanel, i));
    }
    paint_foot(&p, y);
    brush_clear(&p.brush);
}

static void paint_figure(cairo_t *cr, gconstpointer figure, GPtrArray *labelled)
{
    paint(cr, figure, labelled);
}

Picture paint_picture(const Figure *figure)
{
    return (Picture){PAINT_WIDTH, paint_height(figure), paint_figure, figure};
}

/* SPDX-License-Identifier: MIT */
#include "test-hindcast-reliability.h"

#include <math.h>
#include <string.h>

#define CLASSES 5
#define DRAWS 4000

static int bin_of(double odds)
{
    return MIN(RELIABILITY_BINS - 1, (int)(odds * RELIABILITY_BINS));
}

static const SeasonCase *cases_of(const GArray *cases)
{
    return (const SeasonCase *)(void *)cases->data;
}

static double climatology_of(const GArray *cases)
{
    double n[SEASON_EVENTS][SEASON_PLACES] = {{0}}, came[SEASON_EVENTS][SEASON_PLACES] = {{0}};
    double sum = 0;
    const SeasonCase *it = cases_of(cases);

    for (guint i = 0; i < cases->len; i++) {
        n[it[i].event][it[i].place]++;
        came[it[i].event][it[i].place] += it[i].came;
    }
    for (int e = 0; e < SEASON_EVENTS; e++) {
        for (int p = 0; p < SEASON_PLACES; p++) {
            double share = n[e][p] > 0 ? came[e][p] / n[e][p] : 0;
            sum += n[e][p] * share * (1 - share);
        }
    }
    return sum / cases->len;
}

Reliability reliability_of(const GArray *cases, SeasonOdds which, int place)
{
    Reliability ret = {.climatology = climatology_of(cases)};
    const SeasonCase *it = cases_of(cases);
    double rate = 0, n = 0;

    for (guint i = 0; i < cases->len; i++)
        n += place < 0 || it[i].place == place;

    for (guint i = 0; i < cases->len; i++) {
        if (place >= 0 && it[i].place != place)
            continue;
        double odds = it[i].odds[which], off = odds - it[i].came;
        int b = bin_of(odds);

        ret.n[b]++;
        ret.said[b] += odds;
        ret.came[b] += it[i].came;
        rate += (double)it[i].came / n;
        ret.brier += off * off / n;
    }
    for (int b = 0; b < RELIABILITY_BINS; b++) {
        if (ret.n[b] == 0)
            continue;
        ret.said[b] /= ret.n[b];
        ret.came[b] /= ret.n[b];
        double share = (double)ret.n[b] / n;
        ret.reliability += share * (ret.said[b] - ret.came[b]) * (ret.said[b] - ret.came[b]);
        ret.resolution += share * (ret.came[b] - rate) * (ret.came[b] - rate);
    }
    ret.uncertainty = rate * (1 - rate);
    return ret;
}

/* ---- the joint test ---- */

/* Classes of odds with about as much doubt in each; the outermost hold the sure ones. */
static int class_of(double odds)
{
    static const double edges[CLASSES - 1] = {0.05, 0.25, 0.6, 0.9};
    int c = 0;

    while (c < CLASSES - 1 && odds >= edges[c])
        c++;
    return c;
}

/* xᵀ A⁻¹ x by Cholesky; INFINITY where A is not positive definite. */
static double quadratic(double a[CLASSES][CLASSES], const double *x)
{
    double l[CLASSES][CLASSES] = {{0}}, sum = 0, y[CLASSES];

    for (int i = 0; i < CLASSES; i++) {
        for (int j = 0; j <= i; j++) {
            double rest = a[i][j];
            for (int k = 0; k < j; k++)
                rest -= l[i][k] * l[j][k];
            if (i == j && !(rest > 1e-12))
                return INFINITY;
            l[i][j] = i == j ? sqrt(rest) : rest / l[j][j];
        }
        y[i] = x[i];
        for (int k = 0; k < i; k++)
            y[i] -= l[i][k] * y[k];
        y[i] /= l[i][i];
        sum += y[i] * y[i];
    }
    return sum;
}

/* T² of the mean over the chosen blocks about `centre`. */
static double t_squared(const double (*blocks)[CLASSES], const int *chosen, int n,
                        const double *centre, double *ret_mean)
{
    double mean[CLASSES] = {0}, covariance[CLASSES][CLASSES] = {{0}}, off[CLASSES];

    for (int b = 0; b < n; b++) {
        for (int i = 0; i < CLASSES; i++)
            mean[i] += blocks[chosen[b]][i] / n;
    }
    for (int b = 0; b < n; b++) {
        for (int i = 0; i < CLASSES; i++) {
            for (int j = 0; j < CLASSES; j++)
                covariance[i][j] += (blocks[chosen[b]][i] - mean[i]) *
                                    (blocks[chosen[b]][j] - mean[j]) / (n - 1) / n;
        }
    }
    for (int i = 0; i < CLASSES; i++)
        off[i] = mean[i] - centre[i];
    if (ret_mean != NULL)
        memcpy(ret_mean, mean, sizeof(mean));
    return quadratic(covariance, off);
}

double reliability_p(const GArray *cases, SeasonOdds which, int n_seasons, int place, guint32 seed)
{
    g_autoptr(GRand) random = g_rand_new_with_seed(seed);
    g_autofree double(*blocks)[CLASSES] = g_malloc0((gsize)n_seasons * sizeof(*blocks));
    g_autofree int *chosen = g_new(int, n_seasons);
    const double none[CLASSES] = {0};
    const SeasonCase *it = cases_of(cases);
    double mean[CLASSES];
    int beyond = 0;

    for (guint i = 0; i < cases->len; i++) {
        double odds = it[i].odds[which];
        if (place >= 0 && it[i].place != place)
            continue;
        blocks[it[i].season][class_of(odds)] += it[i].came - odds;
    }
    for (int b = 0; b < n_seasons; b++)
        chosen[b] = b;
    double seen = t_squared((const double(*)[CLASSES])blocks, chosen, n_seasons, none, mean);
    for (int d = 0; d < DRAWS; d++) {
        for (int b = 0; b < n_seasons; b++)
            chosen[b] = g_rand_int_range(random, 0, n_seasons);
        beyond +=
            t_squared((const double(*)[CLASSES])blocks, chosen, n_seasons, mean, NULL) >= seen;
    }
    return (beyond + 1.0) / (DRAWS + 1.0);
}

/* ---- the figure ---- */

#define SIDE 360.0
#define LEFT 60.0
#define TOP 20.0

static double at_x(double share)
{
    return LEFT + SIDE * share;
}

static double at_y(double share)
{
    return TOP + SIDE * (1 - share);
}

static void draw_axes(GString *svg)
{
    for (int i = 0; i <= 100; i += 20) {
        g_string_append_printf(svg,
                               "<path d='M%.0f %.0fv%.0fM%.0f %.0fh%.0f' stroke='#ddd'/>\n"
                               "<text x='%.0f' y='%.0f' text-anchor='middle'>%d %%</text>\n"
                               "<text x='%.0f' y='%.0f' text-anchor='end'>%d %%</text>\n",
                               at_x(i / 100.0), TOP, SIDE, LEFT, at_y(i / 100.0), SIDE,
                               at_x(i / 100.0), TOP + SIDE + 18, i, LEFT - 6, at_y(i / 100.0) + 4,
                               i);
    }
    g_string_append_printf(svg, "<path d='M%.0f %.0fL%.0f %.0f' stroke='#888'/>\n", at_x(0),
                           at_y(0), at_x(1), at_y(1));
    g_string_append_printf(svg, "<text x='%.0f' y='%.0f' text-anchor='middle'>said</text>\n",
                           at_x(0.5), TOP + SIDE + 38);
    g_string_append_printf(svg,
                           "<text transform='translate(14 %.0f) rotate(-90)' "
                           "text-anchor='middle'>came</text>\n",
                           at_y(0.5));
}

static void draw_line(GString *svg, const Reliability *it, const char *style, const char *words,
                      int row)
{
    g_string_append(svg, "<polyline fill='none' stroke='#000' points='");
    for (int b = 0; b < RELIABILITY_BINS; b++)
        g_string_append_printf(svg, "%.1f,%.1f ", at_x(it->said[b]), at_y(it->came[b]));
    g_string_append_printf(svg, "' %s/>\n", style);
    for (int b = 0; b < RELIABILITY_BINS && row == 0; b++)
        g_string_append_printf(svg, "<circle cx='%.1f' cy='%.1f' r='3.5'/>\n", at_x(it->said[b]),
                               at_y(it->came[b]));
    g_string_append_printf(svg,
                           "<path d='M%.0f %.0fh30' stroke='#000' %s/>\n"
                           "<text x='%.0f' y='%.0f'>%s</text>\n",
                           at_x(0.52), at_y(0.2) + 20 * row, style, at_x(0.62),
                           at_y(0.2) + 4 + 20 * row, words);
}

bool reliability_draw(const GArray *cases, const char *path)
{
    g_autoptr(GString) svg = g_string_new("<svg xmlns='http://www.w3.org/2000/svg' width='450' "
                                          "height='430' font-family='sans-serif' "
                                          "font-size='13'>\n"
                                          "<rect width='450' height='430' fill='#fff'/>\n");
    Reliability learned = reliability_of(cases, ODDS_LEARNED, -1);
    Reliability assumed = reliability_of(cases, ODDS_ASSUMED, -1);
    Reliability whole = reliability_of(cases, ODDS_WHOLE, -1);

    draw_axes(svg);
    draw_line(svg, &learned, "stroke-width='2'", "learned", 0);
    draw_line(svg, &assumed, "stroke-dasharray='2 3'", "as assumed", 1);
    draw_line(svg, &whole, "stroke-dasharray='8 4'", "spread whole", 2);
    g_string_append(svg, "</svg>\n");
    return g_file_set_contents(path, svg->str, (gssize)svg->len, NULL);
}

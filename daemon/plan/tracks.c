/* SPDX-License-Identifier: MIT */
#include "plan/tracks.h"
#include "plan/errors.h"
#include "plan/marks.h"

bool tracks_open(Board *b)
{
    for (int c = 0; c < b->s->n_chains; c++)
        b->shelves[c].n = 0;
    return !b->arena->failed;
}

static void course_settings(const Chain *c, const int *positions, int8_t *ret)
{
    for (int l = 0; l < c->n; l++)
        ret[l] = c->layers[l].covered ? (int8_t)positions[c->layers[l].place] : 0;
}

TrackCourse track_course_fixed(const Board *b, int chain, const int *positions)
{
    TrackCourse course = {.n = 1};
    course_settings(&b->s->chains[chain], positions, course.settings[0]);
    return course;
}

static TrackCourse course_scheduled(const Board *b, int chain, const Window *w,
                                    const Schedule *schedule)
{
    TrackCourse course = track_course_fixed(b, chain, schedule->positions[0]);
    for (int k = 1; k <= schedule->n_visits; k++) {
        int8_t setting[CHAIN_LAYERS_MAX] = {0};
        course_settings(&b->s->chains[chain], schedule->positions[k], setting);
        if (memcmp(setting, course.settings[course.n - 1], sizeof setting) == 0)
            continue;
        if (schedule->visit_step[k - 1] > w->first)
            course.from[course.n++] = schedule->visit_step[k - 1];
        memcpy(course.settings[course.n - 1], setting, sizeof setting);
    }
    return course;
}

Track track_part(Board *b, int chain, const Window *w, int from, int to, const int *positions,
                 ChainState *state, PlaceStep *steps)
{
    const Chain *c = &b->s->chains[chain];
    const SiteOutlook *outlook = &b->s->sites[w->site];
    double longitude = b->s->garden->sites[w->site].longitude;
    for (int step = from; step < to; step++) {
        ChainForcing forcing = {
            .now = &outlook->steps[step],
            .next = &outlook->steps[step + 1],
            .deep_c = outlook->deep_c,
            .solar_hour = c->indoors ? marks_solar_hour(board_utc(b, step + 1), longitude) : 0.0};
        PlaceStep *met = steps + (size_t)(step - from) * (size_t)c->n;
        chain_step(c, positions, &forcing, state, met);
        errors_apply(b->s, c, positions, step, met);
    }
    return (Track){.first = from, .n = to - from, .steps = steps};
}

Track track_run(Board *b, int chain, const Window *w, const ChainState *start,
                const TrackCourse *course, ChainState *ret_end)
{
    const Chain *c = &b->s->chains[chain];
    int n = w->eval_end - w->first, part = -1, positions[CHAIN_LAYERS_MAX];
    PlaceStep *steps = ARENA_NEW(b->arena, (size_t)n * (size_t)c->n, PlaceStep);
    if (steps == NULL)
        return (Track){0};
    ChainState state = *start;
    for (int i = 0; i < n; i++) {
        int step = w->first + i;
        while (part + 1 < course->n && (part < 0 || step >= course->from[part + 1])) {
            part++;
            for (int l = 0; l < c->n; l++)
                positions[l] = course->settings[part][l];
        }
        if (step == w->end && ret_end != NULL)
            *ret_end = state;
        (void)track_part(b, chain, w, step, step + 1, positions, &state,
                         steps + (size_t)i * (size_t)c->n);
    }
    if (ret_end != NULL && w->end >= w->eval_end)
        *ret_end = state;
    return (Track){.first = w->first, .n = n, .steps = steps};
}

static bool courses_equal(const TrackCourse *x, const TrackCourse *y)
{
    return x->n == y->n && memcmp(x->from, y->from, sizeof x->from) == 0 &&
           memcmp(x->settings, y->settings, (size_t)x->n * sizeof x->settings[0]) == 0;
}

static Track track_of(Board *b, int chain, const Window *w, const TrackCourse *course,
                      ChainState *ret_end)
{
    TrackShelf *shelf = &b->shelves[chain];
    for (int i = 0; i < shelf->n; i++) {
        if (!courses_equal(&shelf->courses[i], course))
            continue;
        if (ret_end != NULL)
            *ret_end = shelf->ends[i];
        return shelf->tracks[i];
    }
    ChainState end;
    Track track = track_run(b, chain, w, &b->stand.chains[chain], course, &end);
    if (track.steps == NULL)
        return track;
    if (ret_end != NULL)
        *ret_end = end;
    if (shelf->n < TRACKS_MAX) {
        shelf->courses[shelf->n] = *course;
        shelf->ends[shelf->n] = end;
        shelf->tracks[shelf->n++] = track;
    }
    return track;
}

Track track_scheduled(Board *b, int chain, const Window *w, const Schedule *schedule,
                      ChainState *ret_end)
{
    TrackCourse course = course_scheduled(b, chain, w, schedule);
    return track_of(b, chain, w, &course, ret_end);
}

Track track_fixed(Board *b, int chain, const Window *w, const int *positions)
{
    TrackCourse course = track_course_fixed(b, chain, positions);
    return track_of(b, chain, w, &course, NULL);
}

/* SPDX-License-Identifier: MIT */
#include "odds/verdict.h"

#include <math.h>

/* Colder and hotter no garden gets: near the records of inhabited places, and of glass left shut in
 * full sun. Chosen. */
#define COLDEST_C (-50.0)
#define HOTTEST_OPEN_C 55.0
#define HOTTEST_COVERED_C 75.0
/* From so many spreads, and so many kelvin, on a reading is refused, or only kept. Chosen. */
#define REFUSED_SPREADS 6.0
#define REFUSED_K 10.0
#define DOUBTFUL_SPREADS 4.0
#define DOUBTFUL_K 5.0
/* A thermometer that read the same so often, while what was computed moved by more, is stuck.
 * Chosen. */
#define STUCK_BEFORE 4
#define STUCK_RANGE_K 2.0

static Verdict verdict_of(const ReadingCase *r, const Judgement *j)
{
    double off = fabs(j->off_k);
    if (!(r->value_c >= COLDEST_C &&
          r->value_c <= (r->covered ? HOTTEST_COVERED_C : HOTTEST_OPEN_C)))
        return VERDICT_RANGE;
    if (off > REFUSED_K && j->spreads > REFUSED_SPREADS)
        return VERDICT_FAR;
    if (r->extreme && r->reset_utc != 0 && r->reset_utc < r->night_from_utc)
        return VERDICT_RESET;
    if (r->same_before >= STUCK_BEFORE && r->computed_range_k > STUCK_RANGE_K)
        return VERDICT_STUCK;
    if (off > DOUBTFUL_K && j->spreads > DOUBTFUL_SPREADS)
        return VERDICT_DOUBTFUL;
    return VERDICT_FINE;
}

Judgement verdict_reading(const ReadingCase *r)
{
    Judgement j = {.low_c = COLDEST_C,
                   .high_c = r->covered ? HOTTEST_COVERED_C : HOTTEST_OPEN_C,
                   .off_k = r->value_c - r->computed_c,
                   .spreads = fabs(r->value_c - r->computed_c) / r->spread_k};
    double reach = fmax(REFUSED_K, REFUSED_SPREADS * r->spread_k);
    if (isfinite(r->computed_c)) {
        j.low_c = fmax(j.low_c, r->computed_c - reach);
        j.high_c = fmin(j.high_c, r->computed_c + reach);
    }
    j.verdict = verdict_of(r, &j);
    j.keep = j.verdict != VERDICT_RANGE && j.verdict != VERDICT_FAR;
    j.learn = j.verdict == VERDICT_FINE;
    /* Doubtful and colder than computed: tonight it is believed, in case a front has come early. */
    bool believed = j.learn || (j.verdict == VERDICT_DOUBTFUL && j.off_k < 0.0);
    j.tonight = believed && !r->extreme && r->time_utc <= r->now_utc &&
                r->now_utc - r->time_utc <= VERDICT_TONIGHT_S;
    return j;
}

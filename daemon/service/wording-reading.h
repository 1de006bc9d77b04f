/* SPDX-License-Identifier: MIT */
/* What is said of a reading. */
#pragma once

#include "service/reading.h"
#include "service/second-opinion.h"

/* What a thermometer may show; chosen. */
#define READING_LEAST_C (-40.0)
#define READING_MOST_C 60.0

/* The place, or the site in the open. Owned by the garden. */
const char *reading_where(const Service *service, const StoreReading *reading);

/* "3.1 °C": a thermometer shows tenths. */
char *wording_tenths(const Garden *garden, double c);

/* "frame 0.5 °C; reckoned 3.0 °C ± 1.9. ...": what it was beside, and what came of it. */
char *wording_reading(const Service *service, const ReadingTaken *taken);

/* "Tonight in frame: −0.6 → 0.8 °C, frost 31 % → 6 %."; NULL where tonight is not known. To be
 * called when the plan after the reading is made. */
char *wording_reading_night(const Service *service, const ReadingTaken *taken);

/*
 * "By night frame runs 1.4 °C warmer than modelled (3 readings).", "The nights at plot are as
 * forecast (1 night)."; `place` -1: the open air. NULL where nothing was learned. The caller's.
 */
char *wording_learned(const Service *service, int site, int place, Extreme which,
                      const LearnedError *error);

/*
 * "Second opinion on tonight's low outdoors: ...", beside what is planned with; NULL where it
 * says nothing. The caller's.
 */
char *wording_second_opinion(const Service *service, int site, const SecondOpinion *opinion,
                             double planned_c, double planned_spread_k);

/* Sets the error: it cannot be, and what would be accepted. Always FALSE. */
gboolean reading_refuse(const Service *service, const ReadingTaken *taken, GError **error);

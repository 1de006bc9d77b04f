/* SPDX-License-Identifier: MIT */
#pragma once

#include <glib.h>
#include <stdint.h>

/* A delay a quarter up or down, so that many do not come at one time; at least a second. */
int64_t backoff_jitter_s(int64_t delay_s, GRand *rand);

/* How long to wait after so many failures in a row: FIRST_S, doubled with each, at most LAST_S. */
int64_t backoff_s(guint failures, int64_t first_s, int64_t last_s);

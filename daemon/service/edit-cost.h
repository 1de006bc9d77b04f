/* SPDX-License-Identifier: MIT */
/* What it costs that growers set, left out or offered visits: the plan beside one without that. */
#pragma once

#include "service/situation.h"
#include "service/wording-edits.h"
#include "store/store-wishes.h"

/*
 * One for each wish of the situation that is not over. Plans once more, with the usual windows, so
 * to be called in the plan's thread; empty where nothing was wished, or it was stopped.
 */
GArray *edit_costs(const Situation *situation, const Plan *plan,
                   const atomic_bool *stop) G_GNUC_WARN_UNUSED_RESULT;

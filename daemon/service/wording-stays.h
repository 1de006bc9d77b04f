/* SPDX-License-Identifier: MIT */
/* Why a batch that is fit to go on stays where it is. */
#pragma once

#include "service/wording.h"

/* "cabbage-1 stays on the sill: ..." in one sentence, or "It stays ..." where `named` is false;
 * "" where the reason is none of those that keep a batch (BatchOutlook). */
char *wording_stays(const WordingContext *context, const Reason *reason, bool named);

/* SPDX-License-Identifier: MIT */
/* The picture of a batch: its nights against what it bears, its hours in the open beneath. */
#pragma once

#include "ctl/draw/ramp-figure.h"
#include "ctl/draw/save.h"

/* It, to be saved; valid as long as the figure. */
Picture ramp_picture(const RampFigure *figure);

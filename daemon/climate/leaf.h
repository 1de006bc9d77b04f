/* SPDX-License-Identifier: MIT */
/* The temperature of a leaf among air, what it sees above it, and the floor. Pure. */
#pragma once

/* °C; `sky_c` is what the leaf sees above it, `wind_ms` the wind at it. */
double leaf_c(double air_c, double sky_c, double floor_c, double light_wm2, double wind_ms);

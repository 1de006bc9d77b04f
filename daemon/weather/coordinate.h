/* SPDX-License-Identifier: MIT */
/* How much of a place leaves the machine. */
#pragma once

/*
 * A latitude or longitude in degrees as a service is given it: to 0.01°, about a kilometre, enough
 * for a grid of kilometres and nobody's address. Owned by the caller.
 */
char *coordinate_text(double degrees);

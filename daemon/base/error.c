/* SPDX-License-Identifier: MIT */
#include "base/error.h"

G_DEFINE_QUARK(thole_error, thole_error)

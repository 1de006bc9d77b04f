/* SPDX-License-Identifier: MIT */
/* A reply that comes later. Internal to control/; handlers see control.h. */
#pragma once

#include <libsoup/soup.h>

#include "control/control.h"

/* Holds the message up until it is answered. */
ControlOwed *control_owed_new(SoupServerMessage *message);

/* SPDX-License-Identifier: MIT */
/* The handlers of the control interface: docs/api.md says what each takes and gives. */
#pragma once

#include "control/control.h"
#include "service/service.h"

/* Adds every route of wire_routes. `service` must outlive `control`. */
void api_add_routes(Service *service, Control *control);

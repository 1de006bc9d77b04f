/* SPDX-License-Identifier: MIT */
/* How the service stands, in one line. */
#pragma once

#include "service/service.h"

/* For the supervisor; see wording_status(). The caller owns it. */
char *service_status(const Service *service);

/* SPDX-License-Identifier: MIT */
/* Alarms on a desktop that is not there, dies, comes again, hangs; days down; a clock put back. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <signal.h>
#include <string.h>

#include "desktop-bus.h"
#include "notify/due.h"
#include "service-world.h"
#include "service/desktop.h"
#include "store/store-notices.h"

int main(void)
{
    return 0;
}

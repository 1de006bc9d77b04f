/* SPDX-License-Identifier: MIT */
#pragma once

/*
 * A new random id: 128 bits from the system's generator as 32 lower-case hexadecimal digits. Unique
 * without asking anybody, and not to be guessed. The caller owns it.
 */
char *id_new(void);

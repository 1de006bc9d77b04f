/* SPDX-License-Identifier: MIT */
/* The whole core is linked in, with nothing beside it but libm. That it links is the test. */
#include <stdio.h>

int main(void)
{
    puts("1..1\nok 1 - the core links with libm alone");
    return 0;
}

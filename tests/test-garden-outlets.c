/* SPDX-License-Identifier: MIT */
/* [calendar NAME] of thole.conf: what is read, and every mistake word by word. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <string.h>

#include "garden/garden.h"
#include "garden/outlets.h"

#define BASE                                                                                       \
    "[site home]\nlatitude=53.1\nlongitude=-2.1\n[place sill]\nkind=sill\nsite=home\n"             \
    "[grower one]\nvisits-home=07:00-08:30\n[grower two]\nvisits-home=07:00-08:30\n"
#define SECTION BASE "[calendar pocket]\n" /* line 11 */
#define AT "thole.conf:12: [calendar pocket] "
#define AT_2 "thole.conf:13: [calendar pocket] "
#define AT_3 "thole.conf:14: [calendar pocket] "
#define HEADING "thole.conf:11: [calendar pocket]: "
#define SERVER "kind=server\naddress=dav.plot.example\n"

static Garden *parse(const char *text, GError **error)
{
    return garden_parse(text, strlen(text), "/etc/thole/thole.conf", NULL, 0, NULL, error);
}

static void test_usual(void **state)
{
    g_autoptr(GError) error = NULL;
    g_autoptr(Garden) garden = parse(SECTION SERVER, &error);
    (void)state;
    if (garden == NULL)
        fail_msg("%s", error->message);
    assert_int_equal(garden->n_outlets, 1);
    const OutletSetup *setup = garden->outlets;
    assert_string_equal(setup->name, "pocket");
    assert_int_equal(setup->kind, OUTLET_SERVER);
    assert_int_equal(setup->grower, -1);
    assert_string_equal(setup->title, "thole");
    assert_string_equal(setup->address, "dav.plot.example");
    assert_string_equal(setup->user, "");
    assert_string_equal(setup->secret, "");
    assert_string_equal(setup->colour, "");
    assert_string_equal(setup->path, "");
    assert_int_equal(setup->poll_min, 15);
    g_autoptr(Garden) none = parse(BASE, &error);
    assert_int_equal(none->n_outlets, 0);
}

static void test_whole(void **state)
{
    g_autoptr(GError) error = NULL;
    g_autoptr(Garden) garden =
        parse(BASE "[calendar a]\nkind=server\ngrower=two\naddress=https://dav.example/two/plot/\n"
                   "user=two\nsecret-file=two.secret\nname=Frühling\ncolour=2f7D32\n"
                   "poll-minutes=5\n"
                   "[calendar b]\nkind=server\naddress=one@plot.example\nsecret-file=/s/one\n"
                   "[calendar c]\nkind=folder\npath=sync/thole\ngrower=one\n"
                   "[calendar d]\nkind=file\npath=/srv/two.ics\ngrower=two\n"
                   "[calendar e]\nkind=server\naddress=http://127.0.0.1:5232/\n",
              &error);
    (void)state;
    if (garden == NULL)
        fail_msg("%s", error->message);
    assert_int_equal(garden->n_outlets, 5);
    const OutletSetup *o = garden->outlets;
    assert_int_equal(o[0].grower, 1);
    assert_string_equal(o[0].user, "two");
    assert_string_equal(o[0].secret, "/etc/thole/two.secret");
    assert_string_equal(o[0].title, "Frühling");
    assert_string_equal(o[0].colour, "#2f7D32");
    assert_int_equal(o[0].poll_min, 5);
    assert_string_equal(o[1].user, "one@plot.example");
    assert_string_equal(o[1].secret, "/s/one");
    assert_int_equal(o[2].kind, OUTLET_FOLDER);
    assert_string_equal(o[2].path, "/etc/thole/sync/thole");
    assert_int_equal(o[2].grower, 0);
    assert_int_equal(o[3].kind, OUTLET_FILE);
    assert_string_equal(o[3].path, "/srv/two.ics");
    assert_string_equal(o[3].title, "thole two");
    /* A copy lives by itself. */
    Garden *copy = garden_copy(garden);
    assert_ptr_not_equal(copy->outlets, garden->outlets);
    assert_memory_equal(copy->outlets, garden->outlets, 5 * sizeof *garden->outlets);
    garden_free(copy);
}

#define ADDRESS_FORM                                                                               \
    "not a calendar server; accepted is a host, NAME@HOST, or https://… without a name and "     \
    "password (http only for this machine), at most 511 bytes"

static const struct {
    const char *sentence, *text, *message;
} rows[] = {
    {"no name", BASE "[calendar]\nkind=file\n",
     "thole.conf:11: [calendar]: has no name; accepted is [calendar NAME]"},
    {"no kind", SECTION "path=a\n", HEADING "kind= is missing; accepted is server, folder, file"},
    {"a kind that is not there", SECTION "kind=cloud\n",
     AT "kind=cloud: unknown; accepted: server, folder, file"},
    {"a grower that is not there", SECTION "kind=file\ngrower=on\npath=a\n",
     AT_2 "grower=on: no such grower; growers: one, two"},
    {"no path", SECTION "kind=folder\n", HEADING "path= is missing; it must be given"},
    {"a key of another kind", SECTION "kind=folder\npath=a\ncolour=000000\n",
     AT_3 "colour: unknown key; keys here: kind, grower, path"},
    {"two at one place", SECTION "kind=folder\npath=a\n[calendar b]\nkind=folder\npath=./a/\n",
     "thole.conf:16: [calendar b] path=./a/: is that of [calendar pocket] too; accepted is one of "
     "its own"},
    {"no address", SECTION "kind=server\n", HEADING "address= is missing; it must be given"},
    {"an address that all can read", SECTION "kind=server\naddress=http://dav.example/\n",
     AT_2 "address=http://dav.example/: " ADDRESS_FORM},
    {"a password in the address", SECTION "kind=server\naddress=https://me:pw@dav.example/\n",
     AT_2 "address=https://…@dav.example/: " ADDRESS_FORM},
    {"no host at all", SECTION "kind=server\naddress=the plot\n",
     AT_2 "address=the plot: " ADDRESS_FORM},
    {"a login without a password", SECTION SERVER "user=me\n",
     AT_3 "user=me: a login needs more; accepted together with secret-file="},
    {"a name in the address, without a password", SECTION "kind=server\naddress=me@plot.example\n",
     AT_2 "address=me@plot.example: a login needs more; accepted together with secret-file="},
    {"a password without a login", SECTION SERVER "secret-file=pw\n",
     AT_3 "secret-file=pw: nobody's password; accepted together with user="},
    {"a login that no server could read", SECTION SERVER "user=a:b\nsecret-file=pw\n",
     AT_3 "user=a:b: has a colon; accepted is a name without one"},
    {"a colour by its name", SECTION SERVER "colour=green\n",
     AT_3 "colour=green: not a colour; accepted is RRGGBB, such as 2f7d32"},
    {"looking all the time", SECTION SERVER "poll-minutes=0\n",
     AT_3 "poll-minutes=0: accepted is a whole number from 1 to 1440 minutes"},
};

static void test_errors(void **state)
{
    guint wrong = 0;
    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_autoptr(GError) error = NULL;
        g_autoptr(Garden) garden = parse(rows[i].text, &error);
        if (garden == NULL && g_str_has_suffix(error->message, rows[i].message))
            continue;
        print_error("%s:\n  %s\n  wanted: %s\n", rows[i].sentence,
                    garden != NULL ? "no error" : error->message, rows[i].message);
        wrong++;
    }
    assert_int_equal(wrong, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_usual),
        cmocka_unit_test(test_whole),
        cmocka_unit_test(test_errors),
    };
    return cmocka_run_group_tests_name("garden outlets", tests, NULL, NULL);
}

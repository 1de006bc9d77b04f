/* SPDX-License-Identifier: MIT */
/* How a calendar that is kept stands, and what was done in it, in words. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "service/wording-news.h"
#include "service/wording-outlet.h"
#include "wording-garden.h"

#define HOUR_S 3600

static void test_standing(void **state)
{
    Fixture f;
    (void)state;

    fixture_init(&f);
    const int64_t now_utc = f.context.now_utc;
    const struct {
        WordingOutlet outlet;
        const char *text;
    } cases[] = {
        {{.kept = TRUE, .problem = ""}, "Nothing was delivered yet."},
        {{.kept = TRUE, .problem = "", .pending = 3},
         "Nothing was delivered yet. 3 events are on the way."},
        {{.kept = TRUE, .problem = "", .delivered_utc = now_utc},
         "As of Thu 12:00 all stands there as it should."},
        {{.kept = TRUE, .problem = "", .delivered_utc = now_utc, .pending = 1},
         "What stands there is of Thu 12:00. 1 event is on the way."},
        {{.rehearsal = TRUE, .problem = ""}, "Not kept in a rehearsal."},
        {{.problem = "two of one name."}, "Not kept: two of one name."},
        {{.kept = TRUE,
          .problem = "dav.plot.example: no route to host",
          .pending = 2,
          .delivered_utc = now_utc - 24 * HOUR_S,
          .tried_utc = now_utc,
          .next_utc = now_utc + HOUR_S},
         "It could not be delivered Thu 12:00: dav.plot.example: no route to host. Tried again Thu "
         "13:00, or at once when thole.conf is read again. What stands there is of Wed 12:00. 2 "
         "events wait."},
        {{.kept = TRUE,
          .problem = "the server refuses the user or the password",
          .refused = TRUE,
          .secret = "/etc/thole/pw",
          .tried_utc = now_utc,
          .next_utc = now_utc + HOUR_S},
         "It could not be delivered Thu 12:00: the server refuses the user or the password. Put "
         "the right password into /etc/thole/pw, on its first line, or mend user= in thole.conf; "
         "the file is read anew at each try. Tried again Thu 13:00, or at once when thole.conf is "
         "read again. Nothing was delivered yet."},
        {{.kept = TRUE,
          .problem = "the server refuses the user or the password",
          .refused = TRUE,
          .secret = ""},
         "It could not be delivered: the server refuses the user or the password. It wants a "
         "login: give user= and secret-file= in thole.conf. Nothing was delivered yet."},
    };
    for (gsize i = 0; i < G_N_ELEMENTS(cases); i++) {
        g_autofree char *text = wording_outlet(&f.context, &cases[i].outlet);
        assert_string_equal(text, cases[i].text);
    }
    fixture_clear(&f);
}

/* Neither a path on a server, which may be what keeps it secret, nor a name. */
static void test_where(void **state)
{
    static const struct {
        OutletSetup setup;
        const char *text;
    } cases[] = {
        {{.kind = OUTLET_SERVER, .address = "dav.plot.example"}, "on dav.plot.example"},
        {{.kind = OUTLET_SERVER, .address = "me@plot.example"}, "on plot.example"},
        {{.kind = OUTLET_SERVER, .address = "https://dav.example/s3cret/plot/"}, "on dav.example"},
        {{.kind = OUTLET_SERVER, .address = "http://127.0.0.1:5232/"}, "on 127.0.0.1:5232"},
        {{.kind = OUTLET_FOLDER, .path = "/srv/a"}, "in /srv/a"},
        {{.kind = OUTLET_FILE, .path = "/srv/a.ics"}, "in /srv/a.ics"},
    };
    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(cases); i++) {
        g_autofree char *text = wording_outlet_where(&cases[i].setup);
        assert_string_equal(text, cases[i].text);
    }
}

static void test_edits(void **state)
{
    Fixture f;
    static const struct {
        const char *event, *kind, *words, *text;
    } cases[] = {
        {"Thu 18:00, Close frame", "moved", "", "Thu 18:00, Close frame: moved to Thu 14:00."},
        {"Thu 18:00, Close frame", "deleted", "", "Thu 18:00, Close frame: deleted."},
        {"Thu 18:00, Close frame", "cancelled", "", "Thu 18:00, Close frame: marked as cancelled."},
        {"Thu 18:00, Close frame", "done", "", "Thu 18:00, Close frame: marked as done."},
        {"Thu 18:00, Close frame", "restored", "", "Thu 18:00, Close frame: put back."},
        {"Thu 18:00, Close frame", "renamed", "Frost!",
         "Thu 18:00, Close frame: renamed to “Frost!”."},
        {"Thu 18:00, Close frame", "renamed", "", "Thu 18:00, Close frame: its title taken back."},
        {"Thu 18:00, Close frame", "reading", "frame -1.5",
         "Thu 18:00, Close frame: a line was added, “frame -1.5”."},
        {NULL, "moved", "", "An event of a time past: moved to Thu 14:00."},
        {NULL, "other", "plot", "“plot”: an event of your own."},
        {NULL, "other-gone", "", "An event of your own was taken away."},
        {NULL, "lost", "", "All events were gone at once; they are put again."},
    };
    (void)state;

    fixture_init(&f);
    for (gsize i = 0; i < G_N_ELEMENTS(cases); i++) {
        g_autofree char *text = wording_outlet_edit(&f.context, HOME, cases[i].event, cases[i].kind,
                                                    f.context.now_utc + 2 * HOUR_S, cases[i].words);
        assert_string_equal(text, cases[i].text);
    }
    fixture_clear(&f);
}

/* In a message of the evening before, the day of the visit is named. */
static void test_day_of_news(void **state)
{
    Fixture f;
    (void)state;

    fixture_init(&f);
    const int64_t utc = f.context.now_utc + 5 * 3600;
    Visit visit = {.site = PLOT, .grower = -1, .start_utc = utc};
    g_autofree char *today = wording_news_body(&f.context, WORDING_NEWS_WARNING, &visit, NULL, 0);
    assert_true(g_str_has_prefix(today, "plot, 17:00\n"));
    visit.start_utc += 86400;
    g_autofree char *tomorrow =
        wording_news_body(&f.context, WORDING_NEWS_WARNING, &visit, NULL, 0);
    assert_true(g_str_has_prefix(tomorrow, "plot, Fri 17:00\n"));
    fixture_clear(&f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_standing),
        cmocka_unit_test(test_where),
        cmocka_unit_test(test_edits),
        cmocka_unit_test(test_day_of_news),
    };
    return cmocka_run_group_tests_name("wording outlet", tests, NULL, NULL);
}

/* SPDX-License-Identifier: MIT */
/*
 * tholectl as it is installed, against a daemon that replies with the fixtures in tests/ctl: what
 * it asks for, what it prints, and how it ends. With THOLE_GOLDEN=write the texts are written anew,
 * to be read.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <errno.h>
#include <fcntl.h>
#include <gio/gio.h>
#include <glib/gstdio.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/error.h"
#include "control/control.h"
#include "ctl/command.h"
#include "ctl/print.h"

static char *folder, *socket_path;
static Control *control;
static const char *fixture; /* the next reply; NULL: a refusal */
static char *asked;         /* (owned) "METHOD path?query body" of the last request */

static char *fixture_path(const char *name, const char *ending)
{
    g_autofree char *file = g_strconcat(name, ending, NULL);

    return g_build_filename(g_getenv("THOLE_SOURCE_DIR"), "tests", "ctl", file, NULL);
}

static JsonNode *load_fixture(const char *name)
{
    g_autofree char *path = fixture_path(name, ".json");
    g_autoptr(JsonParser) parser = json_parser_new();
    g_autoptr(GError) error = NULL;

    if (!json_parser_load_from_file(parser, path, &error))
        fail_msg("%s", error->message);
    return json_parser_steal_root(parser);
}

static JsonNode *on_any(const ControlRequest *request, gpointer data, GError **error)
{
    g_autoptr(GString) text = g_string_new(request->method);
    GHashTableIter iter;
    gpointer name, value;

    (void)data;
    g_string_append_printf(text, " %s", request->path);
    g_hash_table_iter_init(&iter, request->query);
    while (g_hash_table_iter_next(&iter, &name, &value))
        g_string_append_printf(text, "?%s=%s", (char *)name, (char *)value);
    if (request->body) {
        g_autoptr(JsonNode) node = json_node_init_object(json_node_alloc(), request->body);
        g_autofree char *body = json_to_string(node, FALSE);
        g_string_append_printf(text, " %s", body);
    }
    g_free(asked);
    asked = g_string_free(g_steal_pointer(&text), FALSE);
    if (!fixture) {
        g_set_error_literal(error, THOLE_ERROR, THOLE_ERROR_CONFLICT,
                            "the name is taken; give another");
        return NULL;
    }
    return load_fixture(fixture);
}

static int set_up(void **state)
{
    g_autoptr(GError) error = NULL;

    (void)state;
    folder = g_dir_make_tmp("thole-ctl-XXXXXX", NULL);
    socket_path = g_build_filename(folder, "control", NULL);
    control = control_new(socket_path, CONTROL_USER, -1, &error);
    if (!control)
        fail_msg("%s", error->message);
    for (gsize i = 0; i < wire_n_routes; i++)
        control_add(control, wire_routes[i].method, wire_routes[i].path, on_any, NULL);
    return 0;
}

static int tear_down(void **state)
{
    (void)state;
    g_clear_pointer(&control, control_free);
    g_clear_pointer(&asked, g_free);
    assert_int_equal(g_rmdir(folder), 0);
    g_clear_pointer(&socket_path, g_free);
    g_clear_pointer(&folder, g_free);
    fixture = NULL;
    return 0;
}

/* ---- running it ---- */

typedef struct Run {
    char *out, *err; /* (owned) */
    int status;
    bool over;
} Run;

static void run_clear(Run *run)
{
    g_free(run->out);
    g_free(run->err);
}
G_DEFINE_AUTO_CLEANUP_CLEAR_FUNC(Run, run_clear)

static char *bytes_text(GBytes *bytes)
{
    gsize length;
    const char *data = g_bytes_get_data(bytes, &length);

    return length > 0 ? g_strndup(data, length) : g_strdup("");
}

static void on_over(GObject *process, GAsyncResult *result, gpointer data)
{
    Run *run = data;
    g_autoptr(GError) error = NULL;
    g_autoptr(GBytes) out = NULL, err = NULL;

    if (!g_subprocess_communicate_finish(G_SUBPROCESS(process), result, &out, &err, &error))
        fail_msg("%s", error->message);
    run->out = bytes_text(out);
    run->err = bytes_text(err);
    run->over = true;
}

static Run run_argv(const char *const *argv)
{
    Run run = {0};
    g_autoptr(GError) error = NULL;
    g_autoptr(GSubprocess) process = g_subprocess_newv(
        argv, G_SUBPROCESS_FLAGS_STDOUT_PIPE | G_SUBPROCESS_FLAGS_STDERR_PIPE, &error);

    if (!process)
        fail_msg("%s", error->message);
    g_subprocess_communicate_async(process, NULL, NULL, on_over, &run);
    while (!run.over)
        g_main_context_iteration(NULL, TRUE);
    assert_true(g_subprocess_get_if_exited(process));
    run.status = g_subprocess_get_exit_status(process);
    return run;
}

/* tholectl with WORDS as a shell would split them, asking our socket. */
static Run run_words(const char *words)
{
    g_autofree char *program =
        g_build_filename(g_getenv("THOLE_BUILD_DIR"), "ctl", "tholectl", NULL);
    g_autofree char *line = g_strdup_printf("'%s' --socket '%s' %s", program, socket_path, words);
    g_auto(GStrv) argv = NULL;

    assert_true(g_shell_parse_argv(line, NULL, &argv, NULL));
    return run_argv((const char *const *)argv);
}

/* ---- tests ---- */

static void assert_narrow(const char *text, int columns)
{
    g_auto(GStrv) lines = g_strsplit(text, "\n", -1);

    for (guint i = 0; lines[i]; i++) {
        if (print_width(lines[i]) > columns)
            fail_msg("%d columns: %s", print_width(lines[i]), lines[i]);
        if (g_str_has_suffix(lines[i], " "))
            fail_msg("blanks at the end: %s", lines[i]);
    }
}

static void assert_golden(const char *name, const char *text, int columns)
{
    g_autofree char *path = fixture_path(name, ".txt");
    g_autofree char *golden = NULL;

    assert_narrow(text, columns);
    if (g_strcmp0(g_getenv("THOLE_GOLDEN"), "write") == 0)
        assert_true(g_file_set_contents(path, text, -1, NULL));
    if (!g_file_get_contents(path, &golden, NULL, NULL))
        fail_msg("%s is missing", path);
    if (!g_str_equal(golden, text))
        fail_msg("%s:\n%s", path, text);
}

static void shows_what_it_is_told(void **state)
{
    static const struct {
        const char *words, *asked, *fixture;
    } rows[] = {
        {"", "GET /v1/today", "today"},
        {"today", "GET /v1/today", "today"},
        {"today", "GET /v1/today", "today-quiet"},
        {"", "GET /v1/today", "today-safe"},
        {"", "GET /v1/today", "today-risk"},
        {"", "GET /v1/today", "today-unknown"},
        {"week", "GET /v1/week", "week"},
        {"week", "GET /v1/week", "week-normals"},
        {"batch list", "GET /v1/batches", "batches"},
        {"batch list --ended", "GET /v1/batches?ended=true", "batches-none"},
        {"batch show leek-1", "GET /v1/batches/leek-1", "batch"},
        {"places", "GET /v1/places", "places"},
        {"crops leek", "GET /v1/crops?name=leek", "crops"},
        {"crops", "GET /v1/crops", "crops-all"},
        {"crops bean", "GET /v1/crops?name=bean", "crops-some"},
        {"weather plot", "GET /v1/weather/plot", "weather"},
        {"why leek-1", "GET /v1/why/leek-1", "why"},
        {"why 'a b/c' tonight", "GET /v1/why/a b/c?date=tonight", NULL},
        {"why leek-1 2026-04-12", "GET /v1/why/leek-1?date=2026-04-12", "why"},
        {"sow tomato --out 2026-05-20", "GET /v1/sow/tomato?out=2026-05-20", "sow"},
        {"sow pepper --sow today", "GET /v1/sow/pepper?sow=today", "sow-cold"},
        {"season", "GET /v1/season", "season"},
        {"season", "GET /v1/season", "season-none"},
        {"done", "GET /v1/jobs", "jobs"},
        {"done", "GET /v1/jobs", "jobs-none"},
        {"away", "GET /v1/aways", "aways"},
        {"visit list", "GET /v1/visits", "visits"},
        {"calendar", "GET /v1/calendar", "calendar"},
        {"calendar", "GET /v1/calendar", "calendar-feed"},
        {"calendar", "GET /v1/calendar", "calendar-two"},
        {"calendar", "GET /v1/calendar", "calendar-trouble"},
        {"check", "GET /v1/check", "check"},
        {"calendar test", "POST /v1/calendar/test {}", "calendar-test"},
        {"calendar test one", "POST /v1/calendar/test {\"grower\":\"one\"}", "calendar-test"},
        {"test-alarm", "POST /v1/test-alarm", "test-alarm"},
        {"what-if skip J7", "POST /v1/what-if {\"job\":7,\"change\":\"skip\"}", "what-if"},
        {"what-if frost plot tonight 26F",
         "POST /v1/what-if {\"site\":\"plot\",\"night\":\"tonight\",\"low\":26,\"unit\":\"F\","
         "\"change\":\"frost\"}",
         "what-if"},
        {"what-if place cold-frame plot --trays 4",
         "POST /v1/what-if {\"kind\":\"cold-frame\",\"site\":\"plot\",\"trays\":4,\"change\":"
         "\"place\"}",
         "what-if"},
        {"what-if sown tomato-1 2026-03-01",
         "POST /v1/what-if {\"batch\":\"tomato-1\",\"sown\":\"2026-03-01\",\"change\":\"sown\"}",
         "what-if"},
        {"what-if frost plot 2026-04-17 −9",
         "POST /v1/what-if "
         "{\"site\":\"plot\",\"night\":\"2026-04-17\",\"low\":-9,\"change\":\"frost\"}",
         "what-if"},
    };

    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        if (!rows[i].fixture)
            continue;
        fixture = rows[i].fixture;
        g_auto(Run) run = run_words(rows[i].words);
        assert_string_equal(run.err, "");
        assert_int_equal(run.status, WIRE_EXIT_DONE);
        assert_string_equal(asked, rows[i].asked);
        assert_golden(fixture, run.out, PRINT_COLUMNS);
    }
}

/* On a telephone each row of a table is a block. */
static void writes_for_a_narrow_screen(void **state)
{
    static const struct {
        const char *words, *fixture;
    } rows[] = {
        {"weather plot", "weather"},   {"places", "places"},     {"", "today"}, {"week", "week"},
        {"what-if skip 7", "what-if"}, {"batch list", "batches"}};

    (void)state;
    assert_true(g_setenv("COLUMNS", "40", TRUE));
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_autofree char *name = g_strconcat(rows[i].fixture, "-40", NULL);
        fixture = rows[i].fixture;
        g_auto(Run) run = run_words(rows[i].words);
        assert_string_equal(run.err, "");
        assert_golden(name, run.out, 40);
    }
    g_unsetenv("COLUMNS");
}

static void asks_for_what_was_meant(void **state)
{
    static const struct {
        const char *words, *asked;
    } rows[] = {
        {"batch add tomato 12", "POST /v1/batches {\"crop\":\"tomato\",\"number\":12}"},
        {"batch add tomato 12 sill --name t --cultivar 'Early Red' --container pot-9 --sown "
         "2026-03-01 "
         "--bought --destination bed",
         "POST /v1/batches "
         "{\"crop\":\"tomato\",\"number\":12,\"place\":\"sill\",\"name\":\"t\",\"cultivar\":"
         "\"Early "
         "Red\",\"container\":\"pot-9\",\"sown\":\"2026-03-01\",\"destination\":\"bed\",\"bought\":"
         "true}"},
        {"batch move leek-1 frame --at 18:30",
         "POST /v1/batches/leek-1/move {\"place\":\"frame\",\"at\":\"18:30\"}"},
        {"batch destination leek-1 bed", "POST /v1/batches/leek-1/destination {\"place\":\"bed\"}"},
        {"batch emerged leek-1 --at 08:00", "POST /v1/batches/leek-1/emerged {\"at\":\"08:00\"}"},
        {"batch height leek-1 12.5", "POST /v1/batches/leek-1/height {\"cm\":12.5}"},
        {"batch prick-out leek-1 --number=70 --container cells-40 --place sill",
         "POST /v1/batches/leek-1/prick-out "
         "{\"container\":\"cells-40\",\"number\":70,\"place\":\"sill\"}"},
        {"batch pot-on leek-1 pot-9", "POST /v1/batches/leek-1/pot-on {\"container\":\"pot-9\"}"},
        {"batch split leek-1 20 --name late --place frame",
         "POST /v1/batches/leek-1/split {\"number\":20,\"name\":\"late\",\"place\":\"frame\"}"},
        {"batch plant-out leek-1", "POST /v1/batches/leek-1/plant-out {}"},
        {"batch plant-out leek-1 bed", "POST /v1/batches/leek-1/plant-out {\"place\":\"bed\"}"},
        {"batch lost leek-1 6 --cause slugs",
         "POST /v1/batches/leek-1/losses {\"number\":6,\"cause\":\"slugs\"}"},
        {"batch note leek-1 'tips yellow'",
         "POST /v1/batches/leek-1/notes {\"text\":\"tips yellow\"}"},
        {"batch end 'a b'", "POST /v1/batches/a b/end {}"},
        {"done 7 J8 '#9'", "POST /v1/jobs/report {\"state\":\"done\",\"jobs\":[7,8,9]}"},
        {"done all --at 19:00",
         "POST /v1/jobs/report {\"state\":\"done\",\"at\":\"19:00\",\"all\":true}"},
        {"missed 7", "POST /v1/jobs/report {\"state\":\"missed\",\"jobs\":[7]}"},
        {"cover frame '10 cm' --at 18:30",
         "POST /v1/places/frame/cover {\"position\":\"10 cm\",\"at\":\"18:30\"}"},
        {"cover 'long bed' on", "POST /v1/places/long bed/cover {\"position\":\"on\"}"},
        {"water leek-1", "POST /v1/waterings {\"of\":\"leek-1\"}"},
        {"water 'long bed' --at 07:30",
         "POST /v1/waterings {\"of\":\"long bed\",\"at\":\"07:30\"}"},
        {"reading frame -2.5",
         "POST /v1/readings {\"place\":\"frame\",\"value\":-2.5,\"kind\":\"now\"}"},
        {"reading frame −2 --min --at 07:00",
         "POST /v1/readings {\"place\":\"frame\",\"value\":-2,\"kind\":\"min\",\"at\":\"07:00\"}"},
        {"reading plot 2.5 --moved",
         "POST /v1/readings {\"place\":\"plot\",\"value\":2.5,\"kind\":\"now\",\"moved\":true}"},
        {"reading frame 3 --min --since 2026-04-05",
         "POST /v1/readings {\"place\":\"frame\",\"value\":3,\"kind\":\"min\",\"since\":\"2026-"
         "04-05\"}"},
        {"reading frame 28F --max",
         "POST /v1/readings {\"place\":\"frame\",\"value\":28,\"unit\":\"F\",\"kind\":\"max\"}"},
        {"frost plot tonight -3",
         "POST /v1/frosts {\"site\":\"plot\",\"night\":\"tonight\",\"low\":-3}"},
        {"frost plot tonight '−1.5 °C'",
         "POST /v1/frosts {\"site\":\"plot\",\"night\":\"tonight\",\"low\":-1.5,\"unit\":\"C\"}"},
        {"away 2026-04-17 2026-04-19",
         "POST /v1/aways {\"from\":\"2026-04-17\",\"to\":\"2026-04-19\"}"},
        {"away 2026-04-17 2026-04-19 --helper Kim --visits 08:00-09:00 --site plot",
         "POST /v1/aways {\"from\":\"2026-04-17\",\"to\":\"2026-04-19\",\"helper\":\"Kim\","
         "\"visits\":\"08:00-09:00\",\"site\":\"plot\"}"},
        {"away end", "POST /v1/aways/end"},
        {"visit move plot 19:30", "POST /v1/visits/move {\"site\":\"plot\",\"at\":\"19:30\"}"},
        {"visit drop J7", "POST /v1/visits/drop {\"job\":7}"},
        {"visit offer plot 10:00 12:00 --grower Kim",
         "POST /v1/visits/offer {\"site\":\"plot\",\"from\":\"10:00\",\"to\":\"12:00\","
         "\"grower\":\"Kim\"}"},
        {"visit undo 2", "POST /v1/visits/undo {\"number\":2}"},
    };

    (void)state;
    fixture = "done";
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_auto(Run) run = run_words(rows[i].words);
        assert_string_equal(run.err, "");
        assert_int_equal(run.status, WIRE_EXIT_DONE);
        assert_string_equal(asked, rows[i].asked);
        assert_golden("done", run.out, PRINT_COLUMNS);
    }
}

static void renews_the_feed(void **state)
{
    (void)state;
    fixture = "calendar-two";
    g_auto(Run) one = run_words("calendar renew");
    assert_string_equal(asked, "POST /v1/calendar/renew {}");
    assert_golden("calendar-renewed", one.out, PRINT_COLUMNS);
    g_auto(Run) two = run_words("calendar renew two --qr");
    assert_string_equal(asked, "POST /v1/calendar/renew {\"grower\":\"two\"}");
    assert_non_null(strstr(two.out, "▀")); /* feed.sh has it read */
    assert_string_equal(two.err, "");
}

static void ends_as_documented(void **state)
{
    static const struct {
        const char *sentence, *words, *fixture;
        int status;
        const char *err;
    } rows[] = {
        {"refused", "batch end leek-1", NULL, WIRE_EXIT_REFUSED, "the name is taken; give another"},
        {"a check that found something", "check", "check-bad", WIRE_EXIT_REFUSED, ""},
        {"no such command", "plough", "done", WIRE_EXIT_USAGE, "plough is not known"},
        {"neither day", "sow leek", "done", WIRE_EXIT_USAGE, "--out DATE"},
        {"both days", "sow leek --out today --sow today", "done", WIRE_EXIT_USAGE, "--sow DATE"},
        {"half a command", "batch", "done", WIRE_EXIT_USAGE, "add, list, show"},
        {"too few words", "batch add tomato", "done", WIRE_EXIT_USAGE,
         "Usage: tholectl batch add CROP"},
        {"too many words", "week 2", "done", WIRE_EXIT_USAGE, "too many"},
        {"an option of another command", "week --cause slugs", "done", WIRE_EXIT_USAGE, "--cause"},
        {"an option nobody knows", "week --caws", "done", WIRE_EXIT_USAGE, "--caws"},
        {"an option twice", "check --json --json", "done", WIRE_EXIT_USAGE, "twice"},
        {"an option without its value", "batch end leek-1 --at", "done", WIRE_EXIT_USAGE,
         "needs a value"},
        {"a switch with a value", "check --json=yes", "done", WIRE_EXIT_USAGE, "takes no value"},
        {"a number that is none", "batch add tomato twelve", "done", WIRE_EXIT_USAGE, "twelve"},
        {"a comma in a number", "reading frame 3,5", "done", WIRE_EXIT_USAGE, "3,5"},
        {"a job that is none", "done seven", "done", WIRE_EXIT_USAGE, "seven"},
        {"missed all is not offered", "missed all", "done", WIRE_EXIT_USAGE, "all"},
        {"the air since a time", "reading frame 3 --since 07:00", "done", WIRE_EXIT_USAGE,
         "--since goes with --min or --max"},
        {"two kinds of reading", "reading frame 3 --min --max", "done", WIRE_EXIT_USAGE, "--max"},
        {"init without a terminal", "init --config /nowhere/thole.conf", "done", WIRE_EXIT_USAGE,
         "--lat"},
    };

    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        fixture = rows[i].fixture;
        g_auto(Run) run = run_words(rows[i].words);
        if (run.status != rows[i].status || !strstr(run.err, rows[i].err))
            fail_msg("%s: %d, %s", rows[i].sentence, run.status, run.err);
        assert_narrow(run.out, PRINT_COLUMNS);
    }
    control_free(g_steal_pointer(&control));
    g_auto(Run) run = run_words("today");
    assert_int_equal(run.status, WIRE_EXIT_NO_DAEMON);
    assert_non_null(strstr(run.err, "systemctl --user start tholed"));
    assert_string_equal(run.out, "");
}

static void passes_json_on_as_it_came(void **state)
{
    static const char *const names[] = {"today", "batch", "check-bad", "export"};
    static const char *const words[] = {"today --json", "batch show x --json", "check --json",
                                        "export"};

    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(names); i++) {
        fixture = names[i];
        g_autoptr(JsonNode) node = load_fixture(fixture);
        g_autofree char *text = json_to_string(node, FALSE);
        g_autofree char *line = g_strconcat(text, "\n", NULL);
        g_auto(Run) run = run_words(words[i]);
        assert_string_equal(run.out, line);
    }
    fixture = NULL;
    g_auto(Run) run = run_words("week --json");
    assert_int_equal(run.status, WIRE_EXIT_REFUSED);
    assert_non_null(strstr(run.out, "\"type\":\"urn:thole:problem:conflict\""));
    assert_string_equal(run.err, "");
}

/* Fixtures of other commands are shapes that none of them expects. */
static void survives_any_shape(void **state)
{
    static const char *const names[] = {"today",    "week",    "batches", "batch", "places",
                                        "crops",    "weather", "why",     "jobs",  "aways",
                                        "calendar", "check",   "hello",   "sow",   "season"};
    static const char *const words[] = {
        "today",    "week",      "batch list",  "batch show x", "places",
        "crops x",  "weather x", "why x",       "done",         "away",
        "calendar", "check",     "batch end x", "season",       "sow x --sow today"};

    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(names); i++) {
        for (gsize k = 0; k < G_N_ELEMENTS(words); k++) {
            fixture = names[i];
            g_auto(Run) run = run_words(words[k]);
            assert_true(run.status == WIRE_EXIT_DONE || k == 11);
        }
    }
}

/* ---- the table of commands, the help, the completion, the document ---- */

static bool is_route(const char *line)
{
    for (gsize i = 0; i < wire_n_routes; i++) {
        g_autofree char *route =
            g_strdup_printf("%s %s", wire_routes[i].method, wire_routes[i].path);
        if (g_str_equal(route, line))
            return true;
    }
    return false;
}

static void agrees_with_the_document(void **state)
{
    g_autofree char *path = g_build_filename(g_getenv("THOLE_SOURCE_DIR"), "docs", "api.md", NULL);
    g_autofree char *document = NULL;
    g_autoptr(GString) used = g_string_new("\nGET /v1/\n");
    gsize rows = 0;

    (void)state;
    assert_true(g_file_get_contents(path, &document, NULL, NULL));
    for (gsize i = 0; i < n_commands; i++) {
        g_auto(GStrv) lines = g_strsplit(commands[i].routes, "\n", -1);
        for (guint k = 0; lines[k]; k++) {
            if (*lines[k] && !is_route(lines[k]))
                fail_msg("%s asks for %s, which is no route", commands[i].name, lines[k]);
            g_string_append_printf(used, "%s\n", lines[k]);
        }
    }
    for (gsize i = 0; i < wire_n_routes; i++) {
        const WireRoute *route = &wire_routes[i];
        g_autofree char *row = g_strdup_printf("\n| %s | `%s` | ", route->method, route->path);
        g_autofree char *schema = g_strdup_printf("| `%s` |\n", route->schema);
        g_autofree char *file =
            g_strdup_printf("%s/docs/schema/%s.json", g_getenv("THOLE_SOURCE_DIR"), route->schema);
        g_autofree char *line = g_strdup_printf("\n%s %s\n", route->method, route->path);
        const char *found = strstr(document, row);
        if (!found || strstr(found, schema) != strchr(found + 1, '\n') - strlen(schema) + 1)
            fail_msg("docs/api.md has no row %s… %s", row, schema);
        if (!g_file_test(file, G_FILE_TEST_EXISTS))
            fail_msg("%s is missing", file);
        if (!strstr(used->str, line))
            fail_msg("no command asks for %s", line);
    }
    for (const char *p = document; (p = strstr(p, " | `/v1/")); p++)
        rows += g_str_has_prefix(p - 5, "| GET") || g_str_has_prefix(p - 6, "| POST");
    assert_int_equal(rows, wire_n_routes);
}

static bool has_line(const char *text, const char *line)
{
    g_auto(GStrv) lines = g_strsplit(text, "\n", -1);

    return g_strv_contains((const char *const *)lines, line);
}

static void completes_and_helps_from_one_table(void **state)
{
    g_auto(Run) all_help = run_words("help");
    g_auto(Run) first = run_words("complete ''");

    (void)state;
    assert_narrow(all_help.out, PRINT_COLUMNS);
    for (gsize i = 0; i < n_commands; i++) {
        const Command *command = &commands[i];
        g_auto(GStrv) words = g_strsplit(command->name, " ", 2);
        g_autofree char *help_words = g_strdup_printf("help %s", command->name);
        g_autofree char *option_words = g_strdup_printf("complete %s --", command->name);
        g_auto(Run) help = run_words(help_words);
        g_auto(Run) options = run_words(option_words);
        if (!strstr(all_help.out, command->name) || !strstr(all_help.out, command->help))
            fail_msg("help does not tell of %s", command->name);
        assert_true(has_line(first.out, words[0]));
        g_autofree char *second_words = g_strdup_printf("complete %s ''", words[0]);
        g_auto(Run) second = run_words(second_words);
        assert_true(!words[1] || has_line(second.out, words[1]));
        assert_int_equal(help.status, WIRE_EXIT_DONE);
        assert_narrow(help.out, PRINT_COLUMNS);
        assert_non_null(strstr(help.out, command->help));
        for (const CommandOption *o = command->options; o && o->name; o++) {
            g_autofree char *word = g_strconcat("--", o->name, NULL);
            assert_non_null(strstr(help.out, word));
            assert_true(has_line(options.out, word));
        }
        assert_true(has_line(options.out, "--json"));
    }
}

static void completes_names_from_the_daemon(void **state)
{
    static const struct {
        const char *words, *fixture, *out;
    } rows[] = {
        {"complete batch show le", "batches", "leek-1\n"},
        {"complete why ''", "batches", "tomato-1\nleek-1\nwinter-cabbage-long-name\n"},
        {"complete batch move leek-1 f", "places", "frame\n"},
        {"complete batch move leek-1 frame ''", "places", ""},
        {"complete batch add tomato 12 --destination b", "places", "bed\n"},
        {"complete batch --json show le", "batches", "leek-1\n"},
        {"complete frost ''", "places", "home\nplot\n"},
        {"complete batch add le", "crops", "leek\n"},
        {"complete what-if place ''", "places", "sill\ncold-frame\nfleece\nbed\n"},
        {"complete draw batch le", "batches", "leek-1\n"},
        {"complete cover fr", "places", "frame\n"},
        {"complete reading ''", "places", "sill\nframe\ninner-fleece\nbed\nhome\nplot\n"},
        {"complete cover frame ''", "places", "closed\n10 cm\nopen\n"},
        {"complete cover frame 1", "places", "10 cm\n"},
        {"complete cover sill ''", "places", ""},
        {"complete batch emerged le", "batches", "leek-1\n"},
        {"complete done ''", "jobs", "7\n8\nall\n"},
        {"complete missed 7 ''", "jobs", "7\n8\n"},
        {"complete away ''", "aways", "end\n"},
        {"complete batch add tomato ''", "crops", ""},
        {"complete nonsense ''", "crops", ""},
        {"complete we", "crops", "week\nweather\n"},
        {"complete why ''", NULL, ""},
        {"complete sow le", "crops", "leek\n"},
        {"complete sow leek --place fr", "places", "frame\n"},
        {"complete why leek-1 to", NULL, "today\ntonight\ntomorrow\n"},
        {"complete frost plot ''", NULL, "tonight\ntomorrow\n"},
        {"complete help ba", NULL, "batch\n"},
        {"complete help batch mo", NULL, "move\n"},
        {"complete help batch move ''", NULL, ""},
        {"complete --socket /nowhere batch show ''", "batches", ""},
        {"complete batch --socket=/nowhere show ''", "batches", ""},
        {"complete batch show --", NULL, "--json\n--socket\n--help\n"},
        {"complete cover frame 1 --at=18:30 ''", "places", ""},
    };

    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        fixture = rows[i].fixture;
        g_auto(Run) run = run_words(rows[i].words);
        if (!g_str_equal(run.out, rows[i].out))
            fail_msg("%s: %s", rows[i].words, run.out);
        assert_string_equal(run.err, "");
        assert_int_equal(run.status, WIRE_EXIT_DONE);
    }
}

/* ---- the terminal ---- */

static char *run_on_terminal(const char *term, const char *no_color)
{
    g_autofree char *program =
        g_build_filename(g_getenv("THOLE_BUILD_DIR"), "ctl", "tholectl", NULL);
    g_autoptr(GSubprocessLauncher) launcher = g_subprocess_launcher_new(G_SUBPROCESS_FLAGS_NONE);
    g_autoptr(GString) out = g_string_new(NULL);
    g_autoptr(GError) error = NULL;
    const int terminal = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK);

    assert_true(terminal >= 0 && grantpt(terminal) == 0 && unlockpt(terminal) == 0);
    const int slave = open(ptsname(terminal), O_RDWR | O_NOCTTY | O_CLOEXEC);
    assert_true(slave >= 0);
    g_subprocess_launcher_take_stdout_fd(launcher, slave);
    g_subprocess_launcher_setenv(launcher, "TERM", term, TRUE);
    if (no_color)
        g_subprocess_launcher_setenv(launcher, "NO_COLOR", no_color, TRUE);
    g_autoptr(GSubprocess) process = g_subprocess_launcher_spawn(
        launcher, &error, program, "--socket", socket_path, "today", NULL);
    assert_non_null(process);
    g_clear_object(&launcher); /* and with it our end of the slave */
    for (;;) {
        char part[1024];
        g_main_context_iteration(NULL, FALSE);
        const ssize_t n = read(terminal, part, sizeof(part));
        if (n > 0)
            g_string_append_len(out, part, n);
        else if (n == 0 || errno != EAGAIN)
            break;
    }
    close(terminal);
    assert_true(g_subprocess_wait(process, NULL, NULL));
    return g_string_free(g_steal_pointer(&out), FALSE);
}

static void colours_a_terminal_only(void **state)
{
    (void)state;
    fixture = "today";
    g_autofree char *coloured = run_on_terminal("xterm", NULL);
    g_autofree char *unwanted = run_on_terminal("xterm", "1");
    g_autofree char *dumb = run_on_terminal("dumb", NULL);
    assert_non_null(strstr(coloured, "\033[1;31m! Frost"));
    assert_null(strchr(unwanted, '\033'));
    assert_null(strchr(dumb, '\033'));
    assert_non_null(strstr(unwanted, "! Frost"));
}

static void prints_numbers_as_people_write_them(void **state)
{
    static const struct {
        double value, spread;
        const char *units, *text;
    } rows[] = {
        {-2.04, 0.5, "C", "−2.0 ±0.5"},
        {-0.04, 0.5, "C", "0.0 ±0.5"},
        {0, 1, "F", "32.0 ±1.8"},
        {-40, 0, "F", "−40.0 ±0.0"},
        {NAN, 1, "C", "–"},
        {1e300, 1, "C", "– ±1.0"},
    };

    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_autofree char *text = print_spread(rows[i].value, rows[i].spread, rows[i].units);
        assert_string_equal(text, rows[i].text);
    }
    static const struct {
        double odds;
        const char *text;
    } odds[] = {{0, "0%"},   {0.004, "<1%"}, {0.02, "2%"}, {0.999, ">99%"},
                {1, "100%"}, {NAN, "–"},     {2, "–"}};
    for (gsize i = 0; i < G_N_ELEMENTS(odds); i++) {
        g_autofree char *text = print_odds(odds[i].odds);
        assert_string_equal(text, odds[i].text);
    }
    assert_int_equal(print_width("−2 °C"), 5);
    assert_int_equal(print_width("e\xcc\x81 苗"), 4);
    g_autofree char *clean = print_clean("a\033[31mb\xff\nc\xe2\x80\xae", true);
    assert_string_equal(clean, "a?[31mb\xef\xbf\xbd\nc?");
}

/* ---- init ---- */

/* A program that takes the place of tholed: prints its arguments, or complains. */
static void write_program(const char *path, const char *script)
{
    assert_true(g_file_set_contents(path, script, -1, NULL));
    assert_int_equal(g_chmod(path, 0700), 0);
}

static void writes_a_first_file_once(void **state)
{
    g_autofree char *program = g_build_filename(folder, "tholed", NULL);
    g_autofree char *deeper = g_build_filename(folder, "etc", NULL);
    g_autofree char *config = g_build_filename(deeper, "thole.conf", NULL);
    g_autofree char *words = g_strdup_printf("init --config '%s' --lat 53.12 --lon -2.04 --own "
                                             "'sill, cold-frame 6 trays' --when 07:00-08:30 "
                                             "--batch 'tomato 12 sill'",
                                             config);
    g_autofree char *text = NULL;
    GStatBuf status;

    (void)state;
    g_setenv("THOLED", program, TRUE);
    {
        g_auto(Run) run = run_words(words);
        assert_int_equal(run.status, WIRE_EXIT_REFUSED);
        assert_non_null(strstr(run.err, "cannot be run"));
    }
    write_program(program, "#!/bin/sh\necho 'own: a moat is not a kind of place' >&2\nexit 1\n");
    {
        g_auto(Run) run = run_words(words);
        assert_int_equal(run.status, WIRE_EXIT_REFUSED);
        assert_string_equal(run.err, "tholectl: own: a moat is not a kind of place\n");
        assert_false(g_file_test(config, G_FILE_TEST_EXISTS));
    }
    write_program(program, "#!/bin/sh\nprintf '%s\\n' \"$@\"\n");
    {
        g_auto(Run) run = run_words(words);
        assert_string_equal(run.err, "");
        assert_int_equal(run.status, WIRE_EXIT_DONE);
        assert_non_null(strstr(run.out, "tholectl batch add tomato 12 sill"));
        assert_true(g_file_get_contents(config, &text, NULL, NULL));
        assert_string_equal(
            text, "--init-config\nlatitude=53.12\nlongitude=-2.04\nown=sill, cold-frame 6 trays\n"
                  "visits=07:00-08:30\nbatch=tomato 12 sill\n");
        assert_int_equal(g_stat(config, &status), 0);
        assert_int_equal(status.st_mode & 0777, 0600);
    }
    g_auto(Run) again = run_words(words);
    assert_int_equal(again.status, WIRE_EXIT_REFUSED);
    assert_non_null(strstr(again.err, "never overwritten"));
    assert_int_equal(g_unlink(config), 0);
    assert_int_equal(g_rmdir(deeper), 0); /* nothing was left beside it */
    assert_int_equal(g_unlink(program), 0);
    g_unsetenv("THOLED");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(shows_what_it_is_told, set_up, tear_down),
        cmocka_unit_test_setup_teardown(writes_for_a_narrow_screen, set_up, tear_down),
        cmocka_unit_test_setup_teardown(asks_for_what_was_meant, set_up, tear_down),
        cmocka_unit_test_setup_teardown(renews_the_feed, set_up, tear_down),
        cmocka_unit_test_setup_teardown(ends_as_documented, set_up, tear_down),
        cmocka_unit_test_setup_teardown(passes_json_on_as_it_came, set_up, tear_down),
        cmocka_unit_test_setup_teardown(survives_any_shape, set_up, tear_down),
        cmocka_unit_test(agrees_with_the_document),
        cmocka_unit_test_setup_teardown(completes_and_helps_from_one_table, set_up, tear_down),
        cmocka_unit_test_setup_teardown(completes_names_from_the_daemon, set_up, tear_down),
        cmocka_unit_test_setup_teardown(colours_a_terminal_only, set_up, tear_down),
        cmocka_unit_test(prints_numbers_as_people_write_them),
        cmocka_unit_test_setup_teardown(writes_a_first_file_once, set_up, tear_down),
    };

    return cmocka_run_group_tests_name("ctl", tests, NULL, NULL);
}

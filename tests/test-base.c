/* SPDX-License-Identifier: MIT */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "base/atomic-file.h"
#include "base/error.h"
#include "base/local-time.h"
#include "base/log.h"
#include "base/paths.h"
#include "base/secret.h"

#include <gio/gio.h>
#include <glib/gstdio.h>
#include <signal.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>

/* ---- local time ---- */

typedef struct WallRow {
    const char *sentence;
    const char *zone;
    int year, month, day_of_month, hour, minute;
    const char *expected; /* worked out from the dates of change in the tz database, 2026 */
} WallRow;

static const WallRow wall_rows[] = {
    {"a winter morning in London is UTC", "Europe/London", 2026, 1, 15, 7, 0,
     "2026-01-15T07:00:00Z"},
    {"a summer morning in London is UTC+1", "Europe/London", 2026, 7, 15, 7, 0,
     "2026-07-15T06:00:00Z"},
    {"London, the minute before the gap", "Europe/London", 2026, 3, 29, 0, 59,
     "2026-03-29T00:59:00Z"},
    {"London, the first minute of the gap", "Europe/London", 2026, 3, 29, 1, 0,
     "2026-03-29T01:00:00Z"},
    {"London, in the gap: 01:30 becomes 02:30", "Europe/London", 2026, 3, 29, 1, 30,
     "2026-03-29T01:30:00Z"},
    {"London, after the gap", "Europe/London", 2026, 3, 29, 2, 0, "2026-03-29T01:00:00Z"},
    {"London, before the hour that comes twice", "Europe/London", 2026, 10, 25, 0, 59,
     "2026-10-24T23:59:00Z"},
    {"London, the hour that comes twice: the first", "Europe/London", 2026, 10, 25, 1, 30,
     "2026-10-25T00:30:00Z"},
    {"London, after the hour that comes twice", "Europe/London", 2026, 10, 25, 2, 0,
     "2026-10-25T02:00:00Z"},
    {"New York, in the gap: 02:30 becomes 03:30", "America/New_York", 2026, 3, 8, 2, 30,
     "2026-03-08T07:30:00Z"},
    {"New York, after the gap", "America/New_York", 2026, 3, 8, 3, 0, "2026-03-08T07:00:00Z"},
    {"New York, the hour that comes twice: the first", "America/New_York", 2026, 11, 1, 1, 30,
     "2026-11-01T05:30:00Z"},
    {"New York, after the hour that comes twice", "America/New_York", 2026, 11, 1, 2, 0,
     "2026-11-01T07:00:00Z"},
    {"Sydney, in the gap of October", "Australia/Sydney", 2026, 10, 4, 2, 30,
     "2026-10-03T16:30:00Z"},
    {"Sydney, the hour that comes twice in April", "Australia/Sydney", 2026, 4, 5, 2, 30,
     "2026-04-04T15:30:00Z"},
    {"Lord Howe moves by half an hour only", "Australia/Lord_Howe", 2026, 10, 4, 2, 15,
     "2026-10-03T15:45:00Z"},
    {"Lord Howe, the half-hour that comes twice", "Australia/Lord_Howe", 2026, 4, 5, 1, 45,
     "2026-04-04T14:45:00Z"},
    {"Auckland, UTC+13 in summer", "Pacific/Auckland", 2026, 12, 24, 6, 0, "2026-12-23T17:00:00Z"},
    {"Kathmandu, UTC+5:45 all year", "Asia/Kathmandu", 2026, 6, 1, 0, 0, "2026-05-31T18:15:00Z"},
    {"the end of a day is the start of the next", "Europe/London", 2026, 7, 15, 24, 0,
     "2026-07-15T23:00:00Z"},
    {"a leap day", "America/New_York", 2028, 2, 29, 12, 0, "2028-02-29T17:00:00Z"},
    {"before 1970", "UTC", 1969, 12, 31, 23, 59, "1969-12-31T23:59:00Z"},
};

static GTimeZone *zone_named(const char *name)
{
    GTimeZone *zone = g_time_zone_new_identifier(name);

    if (!zone)
        fail_msg("the time zone %s is not installed", name);
    return zone;
}

static void test_wall_times(void **state)
{
    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(wall_rows); i++) {
        const WallRow *row = &wall_rows[i];
        g_autoptr(GTimeZone) zone = zone_named(row->zone);
        const int64_t utc =
            local_time_on_day(zone, local_day_from_date(row->year, row->month, row->day_of_month),
                              row->hour * 60 + row->minute);
        g_autofree char *text = utc_format(utc);

        if (!g_str_equal(text, row->expected))
            fail_msg("%s: expected %s, got %s", row->sentence, row->expected, text);
    }
}

typedef struct MidnightRow {
    const char *zone, *day, *expected;
} MidnightRow;

static const MidnightRow midnight_rows[] = {
    {"Europe/London", "2026-03-29", "2026-03-29T00:00:00Z"},
    {"Europe/London", "2026-03-30", "2026-03-29T23:00:00Z"},
    {"Europe/London", "2026-10-25", "2026-10-24T23:00:00Z"},
    {"Europe/London", "2026-10-26", "2026-10-26T00:00:00Z"},
    {"America/New_York", "2026-03-09", "2026-03-09T04:00:00Z"},
    {"Australia/Sydney", "2026-04-06", "2026-04-05T14:00:00Z"},
    /* The clock goes from 24:00 to 01:00: the day begins at 01:00. (tz database, Chile) */
    {"America/Santiago", "2026-09-06", "2026-09-06T04:00:00Z"},
};

/* The first instant of a day: it lies in that day, and the second before it in the day before. */
static void test_midnights(void **state)
{
    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(midnight_rows); i++) {
        const MidnightRow *row = &midnight_rows[i];
        g_autoptr(GTimeZone) zone = zone_named(row->zone);
        int day = 0;

        assert_true(local_day_parse(row->day, &day, NULL));
        const int64_t utc = local_midnight(zone, day);
        g_autofree char *text = utc_format(utc);
        if (!g_str_equal(text, row->expected))
            fail_msg("%s %s: expected %s, got %s", row->zone, row->day, row->expected, text);
    }
}

/* Every day of twelve years in zones of all habits, against the properties that define a day. */
static void test_every_day_of_twelve_years(void **state)
{
    static const char *const zones[] = {
        "Europe/London",       "America/New_York",
        "Australia/Sydney",    "Pacific/Auckland",
        "Australia/Lord_Howe", "America/Santiago",
        "America/Havana",      "Africa/Casablanca",
        "Asia/Beirut",         "UTC",
    };

    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(zones); i++) {
        g_autoptr(GTimeZone) zone = zone_named(zones[i]);

        for (int day = local_day_from_date(2020, 1, 1); day < local_day_from_date(2032, 1, 1);
             day++) {
            const int64_t utc = local_midnight(zone, day);
            const int64_t length_s = local_midnight(zone, day + 1) - utc;
            const int64_t noon_utc = local_time_on_day(zone, day, 720);

            if (local_day(zone, utc) != day || local_day(zone, utc - 1) != day - 1)
                fail_msg("%s: day %d does not begin at %" G_GINT64_FORMAT, zones[i], day, utc);
            if (length_s < 23 * 3600 || length_s > 25 * 3600)
                fail_msg("%s: day %d lasts %" G_GINT64_FORMAT " s", zones[i], day, length_s);
            assert_int_equal(local_day(zone, noon_utc), day);
            assert_int_equal(local_minute_of_day(zone, noon_utc), 720);
        }
    }
}

static void test_day_numbers(void **state)
{
    int year, month, day_of_month;

    (void)state;
    assert_int_equal(local_day_from_date(1970, 1, 1), 0);
    assert_int_equal(local_day_from_date(1969, 12, 31), -1);
    assert_int_equal(local_day_from_date(2000, 3, 1), 11017);
    assert_int_equal(local_weekday(0), 4); /* 1970-01-01 was a Thursday */
    assert_int_equal(local_weekday(-1), 3);
    assert_int_equal(local_weekday(local_day_from_date(2026, 3, 29)), 7);
    assert_int_equal(local_weekday(local_day_from_date(2026, 3, 30)), 1);
    for (int day = -800; day < 40000; day++) {
        local_day_to_date(day, &year, &month, &day_of_month);
        assert_int_equal(local_day_from_date(year, month, day_of_month), day);
    }
}

static void test_day_text(void **state)
{
    static const char *const wrong[] = {
        "",           "2026-4-12",   "2026-04-31",  "2026-02-29", "2026-13-01", "2026-00-10",
        "0000-01-01", "2026-04-12 ", " 2026-04-12", "20260412",   "2026-04-1x", "+026-04-12",
    };
    int day = 77;

    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(wrong); i++) {
        g_autoptr(GError) error = NULL;

        assert_false(local_day_parse(wrong[i], &day, &error));
        assert_true(g_error_matches(error, THOLE_ERROR, THOLE_ERROR_INVALID));
        assert_non_null(strstr(error->message, wrong[i]));
        assert_int_equal(day, 77);
    }
    assert_true(local_day_parse("2028-02-29", &day, NULL));
    g_autofree char *text = local_day_format(day);
    assert_string_equal(text, "2028-02-29");
}

static void test_utc_text(void **state)
{
    static const char *const wrong[] = {
        "",
        "2026-04-12",
        "2026-04-12T17:30:00",
        "2026-04-12T17:30:00+01:00",
        "2026-04-12T24:00:00Z",
        "2026-04-12T17:60:00Z",
        "2026-04-12T17:30:60Z",
        "2026-04-31T17:30:00Z",
        "2026-04-12 17:30:00Z",
        "2026-04-12T17:30:00Zx",
        "2026-04-12T17:30:00.5Z",
    };
    int64_t utc = 77;

    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(wrong); i++) {
        g_autoptr(GError) error = NULL;

        assert_false(utc_parse(wrong[i], &utc, &error));
        assert_true(g_error_matches(error, THOLE_ERROR, THOLE_ERROR_INVALID));
        assert_int_equal(utc, 77);
    }
    assert_true(utc_parse("1970-01-01T00:01Z", &utc, NULL));
    assert_int_equal(utc, 60);
    /* A billion seconds since 1970, from memory. */
    assert_true(utc_parse("2001-09-09T01:46:40Z", &utc, NULL));
    assert_int_equal(utc, 1000000000);
    assert_true(utc_parse("1969-12-31T23:59:59Z", &utc, NULL));
    assert_int_equal(utc, -1);
    g_autofree char *text = utc_format(utc);
    assert_string_equal(text, "1969-12-31T23:59:59Z");
}

/* ---- files ---- */

static char *make_folder(void)
{
    g_autoptr(GError) error = NULL;
    char *folder = g_dir_make_tmp("thole-base-XXXXXX", &error);

    if (!folder)
        fail_msg("%s", error->message);
    return folder;
}

static guint count_files(const char *folder)
{
    g_autoptr(GDir) dir = g_dir_open(folder, 0, NULL);
    guint files = 0;

    while (g_dir_read_name(dir))
        files++;
    return files;
}

static void assert_content(const char *path, const char *expected)
{
    g_autofree char *content = NULL;

    assert_true(g_file_get_contents(path, &content, NULL, NULL));
    assert_string_equal(content, expected);
}

static void test_atomic_file_replaces(void **state)
{
    g_autofree char *folder = make_folder();
    g_autofree char *path = g_build_filename(folder, "file", NULL);
    struct stat info;

    (void)state;
    assert_true(atomic_file_write(path, "one", 3, 0600, NULL));
    assert_content(path, "one");
    assert_int_equal(stat(path, &info), 0);
    assert_int_equal(info.st_mode & 0777, 0600);
    assert_true(atomic_file_write(path, "", 0, 0600, NULL));
    assert_content(path, "");
    assert_int_equal(count_files(folder), 1);
    g_unlink(path);
    g_rmdir(folder);
}

static void test_atomic_file_in_no_folder(void **state)
{
    g_autofree char *folder = make_folder();
    g_autofree char *file = g_build_filename(folder, "file", NULL);
    g_autofree char *path = g_build_filename(file, "below", NULL);
    g_autoptr(GError) error = NULL;

    (void)state;
    assert_true(atomic_file_write(file, "one", 3, 0600, NULL));
    assert_false(atomic_file_write(path, "two", 3, 0600, &error));
    assert_true(g_error_matches(error, THOLE_ERROR, THOLE_ERROR_IO));
    assert_non_null(strstr(error->message, path));
    assert_content(file, "one");
    assert_int_equal(count_files(folder), 1);
    g_unlink(file);
    g_rmdir(folder);
}

/* A limit on the size of files stops the write half-way, as a full disk would. */
static void test_atomic_file_on_a_full_disk(void **state)
{
    g_autofree char *folder = make_folder();
    g_autofree char *path = g_build_filename(folder, "file", NULL);
    g_autofree char *large = g_strnfill(100000, 'x');
    g_autoptr(GError) error = NULL;
    struct rlimit old_limit;

    (void)state;
    assert_true(atomic_file_write(path, "one", 3, 0600, NULL));
    assert_int_equal(getrlimit(RLIMIT_FSIZE, &old_limit), 0);
    const struct rlimit limit = {.rlim_cur = 4096, .rlim_max = old_limit.rlim_max};
    signal(SIGXFSZ, SIG_IGN);
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &limit), 0);
    const gboolean written = atomic_file_write(path, large, 100000, 0600, &error);
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &old_limit), 0);
    signal(SIGXFSZ, SIG_DFL);

    assert_false(written);
    assert_true(g_error_matches(error, THOLE_ERROR, THOLE_ERROR_IO));
    assert_content(path, "one");
    assert_int_equal(count_files(folder), 1);
    g_unlink(path);
    g_rmdir(folder);
}

/* ---- paths, log ---- */

static void test_paths(void **state)
{
    g_autofree char *config = paths_default_config();
    g_autofree char *state_dir = paths_default_state_dir();
    g_autofree char *socket = paths_default_socket();
    g_autofree char *expected =
        g_build_filename(g_getenv("XDG_CONFIG_HOME"), "thole", "thole.conf", NULL);

    (void)state;
    assert_string_equal(config, expected);
    assert_true(g_str_has_prefix(state_dir, g_getenv("XDG_STATE_HOME")));
    assert_true(g_str_has_suffix(state_dir, "/thole"));
    assert_true(g_str_has_prefix(socket, g_getenv("XDG_RUNTIME_DIR")));
}

static void test_secrets(void **state)
{
    g_autofree char *handed = g_dir_make_tmp("thole-credentials-XXXXXX", NULL);
    g_autofree char *file = g_build_filename(handed, "forecast-key", NULL);
    const struct {
        const char *name, *expected;
    } rows[] = {{"forecast-key", file},
                {"other-key", "/g/other-key"},
                {"./forecast-key", "/g/forecast-key"},
                {"keys/forecast-key", "/g/keys/forecast-key"},
                {"/k/forecast-key", "/k/forecast-key"},
                {"..", "/"}};

    (void)state;
    assert_true(g_file_set_contents(file, "k", 1, NULL));
    g_setenv("CREDENTIALS_DIRECTORY", handed, TRUE);
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_autofree char *path = paths_secret(rows[i].name, "/g");
        assert_string_equal(path, rows[i].expected);
    }
    g_unsetenv("CREDENTIALS_DIRECTORY");
    g_autofree char *without = paths_secret("forecast-key", "/g");
    assert_string_equal(without, "/g/forecast-key");
    g_unlink(file);
    g_rmdir(handed);
}

static void test_secret_text(void **state)
{
    g_autofree char *folder = g_dir_make_tmp("thole-secret-XXXXXX", NULL);
    g_autofree char *file = g_build_filename(folder, "key.pem", NULL);
    g_autoptr(GError) open = NULL, longer = NULL;

    (void)state;
    assert_true(g_file_set_contents(file, "one\ntwo\n", -1, NULL));
    assert_return_code(g_chmod(file, 0600), errno);
    char *whole = secret_read_text(file, 8, NULL);
    assert_string_equal(whole, "one\ntwo\n");
    secret_free(whole);
    assert_null(secret_read_text(file, 7, &longer));
    assert_non_null(strstr(longer->message, "accepted are up to 7 bytes"));
    assert_return_code(g_chmod(file, 0640), errno);
    assert_null(secret_read_text(file, 8, &open));
    assert_non_null(strstr(open->message, "accepted is mode 0600"));
    assert_return_code(g_remove(file), errno);
    assert_return_code(g_rmdir(folder), errno);
}

static void test_secret_line(void **state)
{
    g_autofree char *folder = g_dir_make_tmp("thole-secret-XXXXXX", NULL);
    g_autofree char *file = g_build_filename(folder, "secret", NULL);
    g_autofree char *most = g_strnfill(SECRET_BYTES_MAX, 'x');
    g_autofree char *more = g_strconcat(most, "x", NULL);
    const struct {
        const char *content;
        int mode;
        gboolean handed; /* as a credential */
        const char *secret, *message;
    } rows[] = {
        {"sEcReT 1 \n", 0600, FALSE, "sEcReT 1 ", NULL},
        {"sEcReT\r\n", 0400, FALSE, "sEcReT", NULL},
        {"sEcReT", 0440, TRUE, "sEcReT", NULL},
        {most, 0600, FALSE, most, NULL},
        {more, 0600, FALSE, NULL, ": does not hold a secret; accepted is one line"},
        {"", 0600, FALSE, NULL, ": does not hold a secret; accepted is one line"},
        {"sEcReT\nsEcReT\n", 0600, FALSE, NULL, ": does not hold a secret; accepted is one line"},
        {"sEcReT", 0640, FALSE, NULL, ": others may read it (mode 0640); accepted is mode 0600"},
        {"sEcReT", 0644, TRUE, NULL, ": others may read it (mode 0644); accepted is mode 0600"},
    };

    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_autoptr(GError) error = NULL;
        assert_true(g_file_set_contents(file, rows[i].content, -1, NULL));
        assert_int_equal(g_chmod(file, rows[i].mode), 0);
        if (rows[i].handed)
            g_setenv("CREDENTIALS_DIRECTORY", folder, TRUE);
        char *secret = secret_read(file, &error);
        g_unsetenv("CREDENTIALS_DIRECTORY");
        assert_true(g_strcmp0(secret, rows[i].secret) == 0);
        secret_free(secret);
        assert_int_equal(error != NULL, rows[i].message != NULL);
        if (error != NULL) {
            assert_true(g_str_has_prefix(error->message, file));
            assert_non_null(strstr(error->message, rows[i].message));
            assert_null(strstr(error->message, "sEcReT"));
        }
        g_unlink(file);
    }
    g_autoptr(GError) gone = NULL, odd = NULL;
    assert_null(secret_read(file, &gone));
    assert_non_null(strstr(gone->message, "/secret: cannot be read: No such file"));
    assert_null(secret_read("/dev/null", &odd));
    assert_non_null(strstr(odd->message, "/dev/null: is no ordinary file"));
    g_rmdir(folder);
}

static GPtrArray *lines; /* (element-type utf8) "PRIORITY TOPIC OBJECT MESSAGE" */

static GLogWriterOutput keep_line(GLogLevelFlags level, const GLogField *fields, gsize n_fields,
                                  gpointer data)
{
    static const char *const keys[] = {"PRIORITY", "THOLE_TOPIC", "THOLE_OBJECT", "MESSAGE"};
    g_autoptr(GString) line = g_string_new(NULL);

    (void)level;
    (void)data;
    for (gsize i = 0; i < G_N_ELEMENTS(keys); i++) {
        for (gsize j = 0; j < n_fields; j++) {
            if (g_str_equal(fields[j].key, keys[i]))
                g_string_append_printf(line, "%s|", (const char *)fields[j].value);
        }
    }
    g_ptr_array_add(lines, g_strdup(line->str));
    return G_LOG_WRITER_HANDLED;
}

static void test_log(void **state)
{
    (void)state;
    lines = g_ptr_array_new_with_free_func(g_free);
    g_log_set_writer_func(keep_line, NULL, NULL);

    log_info("weather", "plot", "%d hours", 48);
    assert_string_equal(g_ptr_array_index(lines, 0), "6|weather|plot|weather plot: 48 hours|");
    log_warning("store", NULL, "full");
    assert_string_equal(g_ptr_array_index(lines, 1), "4|store||store: full|");

    /* One message is limited; the same words of another part, and other words, are not. */
    for (int i = 0; i < 3 * LOG_BURST; i++)
        log_warning("weather", "plot", "no answer, try %d", i);
    assert_int_equal(lines->len, 2 + LOG_BURST);
    log_warning("calendar", "plot", "no answer, try %d", 1);
    log_warning("weather", "plot", "no answer at all");
    assert_int_equal(lines->len, 4 + LOG_BURST);
    g_clear_pointer(&lines, g_ptr_array_unref);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_wall_times),
        cmocka_unit_test(test_midnights),
        cmocka_unit_test(test_every_day_of_twelve_years),
        cmocka_unit_test(test_day_numbers),
        cmocka_unit_test(test_day_text),
        cmocka_unit_test(test_utc_text),
        cmocka_unit_test(test_atomic_file_replaces),
        cmocka_unit_test(test_atomic_file_in_no_folder),
        cmocka_unit_test(test_atomic_file_on_a_full_disk),

        cmocka_unit_test(test_paths),
        cmocka_unit_test(test_secrets),
        cmocka_unit_test(test_secret_line),
        cmocka_unit_test(test_secret_text),
        cmocka_unit_test(test_log),
    };
    return cmocka_run_group_tests_name("base", tests, NULL, NULL);
}

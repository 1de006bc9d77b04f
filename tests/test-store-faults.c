/* SPDX-License-Identifier: MIT */
/*
 * What must not lose a record: kill at any moment, a full disk, damaged, foreign and newer files, a
 * migration that fails, a second tholed.
 */
#include "store-fixture.h"

#include "store/store-batches.h"
#include "store/store-garden-events.h"
#include "store/store-readings.h"

#include <glib/gstdio.h>
#include <signal.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

/* Readings at T0 + 1 … T0 + n, each of value n, and the number itself: one commit. */
static gboolean commit_number(Store *store, const Garden *garden, int n, GError **error)
{
    StoreReading reading = {.reading = {.place = 1, .time_utc = T0 + n, .value_c = n}, .site = -1};
    const double numbers[] = {n, -n};
    return store_begin(store, error) && put_number(store, "number", n, error) &&
           store_put_reading(store, garden, &reading, error) &&
           store_put_state(store, "numbers", T0 + n, numbers, 2, error) &&
           store_commit(store, error);
}

/* The store must hold exactly the commits 1 … n of commit_number(); gives n. */
static int committed_prefix(Store *store, const Garden *garden)
{
    int64_t n = -1, as_of_utc = -1;
    g_autoptr(GArray) readings = NULL, numbers = NULL;
    assert_ok(get_number(store, "number", &n, E));
    assert_ok(store_load_readings(store, garden, T0, T0 + DAY, &readings, E));
    assert_ok(store_get_state(store, "numbers", &as_of_utc, &numbers, E));
    assert_int_equal(readings->len, n);
    for (int i = 1; i <= n; i++) {
        const Reading *reading = &g_array_index(readings, StoreReading, i - 1).reading;
        assert_true(reading->time_utc == T0 + i && reading->value_c == i);
    }
    assert_int_equal(as_of_utc, n > 0 ? T0 + n : 0);
    assert_true(n == 0 || g_array_index(numbers, double, 1) == -n);
    return (int)n;
}

/* In a child: commits one number after the other, telling each on FD once it is committed. */
static void commit_until_killed(const Fixture *f, int fd)
{
    Store *store = store_open(f->path, STORE_DURABLE, T0, NULL);
    int64_t n = 0;
    if (store == NULL || !get_number(store, "number", &n, NULL))
        _exit(1);
    for (;;) {
        int number = (int)++n;
        if (!commit_number(store, &f->garden, number, NULL) ||
            write(fd, &number, sizeof number) != sizeof number)
            _exit(1);
    }
}

/*
 * One life of the child: killed at random, in its opening or later. With AFTER_A_COMMIT not before
 * it told of one, however slow the machine. Gives the last number it told; BEFORE where it told
 * none.
 */
static int live_and_be_killed(const Fixture *f, GRand *rand, gboolean after_a_commit, int before)
{
    int pipe_ends[2], status, number, last = before;
    assert_int_equal(pipe(pipe_ends), 0);
    pid_t child = fork();
    assert_true(child >= 0);
    if (child == 0) {
        close(pipe_ends[0]);
        commit_until_killed(f, pipe_ends[1]);
    }
    close(pipe_ends[1]);
    if (after_a_commit)
        assert_int_equal(read(pipe_ends[0], &last, sizeof last), sizeof last);
    g_usleep((gulong)g_rand_int_range(rand, 0, after_a_commit ? 10000 : 25000));
    kill(child, SIGKILL);
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_true(WIFSIGNALED(status));
    while (read(pipe_ends[0], &number, sizeof number) == sizeof number)
        last = number;
    close(pipe_ends[0]);
    return last;
}

static void test_kill_at_any_moment(void **state)
{
    Fixture *f = *state;
    guint32 seed = (guint32)g_get_monotonic_time();
    g_autoptr(GRand) rand = g_rand_new_with_seed(seed);
    print_message("# seed %u\n", seed);
    int known = 0;
    for (int round = 0; round < 40; round++) {
        g_clear_pointer(&f->store, store_close);
        if (round % 4 == 0) { /* from nothing: the kill may fall into the making of the store */
            known = 0;
            g_unlink(f->path);
        }
        int told = live_and_be_killed(f, rand, round % 2 != 0, known);
        assert_ok((f->store = store_open(f->path, STORE_DURABLE, T0, E)) != NULL);
        known = committed_prefix(f->store, &f->garden);
        if (known != told && known != told + 1)
            fail_msg("round %d: commit %d was told, %d kept", round, told, known);
    }
}

static void limit_pages(Store *store, int64_t pages)
{
    g_autofree char *sql = g_strdup_printf("PRAGMA max_page_count=%" G_GINT64_FORMAT, pages);
    assert_int_equal(sqlite3_exec(store->db, sql, NULL, NULL, NULL), SQLITE_OK);
}

static void test_full_disk(void **state)
{
    Fixture *f = *state;
    assert_ok(commit_number(f->store, &f->garden, 1, E));
    limit_pages(f->store, count(f->store, "PRAGMA page_count") + 2);
    g_autofree char *long_text = g_strnfill(100000, 'x');
    assert_ok(store_begin(f->store, E));
    assert_ok(put_number(f->store, "number", 2, E));
    assert_refused(store_put_setting(f->store, "long", long_text, E), STORE_ERROR_FULL, "no room");
    assert_refused(put_number(f->store, "number", 3, E), STORE_ERROR_FAILED,
                   "nothing of it is kept");
    assert_refused(store_commit(f->store, E), STORE_ERROR_FAILED, "nothing of it is kept");
    assert_int_equal(committed_prefix(f->store, &f->garden), 1);
    reopen(f);
    assert_int_equal(committed_prefix(f->store, &f->garden), 1);
    limit_pages(f->store, 1000000);
    assert_ok(commit_number(f->store, &f->garden, 2, E));
    assert_int_equal(committed_prefix(f->store, &f->garden), 2);
}

/* No file may grow beyond SIZE bytes; RLIM_INFINITY lifts the limit. */
static void limit_files(rlim_t size)
{
    struct rlimit limit;
    assert_int_equal(getrlimit(RLIMIT_FSIZE, &limit), 0);
    limit.rlim_cur = MIN(size, limit.rlim_max);
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &limit), 0);
}

/* The disk refuses from some byte on, in the log or the file: each commit is there or is not. */
static void test_writes_that_fail_at_any_byte(void **state)
{
    Fixture *f = *state;
    void (*before)(int) = signal(SIGXFSZ, SIG_IGN);
    int n = 0, refused = 0;
    for (rlim_t size = 0; size < 60000; size += 1500) {
        limit_files(size);
        gboolean committed = commit_number(f->store, &f->garden, n + 1, NULL);
        limit_files(RLIM_INFINITY);
        store_rollback(f->store);
        refused += !committed;
        n += committed;
        assert_int_equal(committed_prefix(f->store, &f->garden), n);
        if (size % 4500 == 0) {
            reopen(f);
            assert_int_equal(committed_prefix(f->store, &f->garden), n);
        }
    }
    signal(SIGXFSZ, before);
    assert_true(refused > 0 && n > 0);
    assert_ok(commit_number(f->store, &f->garden, n + 1, E));
    print_message("# %d commits refused, %d kept\n", refused, n);
}

/* A transaction that SQLite ended by itself, however it came to that. */
static void test_transaction_ended_by_sqlite(void **state)
{
    Fixture *f = *state;
    int64_t value = -1;
    assert_ok(store_begin(f->store, E));
    assert_ok(put_number(f->store, "k", 1, E));
    assert_int_equal(sqlite3_exec(f->store->db, "ROLLBACK", NULL, NULL, NULL), SQLITE_OK);
    assert_refused(put_number(f->store, "k", 2, E), STORE_ERROR_FAILED, "nothing of it is kept");
    assert_refused(store_commit(f->store, E), STORE_ERROR_FAILED, "nothing of it is kept");
    assert_ok(store_begin(f->store, E));
    assert_ok(store_commit(f->store, E));
    assert_ok(get_number(f->store, "k", &value, E));
    assert_int_equal(value, 0);
}

static void fill(Fixture *f, int n)
{
    for (int i = 1; i <= n; i++)
        assert_ok(commit_number(f->store, &f->garden, i, E));
    g_clear_pointer(&f->store, store_close);
}

/* The one file of the folder whose name begins with PREFIX and does not end in "-wal" or "-shm". */
static char *find_file(const Fixture *f, const char *prefix)
{
    char *found = NULL;
    g_autoptr(GDir) folder = g_dir_open(f->folder, 0, NULL);
    for (const char *name; (name = g_dir_read_name(folder)) != NULL;) {
        if (!g_str_has_prefix(name, prefix) || g_str_has_suffix(name, "-wal") ||
            g_str_has_suffix(name, "-shm"))
            continue;
        assert_null(found);
        found = g_build_filename(f->folder, name, NULL);
    }
    return found;
}

static void cut_half(char *bytes, gsize *length)
{
    (void)bytes;
    *length /= 2;
}

static void cut_inside_a_page(char *bytes, gsize *length)
{
    (void)bytes;
    *length -= 1000;
}

static void cut_to_the_header(char *bytes, gsize *length)
{
    (void)bytes;
    *length = 100;
}

static void spoil_header(char *bytes, gsize *length)
{
    (void)length;
    memset(bytes, 'x', 100);
}

static void spoil_page(char *bytes, gsize *length)
{
    for (gsize i = *length - 4096; i < *length; i++)
        bytes[i] = (char)~bytes[i];
}

static void test_damaged_files(void **state)
{
    Fixture *f = *state;
    const struct {
        const char *sentence;
        void (*damage)(char *bytes, gsize *length);
    } rows[] = {
        {"the header is not SQLite's", spoil_header},
        {"half of the file is missing", cut_half},
        {"the last page is not whole", cut_inside_a_page},
        {"only the header is left", cut_to_the_header},
        {"a page is spoilt", spoil_page},
    };
    for (size_t i = 0; i < G_N_ELEMENTS(rows); i++) {
        print_message("# %s\n", rows[i].sentence);
        fill(f, 30);
        g_autofree char *before = NULL, *after = NULL;
        gsize length = 0, kept_length = 0;
        assert_true(g_file_get_contents(f->path, &before, &length, NULL));
        rows[i].damage(before, &length);
        assert_true(g_file_set_contents(f->path, before, (gssize)length, NULL));

        g_autofree char *stamp = g_strdup_printf("broken-20260420T00000%zuZ", i);
        assert_refused(store_open(f->path, STORE_DURABLE, T0 + (int64_t)i, E) != NULL,
                       STORE_ERROR_CORRUPT, stamp);
        g_autofree char *prefix = g_strconcat("thole.db.", stamp, NULL);
        g_autofree char *aside = find_file(f, prefix);
        assert_non_null(aside);
        assert_true(g_file_get_contents(aside, &after, &kept_length, NULL));
        assert_int_equal(kept_length, length);
        assert_memory_equal(after, before, length);
        assert_false(g_file_test(f->path, G_FILE_TEST_EXISTS));

        assert_ok((f->store = store_open(f->path, STORE_DURABLE, T0, E)) != NULL);
        assert_int_equal(committed_prefix(f->store, &f->garden), 0);
    }
}

static void test_two_damaged_in_one_second(void **state)
{
    Fixture *f = *state;
    for (int i = 0; i < 2; i++) {
        g_clear_pointer(&f->store, store_close);
        assert_true(
            g_file_set_contents(f->path, "not a database, but long enough to be asked", -1, NULL));
        assert_refused(store_open(f->path, STORE_DURABLE, T0, E) != NULL, STORE_ERROR_CORRUPT,
                       i == 0 ? "broken-20260420T000000Z" : "broken-20260420T000000Z.1");
    }
}

/* The migrations as they are, and one of a tholed to come. */
static GPtrArray *with_one_more(const char *sql)
{
    GPtrArray *migrations = g_ptr_array_new();
    for (int i = 0; i < store_n_migrations; i++)
        g_ptr_array_add(migrations, (gpointer)store_migrations[i]);
    g_ptr_array_add(migrations, (gpointer)sql);
    return migrations;
}

static void test_files_that_are_not_ours(void **state)
{
    Fixture *f = *state;
    fill(f, 1);
    const int n = store_n_migrations;
    g_autoptr(GPtrArray) migrations = with_one_more("CREATE TABLE later(x INTEGER) STRICT");
    assert_ok((f->store = store_open_with(f->path, STORE_DURABLE, T0,
                                          (const char *const *)migrations->pdata, n + 1, E)) !=
              NULL);
    g_clear_pointer(&f->store, store_close);
    g_autofree char *newer = g_strdup_printf("schema %d, this one knows up to %d", n + 1, n);
    assert_refused(store_open(f->path, STORE_DURABLE, T0, E) != NULL, STORE_ERROR_NEWER, newer);

    g_autofree char *foreign = g_build_filename(f->folder, "foreign.db", NULL);
    sqlite3 *db = NULL;
    assert_int_equal(sqlite3_open(foreign, &db), SQLITE_OK);
    assert_int_equal(sqlite3_exec(db, "CREATE TABLE song(title)", NULL, NULL, NULL), SQLITE_OK);
    sqlite3_close(db);
    assert_refused(store_open(foreign, STORE_DURABLE, T0, E) != NULL, STORE_ERROR_FOREIGN,
                   "another program");

    g_autofree char *inside_a_file = g_build_filename(f->path, "thole.db", NULL);
    assert_refused(store_open(inside_a_file, STORE_DURABLE, T0, E) != NULL, STORE_ERROR_FAILED,
                   inside_a_file);
    g_autofree char *nowhere = g_build_filename(f->folder, "nowhere", "thole.db", NULL);
    assert_refused(store_open(nowhere, STORE_DURABLE, T0, E) != NULL, STORE_ERROR_FAILED, nowhere);
    assert_refused(store_open(f->folder, STORE_DURABLE, T0, E) != NULL, STORE_ERROR_FAILED,
                   f->folder);
    g_autofree char *folder_lock = g_strconcat(f->folder, ".lock", NULL);
    g_unlink(folder_lock);
}

static void test_migration_that_fails(void **state)
{
    Fixture *f = *state;
    fill(f, 5);
    g_autoptr(GPtrArray) broken =
        with_one_more("CREATE TABLE half(x INTEGER) STRICT; DROP TABLE reading;"
                      " INSERT INTO nowhere VALUES(1)");
    assert_refused(store_open_with(f->path, STORE_DURABLE, T0, (const char *const *)broken->pdata,
                                   (int)broken->len, E) != NULL,
                   STORE_ERROR_FAILED, "the old one was kept");
    assert_ok((f->store = store_open(f->path, STORE_DURABLE, T0, E)) != NULL);
    assert_int_equal(committed_prefix(f->store, &f->garden), 5);
    assert_int_equal(count(f->store, "SELECT count(*) FROM sqlite_schema WHERE name = 'half'"), 0);
    g_clear_pointer(&f->store, store_close);

    /* The copy made beforehand is a whole store of the old schema. */
    g_autofree char *kept =
        g_strdup_printf("thole.db.schema-%d-20260420T000000Z", store_n_migrations);
    g_autofree char *copy = find_file(f, kept);
    assert_non_null(copy);
    assert_ok((f->store = store_open(copy, STORE_DURABLE, T0, E)) != NULL);
    assert_int_equal(committed_prefix(f->store, &f->garden), 5);
}

static void test_a_second_tholed(void **state)
{
    Fixture *f = *state;
    assert_refused(store_open(f->path, STORE_DURABLE, T0, E) != NULL, STORE_ERROR_BUSY,
                   "in use by another tholed");
    /* Another program that writes to the file: refused at once, and possible again afterwards. */
    sqlite3 *db = NULL;
    assert_int_equal(sqlite3_open(f->path, &db), SQLITE_OK);
    assert_int_equal(sqlite3_exec(db, "BEGIN IMMEDIATE", NULL, NULL, NULL), SQLITE_OK);
    assert_refused(store_begin(f->store, E), STORE_ERROR_BUSY, "in use by another program");
    assert_refused(store_put_setting(f->store, "k", "v", E), STORE_ERROR_BUSY, f->path);
    sqlite3_close(db);
    assert_ok(commit_number(f->store, &f->garden, 1, E));
}

static void test_backup(void **state)
{
    Fixture *f = *state;
    g_autofree char *backup = g_build_filename(f->folder, "backup.db", NULL);
    g_autofree char *part = g_strconcat(backup, ".part", NULL);
    assert_ok(commit_number(f->store, &f->garden, 1, E));
    assert_true(g_file_set_contents(part, "left behind by a crash", -1, NULL));
    assert_ok(store_backup(f->store, backup, E));
    assert_ok(commit_number(f->store, &f->garden, 2, E));
    assert_ok(store_backup(f->store, backup, E));
    assert_false(g_file_test(part, G_FILE_TEST_EXISTS));

    g_autofree char *nowhere = g_build_filename(f->folder, "nowhere", "b.db", NULL);
    assert_refused(store_backup(f->store, nowhere, E), STORE_ERROR_FAILED, "store");
    assert_refused(store_backup(f->store, f->path, E), STORE_ERROR_INVALID, "the store itself");
    assert_ok(store_begin(f->store, E));
    assert_refused(store_backup(f->store, backup, E), STORE_ERROR_INVALID, "transaction");
    store_rollback(f->store);

    assert_ok(commit_number(f->store, &f->garden, 3, E));
    g_clear_pointer(&f->store, store_close);
    assert_ok((f->store = store_open(backup, STORE_DURABLE, T0, E)) != NULL);
    assert_int_equal(committed_prefix(f->store, &f->garden), 2);
}

static void test_throwaway(void **state)
{
    Fixture *f = *state;
    fill(f, 2);
    assert_ok((f->store = store_open(f->path, STORE_THROWAWAY, T0, E)) != NULL);
    assert_int_equal(count(f->store, "PRAGMA synchronous"), 0);
    assert_ok(commit_number(f->store, &f->garden, 3, E));
    reopen(f);
    assert_int_equal(count(f->store, "PRAGMA synchronous"), 2);
    assert_int_equal(count(f->store, "PRAGMA foreign_keys"), 1);
    assert_int_equal(committed_prefix(f->store, &f->garden), 3);
}

/* Bytes of a ramp state that ramp/ would use as an index beyond its array are refused. */
static void test_spoilt_ramp_state(void **state)
{
    Fixture *f = *state;
    Batch batch = a_batch("tomato-1");
    assert_ok(store_put_batch(f->store, &f->garden, &batch, T0, E));
    const char *const spoils[] = {
        "UPDATE batch SET ramp = substr(ramp, 1, length(ramp) - 8)",
        "UPDATE batch SET ramp = CAST(ramp || x'00' AS BLOB)",
        "UPDATE batch SET ramp = randomblob(length(ramp))",
        "UPDATE batch SET ramp_layout = 2",
        "UPDATE batch SET stage = 'asleep'",
    };
    for (size_t i = 0; i < G_N_ELEMENTS(spoils); i++) {
        GArray *untouched = NULL;
        assert_int_equal(sqlite3_exec(f->store->db, spoils[i], NULL, NULL, NULL), SQLITE_OK);
        assert_refused(store_load_batches(f->store, &f->garden, TRUE, &untouched, NULL, E),
                       STORE_ERROR_INVALID, "batch tomato-1");
        assert_null(untouched);
        assert_ok(store_put_batch(f->store, &f->garden, &batch, T0, E));
    }
}

int main(void)
{
#define TEST(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        TEST(test_kill_at_any_moment),
        TEST(test_full_disk),
        TEST(test_writes_that_fail_at_any_byte),
        TEST(test_transaction_ended_by_sqlite),
        TEST(test_damaged_files),
        TEST(test_two_damaged_in_one_second),
        TEST(test_files_that_are_not_ours),
        TEST(test_migration_that_fails),
        TEST(test_a_second_tholed),
        TEST(test_backup),
        TEST(test_throwaway),
        TEST(test_spoilt_ramp_state),
    };
    return cmocka_run_group_tests_name("store-faults", tests, NULL, NULL);
}

/* SPDX-License-Identifier: MIT */
/*
 * init: a first thole.conf from four answers. The daemon's program words and checks it (docs/api.md),
 * here it is only asked for and written, to a file that was not there before.
 */
#include <errno.h>
#include <fcntl.h>
#include <glib/gstdio.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "ctl/client.h"
#include "ctl/print.h"

#define ANSWER_MAX 2000 /* bytes of one answer */

/* The options and the keys that tholed knows them by. */
static const struct {
    const char *option, *key;
    bool needed;
} answers[] = {
    {"lat", "latitude", true},        {"lon", "longitude", true},
    {"own", "own", true},             {"when", "visits", true},
    {"batch", "batch", false},        {"weather", "weather", false},
    {"plot", "plot", false},          {"plot-lat", "plot-latitude", false},
    {"plot-lon", "plot-longitude", false}, {"plot-when", "plot-visits", false},
    {"travel-minutes", "travel-minutes", false},
};

/* One line from the terminal, without blanks around; NULL at its end. The caller owns it. */
static char *ask(const char *question, const char *example)
{
    char line[ANSWER_MAX];

    printf("%s\n  such as: %s\n> ", question, example);
    fflush(stdout);
    if (!fgets(line, sizeof(line), stdin))
        return NULL;
    return g_strdup(g_strstrip(line));
}

static void keep(GHashTable *given, const char *option, char *answer)
{
    if (answer && *answer)
        g_hash_table_insert(given, g_strdup(option), answer);
    else
        g_free(answer);
}

static void ask_where(GHashTable *given)
{
    g_autofree char *answer =
        ask("Where is home? Latitude and longitude in degrees.", "53.12, -2.04");
    g_auto(GStrv) parts = g_strsplit_set(answer ? answer : "", ", ", -1);
    const char *options[] = {"lat", "lon"};
    guint n = 0;

    for (guint i = 0; parts[i]; i++)
        if (*parts[i] && n < G_N_ELEMENTS(options))
            keep(given, options[n++], g_strdup(parts[i]));
}

/* What was not given as an option. */
static void ask_the_rest(GHashTable *given)
{
    if (!g_hash_table_contains(given, "lat") || !g_hash_table_contains(given, "lon"))
        ask_where(given);
    if (!g_hash_table_contains(given, "own"))
        keep(given, "own", ask("What do you own?", "sill, cold-frame 6 trays, fleece"));
    if (!g_hash_table_contains(given, "when"))
        keep(given, "when", ask("When are you there?", "07:00-08:30; 17:30-dusk"));
    if (!g_hash_table_contains(given, "batch"))
        keep(given, "batch", ask("One batch to begin with? Or nothing.", "tomato 12 sill"));
}

/* $THOLED, else beside this program, else in the path. The caller owns it. */
static char *find_tholed(void)
{
    const char *given = g_getenv("THOLED");

    if (given && *given)
        return g_strdup(given);
    g_autofree char *self = g_file_read_link("/proc/self/exe", NULL);
    g_autofree char *folder = g_path_get_dirname(self ? self : "");
    g_autofree char *beside = g_build_filename(folder, "tholed", NULL);
    return g_file_test(beside, G_FILE_TEST_IS_EXECUTABLE) ? g_steal_pointer(&beside)
                                                          : g_strdup("tholed");
}

/* The text of the file; NULL after having said why not. */
static char *make_text(GHashTable *given)
{
    g_autoptr(GPtrArray) argv = g_ptr_array_new_with_free_func(g_free);
    g_autoptr(GError) error = NULL;
    g_autofree char *text = NULL, *complaint = NULL;
    int wait_status = 0;

    g_ptr_array_add(argv, find_tholed());
    g_ptr_array_add(argv, g_strdup("--init-config"));
    for (gsize i = 0; i < G_N_ELEMENTS(answers); i++) {
        const char *value = g_hash_table_lookup(given, answers[i].option);
        if (value)
            g_ptr_array_add(argv, g_strdup_printf("%s=%s", answers[i].key, value));
    }
    g_ptr_array_add(argv, NULL);
    if (!g_spawn_sync(NULL, (char **)argv->pdata, NULL, G_SPAWN_SEARCH_PATH, NULL, NULL, &text,
                      &complaint, &wait_status, &error)) {
        print_error("tholed, which words the file, cannot be run: %s", error->message);
        return NULL;
    }
    if (!g_spawn_check_wait_status(wait_status, &error)) {
        g_strchomp(complaint);
        print_error("%s", *complaint ? complaint : error->message);
        return NULL;
    }
    return g_steal_pointer(&text);
}

static bool write_all(int fd, const char *text)
{
    for (gsize left = strlen(text); left > 0;) {
        const ssize_t n = write(fd, text, left);
        if (n < 0 && errno != EINTR)
            return false;
        text += MAX(n, 0);
        left -= (gsize)MAX(n, 0);
    }
    return fsync(fd) == 0;
}

/* Whole or not at all, and never over a file that is there: a link refuses to replace. */
static bool write_new(const char *path, const char *text)
{
    g_autofree char *folder = g_path_get_dirname(path);
    g_autofree char *part = g_strdup_printf("%s.part-%ld", path, (long)getpid());

    if (g_mkdir_with_parents(folder, 0700) != 0) {
        print_error("%s cannot be made: %s", folder, g_strerror(errno));
        return false;
    }
    const int fd = open(part, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
    if (fd < 0) {
        print_error("%s cannot be written: %s", part, g_strerror(errno));
        return false;
    }
    const bool written = write_all(fd, text);
    const bool linked = close(fd) == 0 && written && link(part, path) == 0;
    const int number = errno;
    unlink(part);
    if (linked)
        return true;
    if (number == EEXIST)
        print_error("%s is there already, and is never overwritten", path);
    else
        print_error("%s cannot be written: %s", path, g_strerror(number));
    return false;
}

static void tell_next(const char *path, const char *batch)
{
    g_autofree char *written = g_strdup_printf("Written: %s", path);

    print_wrapped(0, written);
    print_wrapped(0, "Look it over: figures that were estimated are marked. Then:");
    print_wrapped(2, "systemctl --user enable --now tholed");
    if (batch) {
        g_autofree char *add = g_strdup_printf("tholectl batch add %s", batch);
        print_wrapped(2, add);
    }
    print_wrapped(2, "tholectl");
}

WireExit run_init(const Call *call)
{
    g_autoptr(GHashTable) given = g_hash_table_new_full(g_str_hash, g_str_equal, g_free, g_free);
    const char *config = call_option(call, "config");
    g_autofree char *path = config ? g_strdup(config) : wire_default_config();

    if (g_file_test(path, G_FILE_TEST_EXISTS)) {
        print_error("%s is there already, and is never overwritten", path);
        return WIRE_EXIT_REFUSED;
    }
    for (gsize i = 0; i < G_N_ELEMENTS(answers); i++)
        keep(given, answers[i].option, g_strdup(call_option(call, answers[i].option)));
    if (isatty(STDIN_FILENO) && isatty(STDOUT_FILENO))
        ask_the_rest(given);
    for (gsize i = 0; i < G_N_ELEMENTS(answers); i++)
        if (answers[i].needed && !g_hash_table_contains(given, answers[i].option))
            return client_usage(call, "--%s is missing, and there is no terminal to ask at",
                                answers[i].option);
    g_autofree char *text = make_text(given);
    if (!text || !write_new(path, text))
        return WIRE_EXIT_REFUSED;
    tell_next(path, g_hash_table_lookup(given, "batch"));
    return WIRE_EXIT_DONE;
}

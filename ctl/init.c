/* SPDX-License-Identifier: MIT */
/*
 * init: a first thole.conf from a few answers. The daemon's program checks each and words the file
 * (docs/api.md); here they are only asked for, and it is written where no file was before.
 */
#include <errno.h>
#include <fcntl.h>
#include <glib/gstdio.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "ctl/client.h"
#include "ctl/print.h"
#include "ctl/verbs.h"

#define ANSWER_MAX 2000      /* bytes of one answer */
#define OF_THOLED "tholed: " /* how its complaints begin */

/* The options and the keys that tholed knows them by. */
static const struct {
    const char *option, *key;
    bool needed;
} answers[] = {
    {"lat", "latitude", true},
    {"lon", "longitude", true},
    {"own", "own", true},
    {"when", "visits", true},
    {"batch", "batch", false},
    {"weather", "weather", false},
    {"plot", "plot", false},
    {"plot-lat", "plot-latitude", false},
    {"plot-lon", "plot-longitude", false},
    {"plot-when", "plot-visits", false},
    {"travel-minutes", "travel-minutes", false},
};

static void keep(GHashTable *given, const char *option, char *answer)
{
    if (answer && *answer)
        g_hash_table_insert(given, g_strdup(option), answer);
    else
        g_free(answer);
}

/* ---- what tholed says of the answers ---- */

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

/*
 * What tholed prints, given the answers: the text of the file, or with `check` nothing, and then
 * what is missing does not matter. NULL and what is wrong with them in RET_COMPLAINT; NULL and
 * nothing there where tholed cannot be run, which has been said.
 */
static char *ask_tholed(GHashTable *given, bool check, char **ret_complaint)
{
    g_autoptr(GPtrArray) argv = g_ptr_array_new_with_free_func(g_free);
    g_autoptr(GError) error = NULL;
    g_autofree char *text = NULL, *complaint = NULL;
    int wait_status = 0;

    g_ptr_array_add(argv, find_tholed());
    g_ptr_array_add(argv, g_strdup("--init-config"));
    if (check)
        g_ptr_array_add(argv, g_strdup("--check"));
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
    if (g_spawn_check_wait_status(wait_status, &error))
        return g_steal_pointer(&text);
    g_strchomp(complaint);
    const char *words = *complaint ? complaint : error->message;
    *ret_complaint =
        g_strdup(g_str_has_prefix(words, OF_THOLED) ? words + strlen(OF_THOLED) : words);
    return NULL;
}

/* ---- the dialogue ---- */

typedef struct Question {
    const char *option, *text, *example;
    bool needed;
} Question;

/* One line from the terminal, without blanks around; NULL at its end. The caller owns it. */
static char *ask(const Question *question)
{
    char line[ANSWER_MAX];

    printf("%s\n  such as: %s\n> ", question->text, question->example);
    fflush(stdout);
    if (!fgets(line, sizeof(line), stdin)) {
        printf("\n");
        return NULL;
    }
    return g_strdup(g_strstrip(line));
}

/* Degrees as maps print them, "53.12°N" or "2.04 W", as a plain number. The caller owns it. */
static char *plain_degrees(const char *text)
{
    g_autofree char *number = g_strdup(text);
    const gsize length = strlen(number);
    const char letter = length > 0 ? g_ascii_toupper(number[length - 1]) : '\0';
    const char *sign = letter == 'S' || letter == 'W' ? "-" : "";

    if (letter != '\0' && strchr("NESW", letter))
        number[length - 1] = '\0';
    g_auto(GStrv) parts = g_strsplit(number, "°", 2);
    g_auto(GStrv) minus = g_strsplit(g_strstrip(parts[0]), "−", 2);
    g_autofree char *joined = g_strjoinv("-", minus);
    return g_strconcat(sign, joined, NULL);
}

/* A place on the map: under the options `lat` and `lon`; false where ANSWER is not two numbers. */
static bool keep_where(GHashTable *given, const char *lat, const char *lon, const char *answer)
{
    g_autoptr(GRegex) blanks = g_regex_new("[\\s,;]+(?![NESWnesw]\\b)", 0, 0, NULL);
    g_auto(GStrv) parts = g_regex_split(blanks, answer, 0);

    if (g_strv_length(parts) != 2)
        return false;
    keep(given, lat, plain_degrees(parts[0]));
    keep(given, lon, plain_degrees(parts[1]));
    return g_hash_table_contains(given, lat) && g_hash_table_contains(given, lon);
}

/* "at plot" names a second site. */
static void keep_plot(GHashTable *given, const char *own)
{
    g_autoptr(GRegex) at = g_regex_new("\\bat ([\\w-]+)", 0, 0, NULL);
    g_autoptr(GMatchInfo) match = NULL;

    for (g_regex_match(at, own, 0, &match); g_match_info_matches(match);
         g_match_info_next(match, NULL)) {
        g_autofree char *name = g_match_info_fetch(match, 1);
        if (strcmp(name, "home") != 0 && !g_hash_table_contains(given, "plot"))
            keep(given, "plot", g_steal_pointer(&name));
    }
}

static void print_complaint(const char *complaint)
{
    print_wrapped(2, complaint);
}

/* Whether tholed takes what was answered so far; else it is said why. */
static bool are_good(GHashTable *given, bool *ret_stop)
{
    g_autofree char *complaint = NULL, *text = ask_tholed(given, true, &complaint);

    *ret_stop = !text && !complaint;
    if (complaint)
        print_complaint(complaint);
    return text != NULL;
}

/* Asks until the answer is good; false at the end of the input, or where tholed cannot be asked. */
static bool ask_until_good(GHashTable *given, const Question *question)
{
    const bool where = g_str_has_suffix(question->option, "lat");
    const char *lon = strcmp(question->option, "lat") == 0 ? "lon" : "plot-lon";
    const bool named = g_hash_table_contains(given, "plot");
    bool stop = false;

    while (!stop && !g_hash_table_contains(given, question->option)) {
        g_autofree char *answer = ask(question);
        if (!answer)
            return false;
        if (!*answer && !question->needed)
            return true;
        if (strcmp(question->option, "travel-minutes") == 0)
            keep(given, question->option, g_strndup(answer, strcspn(answer, " m"))); /* "20 min" */
        else if (!where)
            keep(given, question->option, g_strdup(answer));
        else if (!keep_where(given, question->option, lon, answer))
            print_complaint("Two numbers are wanted, latitude and longitude, as a map shows them; "
                            "south and west are below 0.");
        if (strcmp(question->option, "own") == 0)
            keep_plot(given, answer);
        if (g_hash_table_contains(given, question->option) && !are_good(given, &stop)) {
            g_hash_table_remove(given, question->option);
            if (where)
                g_hash_table_remove(given, lon);
            if (!named)
                g_hash_table_remove(given, "plot");
        }
    }
    return !stop;
}

/* What was not given as an option. False where there is no answer. */
static bool ask_the_rest(GHashTable *given)
{
    static const Question of_home[] = {
        {"lat", "Where is home? Latitude and longitude in degrees.", "53.12, -2.04", true},
        {"own", "What do you own? Say \"at plot\" for what stands elsewhere.",
         "propagator, sill, cold-frame 6 trays at plot, bed at plot", true},
        {"when", "When are you at home, to see to the plants?", "07:00-08:30; 17:30-dusk", true}};
    static const Question of_plot[] = {
        {"plot-lat", "Where is the plot?", "53.14, -2.07", true},
        {"travel-minutes", "How many minutes does the way there take?", "20", true},
        {"plot-when", "When can you be there?", "Mon-Fri 17:30-19:30; Sat,Sun 09:00-18:00", true}};
    static const Question first_batch = {
        "batch", "One batch to begin with: crop, number, place. Or nothing.", "tomato 12 sill",
        false};

    for (gsize i = 0; i < G_N_ELEMENTS(of_home); i++)
        if (!ask_until_good(given, &of_home[i]))
            return false;
    for (gsize i = 0; g_hash_table_contains(given, "plot") && i < G_N_ELEMENTS(of_plot); i++)
        if (!ask_until_good(given, &of_plot[i]))
            return false;
    return ask_until_good(given, &first_batch);
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
    print_wrapped(2, "tholectl test-alarm");
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
    g_autofree char *complaint = NULL, *text = NULL;
    if (isatty(STDIN_FILENO) && isatty(STDOUT_FILENO)) {
        bool stop = false;
        if (!are_good(given, &stop) || !ask_the_rest(given)) {
            print_error("nothing was written");
            return WIRE_EXIT_REFUSED;
        }
    }
    for (gsize i = 0; i < G_N_ELEMENTS(answers); i++)
        if (answers[i].needed && !g_hash_table_contains(given, answers[i].option))
            return client_usage(call, "--%s is missing, and there is no terminal to ask at",
                                answers[i].option);
    text = ask_tholed(given, false, &complaint);
    if (complaint)
        print_error("%s", complaint);
    if (!text || !write_new(path, text))
        return WIRE_EXIT_REFUSED;
    tell_next(path, g_hash_table_lookup(given, "batch"));
    return WIRE_EXIT_DONE;
}

/* SPDX-License-Identifier: MIT */
/*
 * What systemd hears of us, at a socket of our own in its place: sd_notify(3) and
 * sd_watchdog_enabled(3) say what the lines mean. The whole program: supervised.sh.
 */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <errno.h>
#include <gio/gio.h>
#include <glib/gstdio.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include "base/error.h"
#include "base/supervisor.h"

typedef struct Fixture {
    char *folder, *path;
    int fd; /* the manager's end */
    GMainContext *context;
    const char *status;
} Fixture;

static int set_up(void **state)
{
    Fixture *f = g_new0(Fixture, 1);
    struct sockaddr_un address = {.sun_family = AF_UNIX};

    f->folder = g_dir_make_tmp("thole-supervisor-XXXXXX", NULL);
    f->path = g_build_filename(f->folder, "notify", NULL);
    f->context = g_main_context_new();
    f->fd = socket(AF_UNIX, SOCK_DGRAM | SOCK_NONBLOCK, 0);
    g_strlcpy(address.sun_path, f->path, sizeof(address.sun_path));
    assert_return_code(bind(f->fd, (struct sockaddr *)&address, sizeof(address)), errno);
    g_setenv("NOTIFY_SOCKET", f->path, TRUE);
    *state = f;
    return 0;
}

static int tear_down(void **state)
{
    Fixture *f = *state;

    g_unsetenv("NOTIFY_SOCKET");
    close(f->fd);
    g_main_context_unref(f->context);
    assert_return_code(g_unlink(f->path), errno);
    assert_return_code(g_rmdir(f->folder), errno);
    g_free(f->path);
    g_free(f->folder);
    g_free(f);
    return 0;
}

/* All that was told and not yet heard, a "|" behind each message. The caller owns it. */
static char *heard(const Fixture *f)
{
    GString *all = g_string_new(NULL);
    char message[4096];
    ssize_t length;

    while ((length = recv(f->fd, message, sizeof(message), 0)) >= 0) {
        g_string_append_len(all, message, length);
        g_string_append_c(all, '|');
    }
    assert_int_equal(errno, EAGAIN);
    return g_string_free(all, FALSE);
}

static void assert_heard(const Fixture *f, const char *expected)
{
    g_autofree char *all = heard(f);
    assert_string_equal(all, expected);
}

static char *status_of(gpointer fixture)
{
    return g_strdup(((const Fixture *)fixture)->status);
}

static void want_watchdog(guint64 usec)
{
    g_autofree char *pid = g_strdup_printf("%ld", (long)getpid());
    g_autofree char *text = g_strdup_printf("%" G_GUINT64_FORMAT, usec);

    g_setenv("WATCHDOG_PID", pid, TRUE);
    g_setenv("WATCHDOG_USEC", text, TRUE);
}

/* ---- what is told ---- */

static void tells_its_life(void **state)
{
    Fixture *f = *state;
    g_autoptr(Supervisor) supervisor = supervisor_new(f->context);

    supervisor_starting(supervisor, "Reading");
    assert_heard(f, "STATUS=Reading\nEXTEND_TIMEOUT_USEC=300000000|");
    f->status = "Next visit Thu 18:30";
    supervisor_ready(supervisor, status_of, f);
    assert_heard(f, "READY=1\nSTATUS=Next visit Thu 18:30\n|");
    supervisor_ready(supervisor, status_of, f);
    assert_heard(f, ""); /* nothing is new */
    f->status = "Next visit Fri 07:00";
    supervisor_ready(supervisor, status_of, f);
    assert_heard(f, "STATUS=Next visit Fri 07:00\n|");
    supervisor_reloading(supervisor);
    supervisor_ready(supervisor, status_of, f);
    assert_heard(f, "RELOADING=1|READY=1\n|");
    f->status = "one more";
    supervisor_stopping(supervisor);
    assert_heard(f, "STOPPING=1|");
}

static void a_status_is_one_line(void **state)
{
    Fixture *f = *state;
    g_autoptr(Supervisor) supervisor = supervisor_new(f->context);

    f->status = "a\nREADY=0\nMAINPID=1";
    supervisor_ready(supervisor, status_of, f);
    assert_heard(f, "READY=1\nSTATUS=a\n|");
    f->status = "b\xff\rc";
    supervisor_ready(supervisor, status_of, f);
    assert_heard(f, "STATUS=b\xef\xbf\xbd\n|");
    supervisor_starting(supervisor, "c\nREADY=0");
    assert_heard(f, "STATUS=c\nEXTEND_TIMEOUT_USEC=300000000|");
}

static void nobody_is_there(void **state)
{
    (void)state;
    g_unsetenv("NOTIFY_SOCKET");
    g_autoptr(GMainContext) context = g_main_context_new();
    g_autoptr(Supervisor) supervisor = supervisor_new(context);
    int fd = 7;

    supervisor_starting(supervisor, "Reading");
    supervisor_ready(supervisor, status_of, &(Fixture){.status = "well"});
    supervisor_reloading(supervisor);
    supervisor_stopping(supervisor);
    assert_true(supervisor_take_socket(&fd, NULL));
    assert_int_equal(fd, -1);
    supervisor_free(NULL);
}

/* ---- the watchdog ---- */

/* How long the loop would sleep, ms; -1 for ever. */
static int next_wake_ms(GMainContext *context)
{
    GPollFD fds[8];
    int timeout_ms = -1, priority;

    assert_true(g_main_context_acquire(context));
    g_main_context_prepare(context, &priority);
    g_main_context_query(context, priority, &timeout_ms, fds, G_N_ELEMENTS(fds));
    g_main_context_release(context);
    return timeout_ms;
}

static void pings_twice_in_its_time(void **state)
{
    Fixture *f = *state;

    want_watchdog(G_GUINT64_CONSTANT(2) * 3600 * G_USEC_PER_SEC);
    g_autoptr(Supervisor) supervisor = supervisor_new(f->context);
    const int wake_ms = next_wake_ms(f->context);
    assert_true(wake_ms > 3000 * 1000 && wake_ms <= 3600 * 1000); /* but for what passed since */
    assert_null(g_getenv("WATCHDOG_USEC"));

    g_autoptr(GMainContext) other = g_main_context_new();
    g_autoptr(Supervisor) without = supervisor_new(other);
    assert_int_equal(next_wake_ms(other), -1);
}

static void somebody_elses_watchdog(void **state)
{
    Fixture *f = *state;

    want_watchdog(G_USEC_PER_SEC);
    g_setenv("WATCHDOG_PID", "1", TRUE);
    g_autoptr(Supervisor) supervisor = supervisor_new(f->context);
    assert_int_equal(next_wake_ms(f->context), -1);
}

/* The loop runs in this thread, or it does not. */
static void a_stuck_loop_does_not_ping(void **state)
{
    Fixture *f = *state;

    want_watchdog(50 * 1000);
    Supervisor *supervisor = supervisor_new(f->context);
    f->status = "well";
    supervisor_ready(supervisor, status_of, f);
    g_main_context_iteration(f->context, TRUE);
    assert_heard(f, "READY=1\nSTATUS=well\n|WATCHDOG=1\n|");
    g_usleep(300 * 1000); /* stuck for six times as long */
    assert_heard(f, "");
    f->status = "well again"; /* what time alone has changed is told with a ping */
    g_main_context_iteration(f->context, TRUE);
    assert_heard(f, "WATCHDOG=1\nSTATUS=well again\n|"); /* one, what was missed is missed */
    supervisor_free(supervisor);
    assert_int_equal(next_wake_ms(f->context), -1);
}

/* Another source that is always ready does not keep the ping from its turn. */
static gboolean busy(gpointer data)
{
    (void)data;
    return G_SOURCE_CONTINUE;
}

static void a_busy_loop_pings(void **state)
{
    Fixture *f = *state;

    want_watchdog(20 * 1000);
    g_autoptr(Supervisor) supervisor = supervisor_new(f->context);
    g_autoptr(GSource) source = g_idle_source_new();
    g_source_set_priority(source, G_PRIORITY_DEFAULT);
    g_source_set_callback(source, busy, NULL, NULL);
    g_source_attach(source, f->context);
    g_autofree char *told = heard(f);
    while (strstr(told, "WATCHDOG=1") == NULL) {
        g_main_context_iteration(f->context, FALSE);
        g_free(told);
        told = heard(f);
    }
    g_source_destroy(source);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(tells_its_life, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_status_is_one_line, set_up, tear_down),
        cmocka_unit_test(nobody_is_there),
        cmocka_unit_test_setup_teardown(pings_twice_in_its_time, set_up, tear_down),
        cmocka_unit_test_setup_teardown(somebody_elses_watchdog, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_stuck_loop_does_not_ping, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_busy_loop_pings, set_up, tear_down),
    };

    return cmocka_run_group_tests_name("supervisor", tests, NULL, NULL);
}

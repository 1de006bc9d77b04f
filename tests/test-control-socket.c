/* SPDX-License-Identifier: MIT */
/* The socket of the control interface, and who may ask. */
#include "control-client.h"

#include <errno.h>
#include <fcntl.h>
#include <glib/gstdio.h>
#include <grp.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <sys/wait.h>
#include <unistd.h>

#include "base/error.h"
#include "control/control.h"

#define STRANGER_UID 65534
#define GROUP_GID 4242

/* What the wrapped functions give instead. */
static uid_t own_uid_played = (uid_t)-1;
static bool group_played;

uid_t __real_geteuid(void);
uid_t __wrap_geteuid(void);
uid_t __wrap_geteuid(void)
{
    return own_uid_played == (uid_t)-1 ? __real_geteuid() : own_uid_played;
}

struct group *__wrap_getgrnam(const char *name);
struct group *__wrap_getgrnam(const char *name)
{
    static struct group group = {.gr_gid = GROUP_GID};

    assert_string_equal(name, "thole");
    return group_played ? &group : NULL;
}

typedef struct Fixture {
    char *folder, *path;
    Control *control;
} Fixture;

static JsonNode *on_hello(const ControlRequest *request, gpointer data, GError **error)
{
    const ControlHello hello = {
        .garden = "/g/thole.conf", .is_virtual = TRUE, .now_utc = 1775995200};

    (void)data;
    return control_reject_rest(request, error) ? control_hello_node(&hello) : NULL;
}

/* ---- fixture ---- */

static Control *new_control(const Fixture *f, ControlMode mode)
{
    g_autoptr(GError) error = NULL;
    Control *control = control_new(f->path, mode, -1, &error);

    if (error)
        fail_msg("%s", error->message);
    control_add(control, "GET", "/v1/", on_hello, NULL);
    return control;
}

static int set_up(void **state)
{
    Fixture *f = g_new0(Fixture, 1);

    f->folder = g_dir_make_tmp("thole-control-XXXXXX", NULL);
    f->path = g_build_filename(f->folder, "control", NULL);
    f->control = new_control(f, CONTROL_USER);
    *state = f;
    return 0;
}

static int tear_down(void **state)
{
    Fixture *f = *state;

    control_free(f->control);
    assert_false(g_file_test(f->path, G_FILE_TEST_EXISTS));
    while (g_main_context_iteration(NULL, FALSE))
        ;
    own_uid_played = (uid_t)-1;
    group_played = false;
    assert_return_code(g_rmdir(f->folder), errno);
    g_free(f->folder);
    g_free(f->path);
    g_free(f);
    return 0;
}

/* ---- who may ask ---- */

static void knows_who_may_ask(void **state)
{
    static const struct {
        const char *sentence;
        ControlMode mode;
        uid_t peer, own;
        bool in_group, allowed;
    } rows[] = {
        {"user: the same user", CONTROL_USER, 1000, 1000, false, true},
        {"user: another one", CONTROL_USER, 1001, 1000, false, false},
        {"user: root is another one", CONTROL_USER, 0, 1000, false, false},
        {"user: the group does not count", CONTROL_USER, 1001, 1000, true, false},
        {"system: the daemon's user", CONTROL_SYSTEM, 300, 300, false, true},
        {"system: root", CONTROL_SYSTEM, 0, 300, false, true},
        {"system: a member", CONTROL_SYSTEM, 1000, 300, true, true},
        {"system: anybody else", CONTROL_SYSTEM, 1000, 300, false, false},
    };

    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++)
        if (control_peer_allowed(rows[i].mode, rows[i].peer, rows[i].own, rows[i].in_group) !=
            rows[i].allowed)
            fail_msg("%s", rows[i].sentence);
}

static void refuses_a_stranger_each_time(void **state)
{
    const Fixture *f = *state;
    g_autofree char *before = client_ask(f->path, "GET", "/v1/", "");

    own_uid_played = __real_geteuid() + 1;
    g_autofree char *refused = client_ask(f->path, "GET", "/v1/", "");
    g_autofree char *nowhere = client_ask(f->path, "GET", "/nowhere", "");
    own_uid_played = (uid_t)-1;
    assert_int_equal(client_status(before), 200);
    assert_problem(refused, 403, "forbidden", "only the user");
    assert_problem(nowhere, 403, "forbidden", "only the user");
}

/* Status of the reply that a child of another user gets; 0 where it cannot even connect. */
static int status_for_stranger(const char *path, bool member)
{
    int pipe_fds[2], status = 0;

    assert_return_code(pipe(pipe_fds), errno);
    const pid_t child = fork();
    assert_return_code(child, errno);
    if (child == 0) {
        const gid_t group = GROUP_GID;
        struct sockaddr_un address = {.sun_family = AF_UNIX};
        char reply[64] = "HTTP/1.1 0";
        const int fd = socket(AF_UNIX, SOCK_STREAM, 0);
        g_strlcpy(address.sun_path, path, sizeof(address.sun_path));
        if (setgroups(member ? 1 : 0, &group) != 0 || setgid(STRANGER_UID) != 0 ||
            setuid(STRANGER_UID) != 0)
            _exit(2);
        if (connect(fd, (struct sockaddr *)&address, sizeof(address)) == 0) {
            static const char text[] = "GET /v1/ HTTP/1.1\r\nHost: l\r\n\r\n";
            if (send(fd, text, sizeof(text) - 1, MSG_NOSIGNAL) < 0 ||
                recv(fd, reply, sizeof(reply) - 1, 0) < 12)
                _exit(2);
        }
        status = client_status(reply);
        _exit(write(pipe_fds[1], &status, sizeof(status)) == sizeof(status) ? 0 : 2);
    }
    close(pipe_fds[1]);
    assert_return_code(fcntl(pipe_fds[0], F_SETFL, O_NONBLOCK), errno);
    ssize_t n;
    while ((n = read(pipe_fds[0], &status, sizeof(status))) < 0)
        g_main_context_iteration(NULL, FALSE);
    assert_int_equal(n, sizeof(status));
    close(pipe_fds[0]);
    int ended;
    assert_int_equal(waitpid(child, &ended, 0), child);
    assert_int_equal(ended, 0);
    return status;
}

static void is_as_open_as_its_mode_says(void **state)
{
    Fixture *f = *state;
    struct stat status;

    assert_return_code(stat(f->path, &status), errno);
    assert_int_equal(status.st_mode & 07777, 0600);
    control_free(f->control);
    f->control = new_control(f, CONTROL_SYSTEM); /* no such group: root and its own user only */
    assert_return_code(stat(f->path, &status), errno);
    assert_int_equal(status.st_mode & 07777, 0600);
    if (__real_geteuid() != 0)
        return; /* only root can give the socket away, and play a stranger */
    group_played = true;
    control_free(f->control);
    f->control = new_control(f, CONTROL_SYSTEM);
    assert_return_code(stat(f->path, &status), errno);
    assert_int_equal(status.st_mode & 07777, 0660);
    assert_int_equal(status.st_gid, GROUP_GID);
    assert_return_code(g_chmod(f->folder, 0711), errno);
    assert_int_equal(status_for_stranger(f->path, true), 200);
    assert_int_equal(status_for_stranger(f->path, false), 0);
    /* Also where the file would let them in. */
    assert_return_code(g_chmod(f->path, 0666), errno);
    assert_int_equal(status_for_stranger(f->path, false), 403);
}

/* ---- the socket ---- */

static void assert_refused(const char *path, TholeError code, const char *part)
{
    g_autoptr(GError) error = NULL;

    assert_null(control_new(path, CONTROL_USER, -1, &error));
    assert_true(g_error_matches(error, THOLE_ERROR, (int)code));
    assert_non_null(strstr(error->message, part));
    assert_non_null(strstr(error->message, path));
}

static void takes_the_place_of_the_dead_only(void **state)
{
    Fixture *f = *state;
    g_autofree char *file = g_build_filename(f->folder, "file", NULL);
    g_autofree char *absent = g_build_filename(f->folder, "no", "control", NULL);
    g_autofree char *name = g_strnfill(WIRE_SOCKET_PATH_MAX - strlen(f->folder), 'x');
    g_autofree char *too_long = g_build_filename(f->folder, name, NULL);
    g_autofree char *content = NULL;

    assert_refused(f->path, THOLE_ERROR_CONFLICT, "answers there already");
    g_autofree char *still = client_ask(f->path, "GET", "/v1/", "");
    assert_int_equal(client_status(still), 200);

    assert_true(g_file_set_contents(file, "mine", -1, NULL));
    assert_refused(file, THOLE_ERROR_CONFLICT, "no socket");
    assert_true(g_file_get_contents(file, &content, NULL, NULL));
    assert_string_equal(content, "mine");
    assert_return_code(g_unlink(file), errno);

    assert_refused(absent, THOLE_ERROR_IO, "");
    assert_refused(too_long, THOLE_ERROR_LIMIT, "107");
    too_long[strlen(too_long) - 1] = '\0'; /* 107 bytes are accepted */
    g_autoptr(Control) longest = control_new(too_long, CONTROL_USER, -1, NULL);
    assert_non_null(longest);

    /* One that died leaves its socket; the next takes its place. */
    g_autofree char *dead = g_build_filename(f->folder, "dead", NULL);
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    const int fd = socket(AF_UNIX, SOCK_STREAM, 0);
    g_strlcpy(address.sun_path, dead, sizeof(address.sun_path));
    assert_return_code(bind(fd, (struct sockaddr *)&address, sizeof(address)), errno);
    close(fd);
    g_autoptr(Control) next = control_new(dead, CONTROL_USER, -1, NULL);
    assert_non_null(next);
}

static void leaves_the_sockets_of_others(void **state)
{
    Fixture *f = *state;

    /* Its own file was replaced behind its back: that one is not its to take away. */
    assert_return_code(g_unlink(f->path), errno);
    assert_true(g_file_set_contents(f->path, "", 0, NULL));
    g_clear_pointer(&f->control, control_free);
    assert_true(g_file_test(f->path, G_FILE_TEST_EXISTS));
    assert_return_code(g_unlink(f->path), errno);

    /* An inherited one stays where it is, and answers. */
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    const int fd = socket(AF_UNIX, SOCK_STREAM, 0);
    g_strlcpy(address.sun_path, f->path, sizeof(address.sun_path));
    assert_return_code(bind(fd, (struct sockaddr *)&address, sizeof(address)), errno);
    assert_return_code(listen(fd, 5), errno);
    Control *control = control_new(NULL, CONTROL_USER, fd, NULL);
    control_add(control, "GET", "/v1/", on_hello, NULL);
    g_autofree char *reply = client_ask(f->path, "GET", "/v1/", "");
    assert_int_equal(client_status(reply), 200);
    control_free(control);
    assert_true(g_file_test(f->path, G_FILE_TEST_EXISTS));
    assert_return_code(g_unlink(f->path), errno);

    g_autoptr(GError) error = NULL;
    assert_null(control_new(NULL, CONTROL_USER, open("/dev/null", O_RDONLY), &error));
    assert_non_null(error);
}

static void ends_with_connections_open(void **state)
{
    Fixture *f = *state;
    const int fd = client_open(f->path);
    char byte;

    assert_true(send(fd, "GET", 3, MSG_NOSIGNAL) == 3);
    for (int i = 0; i < 20; i++)
        g_main_context_iteration(NULL, FALSE);
    g_clear_pointer(&f->control, control_free);
    while (g_main_context_iteration(NULL, FALSE))
        ;
    assert_true(recv(fd, &byte, 1, 0) == 0 || errno == ECONNRESET);
    close(fd);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(knows_who_may_ask),
        cmocka_unit_test_setup_teardown(refuses_a_stranger_each_time, set_up, tear_down),
        cmocka_unit_test_setup_teardown(is_as_open_as_its_mode_says, set_up, tear_down),
        cmocka_unit_test_setup_teardown(takes_the_place_of_the_dead_only, set_up, tear_down),
        cmocka_unit_test_setup_teardown(leaves_the_sockets_of_others, set_up, tear_down),
        cmocka_unit_test_setup_teardown(ends_with_connections_open, set_up, tear_down),
    };

    return cmocka_run_group_tests_name("control-socket", tests, NULL, NULL);
}

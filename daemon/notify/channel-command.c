/* SPDX-License-Identifier: MIT */
/*
 * A program of the grower's, or sendmail: by its arguments, no shell, the message on its standard
 * input, in a group of processes of its own that is killed as a whole when it takes too long. What
 * it prints on standard error goes where ours goes.
 */
#include <errno.h>
#include <signal.h>
#include <string.h>
#include <sys/mman.h>
#include <sysexits.h>
#include <unistd.h>

#include "notify/channel-private.h"

/* Whatever systemd told us is not for a program of somebody else. */
static const char *const not_for_others[] = {"NOTIFY_SOCKET",  "LISTEN_PID",   "LISTEN_FDS",
                                             "LISTEN_FDNAMES", "WATCHDOG_PID", "WATCHDOG_USEC"};

typedef struct Run {
    char *program; /* (owned) for reasons */
    GSubprocess *process;
    gulong killer;
    gboolean is_sendmail;
} Run;

static void run_free(gpointer data)
{
    Run *run = data;
    g_clear_object(&run->process);
    g_free(run->program);
    g_free(run);
}

static void own_group(gpointer data)
{
    (void)data;
    setpgid(0, 0);
    signal(SIGPIPE, SIG_DFL);
}

/* It has not been waited for while it has an identifier, so the number is nobody else's. */
static void kill_all(GCancellable *cancellable, gpointer data)
{
    const Run *run = data;
    const char *pid = g_subprocess_get_identifier(run->process);
    (void)cancellable;
    if (pid != NULL)
        kill(-(pid_t)g_ascii_strtoll(pid, NULL, 10), SIGKILL);
}

/* What sysexits(3) calls the message's fault; all else may be better later. */
static gboolean is_refusal(int status)
{
    return status == EX_USAGE || status == EX_DATAERR || status == EX_NOINPUT ||
           status == EX_NOUSER || status == EX_NOHOST;
}

static ChannelResult *judge(const Run *run)
{
    if (!g_subprocess_get_if_exited(run->process))
        return channel_result_new(CHANNEL_FAILED,
                                  g_strdup_printf("%s was ended by signal %d", run->program,
                                                  g_subprocess_get_term_sig(run->process)));
    const int status = g_subprocess_get_exit_status(run->process);
    if (status == 0)
        return channel_result_new(CHANNEL_DELIVERED, NULL);
    return channel_result_new(run->is_sendmail && is_refusal(status) ? CHANNEL_REFUSED
                                                                     : CHANNEL_FAILED,
                              g_strdup_printf("%s ended with status %d", run->program, status));
}

static void ended(GObject *object, GAsyncResult *result, gpointer data)
{
    g_autoptr(GTask) task = data;
    Run *run = g_task_get_task_data(task);
    (void)g_subprocess_wait_finish(G_SUBPROCESS(object), result, NULL);
    g_cancellable_disconnect(g_task_get_cancellable(task), run->killer);
    if (!g_task_return_error_if_cancelled(task))
        g_task_return_pointer(task, judge(run), (GDestroyNotify)channel_result_free);
}

/* A file without a name that holds TEXT, to be read from its beginning; -1 and errno. */
static int hold(GBytes *text)
{
    gsize length, done = 0;
    const char *bytes = g_bytes_get_data(text, &length);
    const int fd = memfd_create("message", MFD_CLOEXEC);
    while (fd >= 0 && done < length) {
        const ssize_t n = write(fd, bytes + done, length - done);
        if (n < 0 && errno != EINTR) {
            close(fd);
            return -1;
        }
        done += n > 0 ? (gsize)n : 0;
    }
    if (fd >= 0)
        lseek(fd, 0, SEEK_SET);
    return fd;
}

static void start(GTask *task, char **words, GBytes *text, const ChannelMessage *message)
{
    Run *run = g_task_get_task_data(task);
    g_autoptr(GError) error = NULL;
    g_autoptr(GSubprocessLauncher) launcher =
        g_subprocess_launcher_new(G_SUBPROCESS_FLAGS_STDOUT_SILENCE);
    const int fd = hold(text);
    if (fd >= 0) {
        for (gsize i = 0; i < G_N_ELEMENTS(not_for_others); i++)
            g_subprocess_launcher_unsetenv(launcher, not_for_others[i]);
        g_subprocess_launcher_setenv(launcher, "THOLE_MESSAGE_ID", message->id, TRUE);
        g_subprocess_launcher_setenv(launcher, "THOLE_URGENT", message->urgent ? "yes" : "no",
                                     TRUE);
        g_subprocess_launcher_take_stdin_fd(launcher, fd);
        g_subprocess_launcher_set_child_setup(launcher, own_group, NULL, NULL);
        run->process = g_subprocess_launcher_spawnv(launcher, (const char *const *)words, &error);
    }
    if (run->process == NULL) {
        const char *why = error != NULL ? error->message : g_strerror(errno);
        g_task_return_pointer(
            task,
            channel_result_new(CHANNEL_FAILED,
                               g_strdup_printf("%s cannot be started: %s", run->program, why)),
            (GDestroyNotify)channel_result_free);
        return;
    }
    run->killer =
        g_cancellable_connect(g_task_get_cancellable(task), G_CALLBACK(kill_all), run, NULL);
    g_subprocess_wait_async(run->process, NULL, ended, g_object_ref(task));
}

static GTask *task_for(const char *program, gboolean is_sendmail, GCancellable *cancellable,
                       GAsyncReadyCallback done, gpointer data)
{
    GTask *task = g_task_new(NULL, cancellable, done, data);
    Run *run = g_new0(Run, 1);
    run->program = g_path_get_basename(program);
    run->is_sendmail = is_sendmail;
    g_task_set_check_cancellable(task, FALSE);
    g_task_set_task_data(task, run, run_free);
    return task;
}

void channel_send_command(const ChannelSetup *setup, const ChannelMessage *message, Clock *clk,
                          GCancellable *cancellable, GAsyncReadyCallback done, gpointer data)
{
    g_auto(GStrv) words = NULL;
    g_autoptr(GError) error = NULL;
    (void)clk;
    const gboolean readable = g_shell_parse_argv(setup->command, NULL, &words, &error);
    g_autoptr(GTask) task =
        task_for(readable ? words[0] : setup->name, FALSE, cancellable, done, data);
    g_autoptr(GBytes) text = channel_message_text(message);
    if (readable)
        start(task, words, text, message);
    else
        g_task_return_pointer(task, channel_result_new(CHANNEL_FAILED, g_strdup(error->message)),
                              (GDestroyNotify)channel_result_free);
}

/* -i: a line that is a dot is text; -f: who sends; --: what follows are addresses. */
void channel_send_local(const ChannelSetup *setup, const ChannelMessage *message, Clock *clk,
                        GCancellable *cancellable, GAsyncReadyCallback done, gpointer data)
{
    g_autoptr(GPtrArray) words = g_ptr_array_new();
    g_auto(GStrv) addresses = g_strsplit(setup->to, " ", -1);
    const char *const first[] = {setup->sendmail, "-i", "-f", setup->from, "--"};
    g_autoptr(GTask) task = task_for(setup->sendmail, TRUE, cancellable, done, data);
    g_autoptr(GBytes) mail = channel_message_mail(message, setup, FALSE);
    (void)clk;
    for (gsize i = 0; i < G_N_ELEMENTS(first); i++)
        g_ptr_array_add(words, (gpointer)first[i]);
    for (char **address = addresses; *address != NULL; address++)
        if (**address != '\0')
            g_ptr_array_add(words, *address);
    g_ptr_array_add(words, NULL);
    start(task, (char **)words->pdata, mail, message);
}

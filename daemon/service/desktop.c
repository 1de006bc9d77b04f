/* SPDX-License-Identifier: MIT */
#include "service/desktop.h"

#include <string.h>

#include "base/log.h"
#include "notify/notifier.h"
#include "service/api-report.h"
#include "service/desktop-wanted.h"
#include "service/event-text.h"
#include "service/post-wanted.h"
#include "service/wording-notice.h"
#include "store/store-notices.h"

#define TOPIC "desktop"
#define KEPT_S (30 * 86400) /* notices read at the start; an alarm is of the next days; chosen */
#define RECENT_S 86400      /* what was missed so lately is told by check; chosen */
#define TEST_KEY "test"
#define MESSAGE_PREFIX "message-" /* and the id of one that is no alarm */
#define ACTION_DONE "done"
#define ACTION_LATER "later"
#define ACTION_SEEN "default" /* the click on the text, by the specification */

struct Desktop {
    Service *service;   /* (unowned) */
    Notifier *notifier; /* (owned) (nullable) this run has no desktop */
    GPtrArray *memory;  /* (owned) (element-type NoticeMemory) */
    guint alarm;        /* when to look again */
    gboolean server;    /* one is there */
    char *server_text;  /* (owned) (nullable) its name, or why there is none */
    char *trouble;      /* (owned) (nullable) why the last message was not shown */
    GArray *testers;    /* (owned) (element-type Tester) */
    int64_t test_utc;   /* of the test alarm in the calendar; 0 none */
    guint test_alarm;   /* when it is over */
};

typedef struct Tester {
    char *key; /* (owned) of the message that is waited for */
    DesktopTested tested;
    gpointer data;
} Tester;

/* ---- what is kept ---- */

/* Where it cannot be kept the alarm is shown all the same: it may then come twice. */
static void keep(const Desktop *d, const NoticeMemory *m)
{
    G_STATIC_ASSERT((int)NOTICE_MISSED == (int)STORE_NOTICE_MISSED);
    g_autoptr(GError) error = NULL;
    StoreNotice notice = {.state = (StoreNoticeState)m->state,
                          .due_utc = m->due_utc,
                          .shown_utc = m->shown_utc,
                          .again_utc = m->again_utc};
    g_strlcpy(notice.key, m->key, sizeof notice.key);
    if (!store_put_notice(d->service->store, &notice, &error))
        log_warning(TOPIC, NULL, "what became of an alarm is not kept: %s, ignoring",
                    error->message);
}

static gboolean load(Desktop *d, GError **error)
{
    g_autoptr(GArray) notices = NULL;
    if (!store_load_notices(d->service->store, clock_now(d->service->clk) - KEPT_S, &notices,
                            error))
        return FALSE;
    for (guint i = 0; i < notices->len; i++) {
        const StoreNotice *notice = &g_array_index(notices, StoreNotice, i);
        NoticeMemory *m = notice_memory_new(notice->key);
        m->state = (NoticeState)notice->state;
        m->due_utc = notice->due_utc;
        m->shown_utc = notice->shown_utc;
        m->again_utc = notice->again_utc;
        g_ptr_array_add(d->memory, m);
    }
    return TRUE;
}

/* ---- to the screen ---- */

static void send(Desktop *d, const NoticeWanted *w, gboolean anew)
{
    NotifyMessage *message = notify_message_new(w->key, w->summary, w->body, w->critical);
    message->anew = anew;
    notify_message_add_action(message, ACTION_SEEN, WORDING_SEEN);
    if (w->visit_id != NULL)
        notify_message_add_action(message, ACTION_DONE, WORDING_DONE);
    if (clock_now(d->service->clk) + NOTICE_LATER_S <= w->last_utc)
        notify_message_add_action(message, ACTION_LATER, WORDING_LATER);
    notifier_show(d->notifier, message);
}

static void perform(Desktop *d, const NoticeAct *act)
{
    const NoticeWanted *w = act->wanted;
    NoticeMemory *m = act->memory;
    if (m == NULL) {
        m = notice_memory_new(w->key);
        g_ptr_array_add(d->memory, m);
    }
    if (w != NULL) {
        g_free(m->sense);
        m->sense = g_strdup(w->sense);
        g_free(m->visit_id);
        m->visit_id = g_strdup(w->visit_id);
        m->last_utc = w->last_utc;
    }
    switch (act->kind) {
    case NOTICE_SHOW:
        g_assert(w != NULL); /* what is to be shown is wanted */
        m->state = NOTICE_HANDED;
        m->this_run = TRUE;
        m->due_utc = MAX(m->due_utc, w->due_utc);
        m->again_utc = 0;
        keep(d, m); /* before it is shown: killed in between, it is not shown twice */
        send(d, w, TRUE);
        break;
    case NOTICE_REPLACE:
        g_assert(w != NULL);
        send(d, w, FALSE);
        break;
    case NOTICE_CLOSE:
        m->open = FALSE;
        notifier_close(d->notifier, m->key);
        break;
    case NOTICE_SAID:
        m->state = NOTICE_SHOWN;
        m->again_utc = 0;
        keep(d, m);
        break;
    case NOTICE_LET_GO:
        m->state = NOTICE_MISSED;
        keep(d, m);
        log_warning(TOPIC, NULL, "an alarm was never shown on the desktop: %s",
                    d->trouble != NULL ? d->trouble : "there was none");
        break;
    }
}

static void forget_old(Desktop *d, int64_t now_utc)
{
    for (guint i = d->memory->len; i-- > 0;)
        if (((const NoticeMemory *)d->memory->pdata[i])->due_utc < now_utc - KEPT_S)
            g_ptr_array_remove_index(d->memory, i);
}

static void look(gpointer data)
{
    Desktop *d = data;
    const int64_t now_utc = clock_now(d->service->clk);
    d->alarm = 0;
    forget_old(d, now_utc);
    g_autoptr(GPtrArray) wanted = desktop_wanted(d->service);
    g_autoptr(GArray) acts = notices_decide(wanted, d->memory, now_utc);
    for (guint i = 0; i < acts->len; i++)
        perform(d, &g_array_index(acts, NoticeAct, i));
    const int64_t next_utc = notices_next_utc(wanted, d->memory, now_utc);
    if (next_utc != 0 && d->alarm == 0)
        d->alarm = clock_add_alarm(d->service->clk, next_utc, look, d);
}

void desktop_look(Desktop *d)
{
    if (d == NULL || d->notifier == NULL)
        return;
    clock_remove_alarm(d->service->clk, d->alarm);
    d->alarm = clock_add_alarm(d->service->clk, clock_now(d->service->clk), look, d);
}

/* ---- from the screen ---- */

static void set_text(char **text, const char *value)
{
    char *copy = g_strdup(value);
    g_free(*text);
    *text = copy;
}

static void try_again_now(Desktop *d)
{
    for (guint i = 0; i < d->memory->len; i++) {
        NoticeMemory *m = d->memory->pdata[i];
        if (m->state == NOTICE_WAITING)
            m->retry_utc = 0;
    }
    desktop_look(d);
}

/* What the server that was there before had on the screen, or had not answered, is gone. */
static void on_server(Desktop *d, const NotifierEvent *event)
{
    const gboolean changed =
        d->server != event->server || g_strcmp0(d->server_text, event->text) != 0;
    d->server = event->server;
    set_text(&d->server_text, event->text);
    set_text(&d->trouble, event->text == NULL ? "the notification server does not answer" : NULL);
    if (changed && event->text == NULL)
        log_info(TOPIC, NULL, "%s", d->trouble);
    else if (changed && event->server)
        log_info(TOPIC, NULL, "alarms are shown by %s", event->text);
    else if (changed)
        log_info(TOPIC, NULL, "no alarms on the desktop: %s; they wait for one", event->text);
    for (guint i = 0; i < d->memory->len; i++) {
        NoticeMemory *m = d->memory->pdata[i];
        m->open = FALSE;
        if (m->state == NOTICE_HANDED && m->this_run && m->tries > 0) {
            m->state = NOTICE_WAITING;
            keep(d, m);
        }
    }
    if (event->server)
        try_again_now(d);
}

static void on_shown(Desktop *d, NoticeMemory *m, const NotifierEvent *event)
{
    const gboolean came_back = !d->server || d->trouble != NULL;
    d->server = TRUE;
    set_text(&d->server_text, event->text);
    g_clear_pointer(&d->trouble, g_free);
    if (m != NULL) {
        m->open = TRUE;
        m->tries = 0;
    }
    if (m != NULL && m->state == NOTICE_HANDED) {
        m->state = NOTICE_SHOWN;
        m->shown_utc = clock_now(d->service->clk);
        keep(d, m);
    }
    if (came_back)
        try_again_now(d);
}

static void on_not_shown(Desktop *d, NoticeMemory *m, const NotifierEvent *event)
{
    if (m != NULL && g_strcmp0(d->trouble, event->text) != 0)
        log_info(TOPIC, NULL, "an alarm could not be shown: %s; tried again %s", event->text,
                 event->server ? "later" : "when there is a desktop");
    set_text(&d->trouble, event->text);
    if (m == NULL || m->state != NOTICE_HANDED)
        return;
    m->tries++;
    if (event->kind == NOTIFIER_UNCERTAIN)
        return; /* stays handed: only another server makes sure that it is not shown twice */
    m->state = NOTICE_WAITING;
    m->retry_utc =
        event->server ? notices_retry_utc(m->tries, clock_now(d->service->clk)) : INT64_MAX;
    keep(d, m);
    desktop_look(d);
}

/* As with tholectl done, all jobs of the visit that are open. What is refused is asked again. */
static void say_done(Desktop *d, NoticeMemory *m)
{
    g_autoptr(GError) error = NULL;
    g_autofree char *key = g_strdup(m->key);
    const gboolean kept = m->visit_id != NULL && api_report_visit(d->service, m->visit_id, &error);
    if (kept) {
        m->state = NOTICE_ANSWERED;
    } else if (error != NULL) {
        log_warning(TOPIC, NULL, "a job's report was not kept: %s; its alarm is shown again",
                    error->message);
        m->state = NOTICE_WAITING;
        m->retry_utc = notices_retry_utc(1, clock_now(d->service->clk));
    }
    keep(d, m);
}

static void on_action(Desktop *d, NoticeMemory *m, const char *action)
{
    const int64_t again_utc = clock_now(d->service->clk) + NOTICE_LATER_S;
    m->open = FALSE;
    notifier_close(d->notifier, m->key);
    if (g_str_equal(action, ACTION_DONE)) {
        say_done(d, m);
    } else if (g_str_equal(action, ACTION_LATER) && again_utc <= m->last_utc) {
        m->state = NOTICE_LATER;
        m->again_utc = again_utc;
        keep(d, m);
    }
    desktop_look(d);
}

/* Those that wait for the message of that key; NULL: all. */
static void tell_testers(Desktop *d, const char *key, const char *server, const char *why_not)
{
    for (guint i = d->testers->len; i-- > 0;) {
        const Tester tester = g_array_index(d->testers, Tester, i);
        if (key != NULL && !g_str_equal(tester.key, key))
            continue;
        g_array_remove_index(d->testers, i);
        tester.tested(server, why_not, tester.data);
        g_free(tester.key);
    }
}

static void on_event(const NotifierEvent *event, gpointer data)
{
    Desktop *d = data;
    NoticeMemory *m = event->key != NULL ? notices_find(d->memory, event->key) : NULL;
    switch (event->kind) {
    case NOTIFIER_SERVER:
        on_server(d, event);
        break;
    case NOTIFIER_SHOWN:
        on_shown(d, m, event);
        tell_testers(d, event->key, event->text, NULL);
        break;
    case NOTIFIER_NOT_SHOWN:
    case NOTIFIER_UNCERTAIN:
        on_not_shown(d, m, event);
        tell_testers(d, event->key, NULL, event->text);
        break;
    case NOTIFIER_ACTION:
        if (m != NULL)
            on_action(d, m, event->text);
        break;
    case NOTIFIER_CLOSED:
        if (m != NULL)
            m->open = FALSE;
        break;
    }
}

/* ---- the test alarm ---- */

static void test_is_over(gpointer data)
{
    Desktop *d = data;
    d->test_alarm = 0;
    d->test_utc = 0;
    service_ask_plan(d->service, "test alarm is over");
}

int64_t desktop_test_utc(const Desktop *d)
{
    return d != NULL ? d->test_utc : 0;
}

/* Why nothing can be shown by this run at all; NULL where it can. */
static const char *why_never(const Desktop *d)
{
    const ServiceOptions *options = &d->service->options;
    if (options->system)
        return "the system's tholed has no desktop";
    if (d->notifier == NULL)
        return options->virtual_clock ? "a rehearsal shows nothing" : "this tholed shows nothing";
    return desktop_is_asked_for(d->service->garden) ? NULL
                                                    : "thole.conf says desktop=no for everybody";
}

int64_t desktop_begin_test(Desktop *d)
{
    Clock *clk = d->service->clk;
    d->test_utc = (clock_now(clk) + DESKTOP_TEST_AHEAD_S + 59) / 60 * 60;
    clock_remove_alarm(clk, d->test_alarm);
    d->test_alarm = clock_add_alarm(clk, d->test_utc + DESKTOP_TEST_LASTS_S, test_is_over, d);
    return d->test_utc;
}

static void wait_for(Desktop *d, const char *key, DesktopTested tested, gpointer data)
{
    const Tester tester = {g_strdup(key), tested, data};
    g_array_append_val(d->testers, tester);
}

void desktop_test(Desktop *d, DesktopTested tested, gpointer data)
{
    const WordingContext words = service_wording(d->service);
    const char *why_not = why_never(d);
    if (why_not != NULL) {
        tested(NULL, why_not, data);
        return;
    }
    wait_for(d, TEST_KEY, tested, data);
    g_autofree char *summary = wording_test_summary();
    g_autofree char *body = wording_test_notice(&words, d->test_utc);
    NotifyMessage *message = notify_message_new(TEST_KEY, summary, body, FALSE);
    message->anew = TRUE;
    notifier_show(d->notifier, message);
}

/* ---- messages that are no alarms ---- */

gboolean desktop_shows(const Desktop *d, const char *news_key)
{
    const int64_t now_utc = clock_now(d->service->clk);
    const gboolean leave = g_str_has_suffix(news_key, POST_LEAVE_SUFFIX);
    g_autofree char *key = leave ? g_strndup(news_key, strlen(news_key) - strlen(POST_LEAVE_SUFFIX))
                           : g_str_has_prefix(news_key, EVENT_ALERT_PREFIX)
                               ? g_strconcat(news_key, "/now", NULL)
                               : g_strdup(news_key);
    if (d->notifier == NULL || !d->server || d->trouble != NULL)
        return FALSE;
    g_autoptr(GPtrArray) wanted = desktop_wanted(d->service);
    for (guint i = 0; i < wanted->len; i++) {
        const NoticeWanted *w = wanted->pdata[i];
        if (g_str_equal(w->key, key) && w->due_utc <= now_utc && now_utc <= w->last_utc)
            return TRUE;
    }
    return FALSE;
}

void desktop_tell(Desktop *d, const char *id, const char *summary, const char *body,
                  gboolean critical, DesktopTested told, gpointer data)
{
    g_autofree char *key = g_strconcat(MESSAGE_PREFIX, id, NULL);
    if (d->notifier == NULL) {
        told(NULL, why_never(d), data);
        return;
    }
    wait_for(d, key, told, data);
    notifier_show(d->notifier, notify_message_new(key, summary, body, critical));
}

/* ---- how it stands ---- */

static guint count(const Desktop *d, NoticeState state, int64_t from_utc)
{
    guint n = 0;
    for (guint i = 0; i < d->memory->len; i++) {
        const NoticeMemory *m = d->memory->pdata[i];
        n += m->state == state && m->due_utc >= from_utc;
    }
    return n;
}

char *desktop_words(const Desktop *d, DesktopHealth *ret_health)
{
    const char *never = why_never(d);
    *ret_health = DESKTOP_ABSENT;
    if (never != NULL)
        return g_strdup_printf("%s; the calendar alone reminds", never);
    const guint waiting = count(d, NOTICE_WAITING, 0);
    const guint missed = count(d, NOTICE_MISSED, clock_now(d->service->clk) - RECENT_S);
    g_autoptr(GString) text = g_string_new(NULL);
    if (d->server && d->trouble == NULL)
        g_string_append_printf(text, "alarms are shown by %s", d->server_text);
    else
        g_string_append(text, d->trouble != NULL       ? d->trouble
                              : d->server_text != NULL ? d->server_text
                                                       : "not looked for yet");
    if (waiting > 0)
        g_string_append_printf(text, "; %u %s to be shown", waiting,
                               waiting == 1 ? "alarm waits" : "alarms wait");
    if (missed > 0)
        g_string_append_printf(text, "; %u of the last day could not be shown in time", missed);
    if (waiting > 0 || missed > 0 || (d->server && d->trouble != NULL))
        *ret_health = DESKTOP_TROUBLE;
    else if (d->server)
        *ret_health = DESKTOP_WELL;
    if (!d->server)
        g_string_append(text, "; the calendar alone reminds until there is one");
    return g_string_free(g_steal_pointer(&text), FALSE);
}

/* ---- life ---- */

Desktop *desktop_new(Service *service, GError **error)
{
    g_autofree Desktop *d = g_new0(Desktop, 1);
    d->service = service;
    d->memory = g_ptr_array_new_with_free_func((GDestroyNotify)notice_memory_free);
    d->testers = g_array_new(FALSE, FALSE, sizeof(Tester));
    if (!load(d, error)) {
        g_ptr_array_unref(d->memory);
        g_array_unref(d->testers);
        return NULL;
    }
    if (service->options.desktop && !service->options.system)
        d->notifier = notifier_new(service->clk, on_event, d);
    return g_steal_pointer(&d);
}

void desktop_free(Desktop *d)
{
    if (d == NULL)
        return;
    clock_remove_alarm(d->service->clk, d->alarm);
    clock_remove_alarm(d->service->clk, d->test_alarm);
    notifier_free(d->notifier);
    tell_testers(d, NULL, NULL, NULL);
    g_array_unref(d->testers);
    g_ptr_array_unref(d->memory);
    g_free(d->server_text);
    g_free(d->trouble);
    g_free(d);
}

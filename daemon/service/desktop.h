/* SPDX-License-Identifier: MIT */
/*
 * Alarms on the desktop: each alarm of the calendar at its time, and at once what no visit can do.
 * What is due is decided in notify/due.h; here it is shown, answered and kept in the store, so that
 * nothing is shown twice. Nothing here waits.
 */
#pragma once

#include <glib.h>
#include <stdint.h>

struct Service;
typedef struct Desktop Desktop;

#define DESKTOP_TEST_AHEAD_S 300 /* the test alarm in the calendar; chosen */
#define DESKTOP_TEST_LASTS_S 300 /* chosen */

/* Reads what was shown. Nothing is shown where the service has no desktop (ServiceOptions). */
Desktop *desktop_new(struct Service *service, GError **error) G_GNUC_WARN_UNUSED_RESULT;
void desktop_free(Desktop *desktop);

/* Looks, in the next turn of the loop, at what is due: the plan, the jobs or the time changed. */
void desktop_look(Desktop *desktop);

typedef enum DesktopHealth { DESKTOP_WELL, DESKTOP_ABSENT, DESKTOP_TROUBLE } DesktopHealth;

/* How it stands, in a sentence for tholectl check. The caller owns it. */
char *desktop_words(const Desktop *desktop, DesktopHealth *ret_health);

/*
 * A test alarm is in the calendar with the next plan, at the time given back, until a while after
 * it.
 */
int64_t desktop_begin_test(Desktop *desktop);

/* What came of a test: the server that showed it, or why it was not shown; both NULL: neither will
 * be known, since tholed ends. */
typedef void (*DesktopTested)(const char *server, const char *why_not, gpointer data);

/* Shows a test alarm; `tested` is called once, at once or within NOTIFIER_PATIENCE_S. */
void desktop_test(Desktop *desktop, DesktopTested tested, gpointer data);

/* Whether the desktop shows the alarm of that key by itself, now or before: desktop-wanted.h. A
 * news' key, as notify/news.h makes it, stands for the alarm that tells the same. */
gboolean desktop_shows(const Desktop *desktop, const char *news_key);

/* Shows a message that is no alarm; `told` is called once, as for a test. */
void desktop_tell(Desktop *desktop, const char *id, const char *summary, const char *body,
                  gboolean critical, DesktopTested told, gpointer data);

/* When the test alarm of the calendar is; 0 none. NULL has none. */
int64_t desktop_test_utc(const Desktop *desktop);

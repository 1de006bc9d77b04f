/* SPDX-License-Identifier: MIT */
/*
 * The desktop's notifications. A call here never waits: the work is done by a thread of its own
 * (worker.h), since libnotify's calls block for up to 25 s when the server hangs. What became of a
 * message is told by an event, in the main context that was the thread's default at the start.
 */
#pragma once

#include "base/clock.h"
#include "notify/message.h"

/* Whole seconds of the clock, so at least 3 s: then a message counts as not shown. */
#define NOTIFIER_PATIENCE_S 4

typedef enum NotifierEventKind {
    NOTIFIER_SERVER, /* a server is there, or none; the first one comes soon after the start */
    NOTIFIER_SHOWN,  /* the server has taken the message */
    NOTIFIER_NOT_SHOWN,
    NOTIFIER_UNCERTAIN, /* the server was given it and has not answered; it may show it yet */
    NOTIFIER_ACTION,    /* somebody chose an action; the message may be gone from the screen */
    NOTIFIER_CLOSED,    /* gone from the screen, and not by us */
} NotifierEventKind;

typedef struct NotifierEvent {
    NotifierEventKind kind;
    char *key; /* (owned) (nullable) of the message */
    /* (owned) (nullable) SERVER, SHOWN: the server's name and version, NULL for one that does not
     * answer; ACTION: the action's id; otherwise why not, as part of a sentence. */
    char *text;
    /* SERVER: one is there. NOT_SHOWN: a server is there, so it is worth trying again later;
     * otherwise it is once one has come. */
    gboolean server;
} NotifierEvent;

void notifier_event_free(NotifierEvent *event);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(NotifierEvent, notifier_event_free)

typedef void (*NotifierFunc)(const NotifierEvent *event, gpointer data);

typedef struct Notifier Notifier;

/* Starts the thread. The clock is held while an answer is awaited. */
Notifier *notifier_new(Clock *clk, NotifierFunc fn, gpointer data);

/*
 * Shows a message, which is taken over. SHOWN or NOT_SHOWN follows, within NOTIFIER_PATIENCE_S, or
 * UNCERTAIN, and one of the two once it is known. One of a key for which an answer is awaited is
 * dropped.
 */
void notifier_show(Notifier *notifier, NotifyMessage *message);

/* Takes a message from the screen. Nothing follows. */
void notifier_close(Notifier *notifier, const char *key);

/* Never waits for a server. What is on the screen stays there. NULL is ignored. */
void notifier_free(Notifier *notifier);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(Notifier, notifier_free)

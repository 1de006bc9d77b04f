/* SPDX-License-Identifier: MIT */
/*
 * Our words put into an object that others had in hand. Policy: what is not ours stays, and an
 * alarm that was dismissed does not ring again unless it now rings at another time (RFC 9074 §6).
 */
#include <string.h>

#include "calendar/component.h"
#include "calendar/object-private.h"
#include "calendar/object.h"

typedef struct Merging {
    const CalendarObject *theirs; /* as read */
    icalcomponent *event;         /* theirs, being changed */
    icalcomponent *fresh;         /* ours, as it would be without them */
    GArray *our_minutes;          /* of int: lead times of alarms that we wrote before */
    int64_t start_utc;            /* after the merge */
} Merging;

static void drop_properties(icalcomponent *component, icalproperty_kind kind)
{
    icalproperty *property;

    while ((property = icalcomponent_get_first_property(component, kind)) != NULL) {
        icalcomponent_remove_property(component, property);
        icalproperty_free(property);
    }
}

/* Properties of one kind: those of `from` instead of what `to` has. */
static void replace_properties(icalcomponent *to, icalcomponent *from, icalproperty_kind kind)
{
    drop_properties(to, kind);
    for (icalproperty *p = icalcomponent_get_first_property(from, kind); p != NULL;
         p = icalcomponent_get_next_property(from, kind))
        icalcomponent_add_property(to, icalproperty_new_clone(p));
}

/* ---- alarms ---- */

static gboolean has_minutes(const GArray *minutes, int wanted)
{
    for (guint i = 0; i < minutes->len; i++) {
        if (g_array_index(minutes, int, i) == wanted)
            return TRUE;
    }
    return FALSE;
}

static const char *uid_of(icalcomponent *alarm)
{
    const icalproperty *uid = icalcomponent_get_first_property(alarm, ICAL_UID_PROPERTY);
    return uid != NULL ? icalproperty_get_uid(uid) : NULL;
}

/* By its UID, or, where a client dropped those, by its lead time. */
static gboolean is_ours(const Merging *merging, icalcomponent *alarm)
{
    g_autofree char *prefix = g_strdup_printf("%s-alarm-", merging->theirs->uid);
    const char *uid = uid_of(alarm);
    int minutes;

    if (uid != NULL && g_str_has_prefix(uid, prefix))
        return TRUE;
    return icalcomponent_get_first_property(alarm, ICAL_RELATEDTO_PROPERTY) == NULL &&
           calendar_alarm_minutes(alarm, &minutes) && has_minutes(merging->our_minutes, minutes);
}

/* The alarm that rings at the same instant as `fresh`, among those that were there. */
static icalcomponent *same_alarm(const Merging *merging, GPtrArray *before, icalcomponent *fresh)
{
    int minutes, old_minutes;

    if (!calendar_alarm_minutes(fresh, &minutes))
        return NULL;
    for (guint i = 0; i < before->len; i++) {
        if (calendar_alarm_minutes(before->pdata[i], &old_minutes) &&
            merging->theirs->start_utc - 60 * (int64_t)old_minutes ==
                merging->start_utc - 60 * (int64_t)minutes)
            return before->pdata[i];
    }
    return NULL;
}

/* A snooze hangs on an alarm of ours: it goes with that alarm. */
static gboolean is_snooze(const Merging *merging, icalcomponent *alarm)
{
    const icalproperty *related = icalcomponent_get_first_property(alarm, ICAL_RELATEDTO_PROPERTY);
    const char *uid = related != NULL ? icalproperty_get_relatedto(related) : NULL;
    g_autofree char *prefix = g_strdup_printf("%s-alarm-", merging->theirs->uid);

    return uid != NULL && g_str_has_prefix(uid, prefix);
}

/* Takes the alarms of ours out; gives them. */
static GPtrArray *take_out_ours(const Merging *merging)
{
    GPtrArray *before = g_ptr_array_new_with_free_func((GDestroyNotify)icalcomponent_free);

    for (icalcomponent *a =
             icalcomponent_get_first_component(merging->event, ICAL_VALARM_COMPONENT);
         a != NULL; a = icalcomponent_get_next_component(merging->event, ICAL_VALARM_COMPONENT)) {
        if (is_ours(merging, a))
            g_ptr_array_add(before, a);
    }
    for (guint i = 0; i < before->len; i++)
        icalcomponent_remove_component(merging->event, before->pdata[i]);
    return before;
}

static void drop_snoozes(const Merging *merging)
{
    g_autoptr(GPtrArray) snoozes =
        g_ptr_array_new_with_free_func((GDestroyNotify)icalcomponent_free);

    for (icalcomponent *a =
             icalcomponent_get_first_component(merging->event, ICAL_VALARM_COMPONENT);
         a != NULL; a = icalcomponent_get_next_component(merging->event, ICAL_VALARM_COMPONENT)) {
        if (is_snooze(merging, a))
            g_ptr_array_add(snoozes, a);
    }
    for (guint i = 0; i < snoozes->len; i++)
        icalcomponent_remove_component(merging->event, snoozes->pdata[i]);
}

/* What one client keeps of dismissals and snoozes, on the event itself. */
static void drop_client_marks(icalcomponent *event)
{
    static const char *const names[] = {"X-MOZ-LASTACK", "X-MOZ-SNOOZE-TIME"};
    icalproperty *p = icalcomponent_get_first_property(event, ICAL_X_PROPERTY);

    while (p != NULL) {
        icalproperty *next = icalcomponent_get_next_property(event, ICAL_X_PROPERTY);
        const char *name = icalproperty_get_x_name(p);
        for (gsize i = 0; i < G_N_ELEMENTS(names); i++) {
            if (name != NULL && g_str_has_prefix(name, names[i])) {
                icalcomponent_remove_property(event, p);
                icalproperty_free(p);
                break;
            }
        }
        p = next;
    }
}

static void keep_acknowledgement(icalcomponent *to, icalcomponent *from)
{
    replace_properties(to, from, ICAL_ACKNOWLEDGED_PROPERTY);
    for (icalproperty *p = icalcomponent_get_first_property(from, ICAL_X_PROPERTY); p != NULL;
         p = icalcomponent_get_next_property(from, ICAL_X_PROPERTY))
        icalcomponent_add_property(to, icalproperty_new_clone(p));
}

static void merge_alarms(const Merging *merging)
{
    g_autoptr(GPtrArray) before = take_out_ours(merging);
    guint kept = 0, fresh = 0;

    for (icalcomponent *a =
             icalcomponent_get_first_component(merging->fresh, ICAL_VALARM_COMPONENT);
         a != NULL; a = icalcomponent_get_next_component(merging->fresh, ICAL_VALARM_COMPONENT)) {
        icalcomponent *old = same_alarm(merging, before, a);
        icalcomponent *copy = icalcomponent_new_clone(a);
        fresh++;
        if (old != NULL) {
            keep_acknowledgement(copy, old);
            kept++;
        }
        icalcomponent_add_component(merging->event, copy);
    }
    if (kept < fresh || before->len > fresh) {
        drop_client_marks(merging->event);
        drop_snoozes(merging);
    }
}

/* ---- times and counts ---- */

/* What belongs to a repetition that is no more: its exceptions, and the zones that none now names.
 */
static void drop_beside(icalcomponent *calendar, const icalcomponent *event,
                        icalcomponent_kind kind)
{
    icalcomponent *one = icalcomponent_get_first_component(calendar, kind);

    while (one != NULL) {
        icalcomponent *next = icalcomponent_get_next_component(calendar, kind);
        if (one != event) {
            icalcomponent_remove_component(calendar, one);
            icalcomponent_free(one);
        }
        one = next;
    }
}

static gboolean merge_times(const Merging *merging, const EventMemory *event,
                            icalcomponent *calendar)
{
    if (merging->theirs->start_utc == event->start_utc &&
        merging->theirs->end_utc == event->end_utc && !merging->theirs->repeats)
        return FALSE;
    replace_properties(merging->event, merging->fresh, ICAL_DTSTART_PROPERTY);
    replace_properties(merging->event, merging->fresh, ICAL_DTEND_PROPERTY);
    drop_properties(merging->event, ICAL_DURATION_PROPERTY);
    drop_properties(merging->event, ICAL_RRULE_PROPERTY);
    drop_properties(merging->event, ICAL_RDATE_PROPERTY);
    drop_properties(merging->event, ICAL_EXDATE_PROPERTY);
    drop_beside(calendar, merging->event, ICAL_VEVENT_COMPONENT);
    drop_beside(calendar, merging->event, ICAL_VTIMEZONE_COMPONENT);
    return TRUE;
}

static void merge_counts(const Merging *merging, const EventMemory *event, gboolean raise,
                         int64_t now_utc)
{
    icalproperty *stamp = icalcomponent_get_first_property(merging->event, ICAL_DTSTAMP_PROPERTY);
    int theirs = icalcomponent_get_sequence(merging->event);
    int64_t stamp_utc = now_utc;

    if (stamp != NULL) {
        time_t old = icaltime_as_timet_with_zone(icalproperty_get_dtstamp(stamp),
                                                 icaltimezone_get_utc_timezone());
        stamp_utc = MAX(now_utc, (int64_t)old + 1);
    }
    drop_properties(merging->event, ICAL_SEQUENCE_PROPERTY);
    drop_properties(merging->event, ICAL_DTSTAMP_PROPERTY);
    drop_properties(merging->event, ICAL_LASTMODIFIED_PROPERTY);
    icalcomponent_add_property(
        merging->event, icalproperty_new_sequence(MAX(theirs + (raise ? 1 : 0), event->sequence)));
    icalcomponent_add_property(merging->event,
                               icalproperty_new_dtstamp(calendar_instant(stamp_utc)));
    icalcomponent_add_property(merging->event,
                               icalproperty_new_lastmodified(calendar_instant(stamp_utc)));
}

static GArray *minutes_of(char *const *ours, GTimeZone *zone)
{
    GArray *all = g_array_new(FALSE, FALSE, sizeof(int));

    for (; *ours != NULL; ours++) {
        g_autoptr(CalendarObject) object = calendar_object_read(*ours, -1, zone, NULL);
        if (object != NULL && object->alarm_minutes->len > 0)
            g_array_append_vals(all, object->alarm_minutes->data, object->alarm_minutes->len);
    }
    return all;
}

char *calendar_object_merge(const char *theirs, const EventMemory *event, char *const *ours,
                            GTimeZone *zone, int64_t now_utc)
{
    static const icalproperty_kind texts[] = {
        ICAL_SUMMARY_PROPERTY,    ICAL_LOCATION_PROPERTY, ICAL_DESCRIPTION_PROPERTY,
        ICAL_CATEGORIES_PROPERTY, ICAL_STATUS_PROPERTY,   ICAL_TRANSP_PROPERTY,
    };
    icalcomponent *calendar = NULL;
    g_autoptr(CalendarObject) read = calendar_object_open(theirs, -1, zone, &calendar, NULL);
    g_autoptr(GArray) minutes = minutes_of(ours, zone);
    g_autoptr(EventMemory) copy = event_memory_copy(event);

    if (read == NULL)
        return NULL;
    g_free(copy->uid);
    copy->uid = g_strdup(read->uid);
    Merging merging = {
        .theirs = read,
        .event = calendar_object_event(calendar),
        .fresh = calendar_event_component(copy),
        .our_minutes = minutes,
        .start_utc = event->start_utc,
    };
    gboolean moved = merge_times(&merging, event, calendar);
    for (gsize i = 0; i < G_N_ELEMENTS(texts); i++)
        replace_properties(merging.event, merging.fresh, texts[i]);
    merge_alarms(&merging);
    merge_counts(&merging, event, moved || read->cancelled != event->cancelled, now_utc);
    char *text = calendar_component_text(calendar);
    icalcomponent_free(merging.fresh);
    icalcomponent_free(calendar);
    return text;
}

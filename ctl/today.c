/* SPDX-License-Identifier: MIT */
/* today and week. */
#include <math.h>
#include <string.h>

#include "ctl/print.h"
#include "ctl/read.h"
#include "ctl/show.h"
#include "ctl/verbs.h"

#define AT_RISK                                                                                    \
    0.01 /* odds of damage that are worth a word; the risk accepted where none is set              \
          */

static bool was_told(JsonObject *today, guint i)
{
    const char *text = read_text(read_item(today, "alerts", i), "text");

    for (guint k = 0; k < i; k++)
        if (g_str_equal(read_text(read_item(today, "alerts", k), "text"), text))
            return true;
    return false;
}

/* Each text once: what concerns two sites is no worse for it. */
static void show_alerts(JsonObject *today)
{
    const guint n = read_count(today, "alerts");

    for (guint i = 0; i < n; i++) {
        JsonObject *alert = read_item(today, "alerts", i);
        const double handle = read_number(alert, "handle");
        g_autofree char *number = print_number(handle, 0);
        g_autofree char *job = handle > 0 ? g_strdup_printf(" (job %s)", number) : g_strdup("");
        g_autofree char *text = g_strconcat(read_text(alert, "text"), job, NULL);
        if (!was_told(today, i))
            print_alert(read_flag(alert, "urgent") ? PRINT_ALERT : PRINT_STRONG, text);
    }
    if (n > 0)
        print_blank();
}

/* Whether plants are at stake, not just a forecast late: then nothing is to sound reassuring. */
static bool has_urgent(JsonObject *today)
{
    for (guint i = 0; i < read_count(today, "alerts"); i++) {
        JsonObject *alert = read_item(today, "alerts", i);
        if (read_flag(alert, "urgent") && !g_str_equal(read_text(alert, "kind"), "forecast"))
            return true;
    }
    return false;
}

/* The forecast of a site in words; "" where an alert has said it. */
static const char *forecast_of(JsonObject *today, JsonObject *site)
{
    const char *text = read_text(read_object(site, "forecast"), "text");

    for (guint i = 0; i < read_count(today, "alerts"); i++)
        if (g_str_equal(read_text(read_item(today, "alerts", i), "text"), text))
            return "";
    return text;
}

/* What all sites have in common is said once, else each by its name. FORECAST: else the day. The
 * caller owns it. */
static char *of_all_sites(JsonObject *today, bool forecast)
{
    const guint n = read_count(today, "sites");
    GString *text = g_string_new(NULL);
    bool same = true;

    for (int round = 0; round < 2; round++) {
        g_string_truncate(text, 0);
        for (guint i = 0; i < n; i++) {
            JsonObject *site = read_item(today, "sites", i), *first = read_item(today, "sites", 0);
            const char *own = forecast ? forecast_of(today, site) : read_text(site, "when");
            const char *other = forecast ? forecast_of(today, first) : read_text(first, "when");
            same = same && g_str_equal(own, other);
            if ((same && i > 0) || !*own)
                continue;
            g_string_append(text, text->len > 0 ? " · " : "");
            if (!same)
                g_string_append_printf(text, "%s: ", read_text(site, "name"));
            g_string_append(text, own);
        }
        if (same)
            break;
    }
    return g_string_free(text, FALSE);
}

static gint by_start(gconstpointer a, gconstpointer b)
{
    return strcmp(read_text(*(JsonObject *const *)a, "start_utc"),
                  read_text(*(JsonObject *const *)b, "start_utc"));
}

/* Whether a site has no forecast at all. */
static bool lacks_forecast(JsonObject *today)
{
    for (guint i = 0; i < read_count(today, "sites"); i++) {
        JsonObject *forecast = read_object(read_item(today, "sites", i), "forecast");
        if (g_str_equal(read_text(forecast, "quality"), "missing"))
            return true;
    }
    return false;
}

/* How safe the night is, from the odds of all batches. */
static void show_safety(JsonObject *today, GPtrArray *batches)
{
    guint known = 0, at_risk = 0;
    JsonObject *worst = NULL;

    for (guint i = 0; i < batches->len; i++) {
        const double odds = read_number(read_object(batches->pdata[i], "tonight"), "damage_odds");
        known += isfinite(odds) ? 1 : 0;
        at_risk += odds > AT_RISK ? 1 : 0;
        if (odds > AT_RISK &&
            !(worst && read_number(read_object(worst, "tonight"), "damage_odds") >= odds))
            worst = batches->pdata[i];
    }
    if (worst) {
        const char *name = read_text(worst, "name");
        const char *odds = read_text(read_object(worst, "tonight"), "odds");
        g_autofree char *who =
            at_risk > 1 ? g_strdup_printf("%u batches are at risk tonight, %s most", at_risk, name)
                        : g_strdup_printf("%s is at risk tonight", name);
        g_autofree char *line = g_strdup_printf("%s: odds of damage %s.", who, odds);
        print_wrapped(0, line);
    } else if (known > 0 && known == batches->len) {
        print_wrapped(0, lacks_forecast(today)
                             ? "No batch is at risk tonight, as far as is known without a forecast."
                             : "No batch is at risk tonight.");
    } else if (known > 0) {
        g_autofree char *line =
            g_strdup_printf("No risk tonight to %u of the %u batches; the rest is not reckoned.",
                            known, batches->len);
        print_wrapped(0, line);
    }
}

/* When somebody is needed next, in one line. */
static void show_next(JsonObject *next)
{
    const char *leave = next ? read_text(next, "leave") : "";
    const guint n_jobs = next ? read_count(next, "jobs") : 0;

    if (!next) {
        print_wrapped(0, "No visit is needed in the days ahead.");
        return;
    }
    g_autofree char *leaving = *leave ? g_strdup_printf(", leave %s", leave) : g_strdup("");
    g_autofree char *line =
        g_strdup_printf("Next needed: %s %s%s; %u %s. See: tholectl week", read_text(next, "when"),
                        read_text(next, "site"), leaving, n_jobs, n_jobs == 1 ? "job" : "jobs");
    print_wrapped(0, line);
}

static void show_visits(GPtrArray *visits, const char *day, const char *forecast)
{
    g_autofree char *dated = g_strdup_printf("Today, %s", day);
    g_autofree char *heading = show_join(" · ", dated, forecast, NULL);

    g_ptr_array_sort(visits, by_start);
    print_styled(PRINT_STRONG, 0, heading);
    for (guint i = 0; i < visits->len; i++)
        show_visit(visits->pdata[i], 2, true);
    show_how_to_report(visits);
}

/* What is fit to go on and stays, each with what keeps it. */
static void show_stays(JsonObject *object)
{
    for (guint i = 0; i < read_count(object, "stays"); i++)
        print_wrapped(0, read_text(read_item(object, "stays", i), "text"));
}

static void show_today(const Reply *reply, const Call *call)
{
    JsonObject *today = reply->object, *next = read_object(today, "next_visit");
    g_autoptr(GPtrArray) visits = g_ptr_array_new(), batches = g_ptr_array_new(),
                         homeless = g_ptr_array_new();
    g_autofree char *day = of_all_sites(today, false), *forecast = of_all_sites(today, true);

    (void)call;
    for (guint i = 0; i < read_count(today, "sites"); i++) {
        show_gather(visits, read_item(today, "sites", i), "visits");
        show_gather(batches, read_item(today, "sites", i), "batches");
    }
    show_gather(homeless, today, "homeless");
    show_alerts(today);
    if (visits->len > 0) {
        show_visits(visits, day, forecast);
        print_blank();
        show_batches(batches, read_text(today, "units"));
        show_stays(today);
        print_blank();
    } else {
        const bool urgent = has_urgent(today);
        g_autofree char *nothing =
            g_strdup_printf("%s today, %s.", urgent ? "No visit is planned" : "Nothing to do", day);
        print_styled(PRINT_STRONG, 0, nothing);
        if (batches->len + homeless->len == 0)
            print_wrapped(0, "There is no batch yet. Begin one: tholectl batch add tomato 12 sill");
        if (!urgent)
            show_safety(today, batches);
        show_stays(today);
    }
    for (guint i = 0; i < homeless->len; i++) {
        const char *name = read_text(homeless->pdata[i], "name");
        g_autofree char *line = g_strdup_printf(
            "%s has no place. Say where it stands: tholectl batch move %s PLACE", name, name);
        print_wrapped(0, line);
    }
    show_next(next);
}

WireExit run_today(const Call *call)
{
    return client_run(call, "GET", "/v1/today", NULL, show_today);
}

/* Whether WHAT of the night is an estimate: its "temperature", or by a "warning" of frost. */
static bool is_estimated(JsonObject *day, const char *what)
{
    g_autofree char *estimated = read_joined(day, "estimated", ",");
    g_auto(GStrv) words = g_strsplit(estimated, ",", -1);

    return g_strv_contains((const char *const *)words, what);
}

/* What is expected of the night. The caller owns it. */
static char *night_text(JsonObject *day, const char *units)
{
    g_autofree char *low =
        print_spread(read_number(day, "low_c"), read_number(day, "spread_k"), units);
    const char *odds = read_text(day, "odds");

    return g_strdup_printf("night %s %s%s%s%s%s", low, print_degree(units), *odds ? ", frost " : "",
                           odds, is_estimated(day, "temperature") ? "*" : "",
                           is_estimated(day, "warning") ? ", by your warning" : "");
}

/* The days from FIRST on that share its date and its night: two sites side by side. */
static guint alike(JsonObject *week, guint first, const char *night, const char *units)
{
    const char *date = read_text(read_item(week, "days", first), "date");
    guint end = first + 1;

    for (; end < read_count(week, "days"); end++) {
        JsonObject *day = read_item(week, "days", end);
        g_autofree char *own = night_text(day, units);
        if (!g_str_equal(read_text(day, "date"), date) || !g_str_equal(own, night))
            break;
    }
    return end;
}

/* What a day asks for at a site, and its greatest risk; nothing where it has neither. */
static void show_day_sum(JsonObject *day, bool with_site)
{
    JsonObject *worst = read_object(day, "worst");
    const double odds = worst ? read_number(worst, "damage_odds") : NAN;
    const guint n_visits = read_count(day, "visits");
    guint n_jobs = 0;

    for (guint i = 0; i < n_visits; i++)
        n_jobs += read_count(read_item(day, "visits", i), "jobs");
    g_autofree char *minutes = print_number(read_number(day, "minutes"), 0);
    g_autofree char *work =
        n_visits < 2
            ? g_strdup("")
            : g_strdup_printf("%u %s, %u %s, %s min", n_visits, n_visits == 1 ? "visit" : "visits",
                              n_jobs, n_jobs == 1 ? "job" : "jobs", minutes);
    g_autofree char *risk =
        odds >= AT_RISK ? g_strdup_printf("most at risk: %s, damage %s", read_text(worst, "batch"),
                                          read_text(worst, "odds"))
                        : g_strdup("");
    g_autofree char *sum = show_join("; ", work, risk, NULL);
    g_autofree char *line =
        with_site && *sum ? g_strdup_printf("%s: %s", read_text(day, "site"), sum) : g_strdup(sum);
    if (*line)
        print_wrapped(2, line);
}

static void show_week(const Reply *reply, const Call *call)
{
    const char *units = read_text(reply->object, "units");
    bool on_normals = false;

    (void)call;
    for (guint i = 0, end; i < read_count(reply->object, "days"); i = end) {
        JsonObject *day = read_item(reply->object, "days", i);
        g_autoptr(GPtrArray) visits = g_ptr_array_new();
        g_autoptr(GString) sites = g_string_new(NULL);
        g_autofree char *night = night_text(day, units);
        end = alike(reply->object, i, night, units);
        for (guint k = i; k < end; k++) {
            JsonObject *one = read_item(reply->object, "days", k);
            g_string_append_printf(sites, "%s%s", k > i ? ", " : "", read_text(one, "site"));
            show_gather(visits, one, "visits");
        }
        g_autofree char *line = show_join(" · ", read_text(day, "when"), sites->str, night, NULL);
        print_styled(PRINT_STRONG, 0, line);
        for (guint k = i; k < end; k++)
            show_day_sum(read_item(reply->object, "days", k), end - i > 1);
        g_ptr_array_sort(visits, by_start);
        for (guint k = 0; k < visits->len; k++)
            show_visit(visits->pdata[k], 2, false);
        on_normals = on_normals || is_estimated(day, "temperature");
    }
    show_stays(reply->object);
    if (on_normals)
        print_wrapped(0, "* No forecast reaches that night: what is usual for the season.");
    show_credits(reply->object);
}

WireExit run_week(const Call *call)
{
    return client_run(call, "GET", "/v1/week", NULL, show_week);
}

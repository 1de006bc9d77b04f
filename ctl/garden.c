/* SPDX-License-Identifier: MIT */
/* places, crops, weather: what the garden has, and what is expected of its air. */
#include "ctl/print.h"
#include "ctl/read.h"
#include "ctl/show.h"
#include "ctl/table.h"
#include "ctl/verbs.h"

#include <math.h>

/* Nothing where it is not known, or does not matter there. */
static char *known_temperature(JsonObject *object, const char *name, const char *units)
{
    const double value_c = read_number(object, name);

    return isfinite(value_c) ? print_temperature(value_c, units) : g_strdup("");
}

static char *known_odds(JsonObject *object, const char *name)
{
    const double odds = read_number(object, name);

    return isfinite(odds) ? print_odds(odds) : g_strdup("");
}

static void add_place(Table *table, JsonObject *place, const char *units, int site_indent)
{
    JsonObject *low = read_object(place, "low"), *high = read_object(place, "high");
    const double depth = read_number(place, "depth");
    const int indent = site_indent + (depth > 0 && depth < 20 ? 2 * (int)depth : 0);
    g_autofree char *name = g_strdup_printf("%*s%s", indent, "", read_text(place, "name"));
    const char *position = read_text(place, "position");
    g_autofree char *shown_position = *position && !read_flag(place, "position_known")
                                          ? g_strconcat(position, "?", NULL)
                                          : g_strdup(position);
    g_autofree char *used = print_number(read_number(place, "trays_used"), 0);
    const double trays = read_number(place, "trays");
    g_autofree char *all = print_number(trays, 0);
    g_autofree char *room = isfinite(trays) ? g_strdup_printf("%s/%s", used, all) : g_strdup(used);
    g_autofree char *low_text =
        print_spread(read_number(low, "value_c"), read_number(low, "spread_k"), units);
    g_autofree char *high_text = known_temperature(high, "value_c", units);

    g_autofree char *frost = print_odds(read_number(place, "leaf_frost_odds"));
    g_autofree char *allowed = known_temperature(place, "allowed_low_c", units);
    g_autofree char *heat = known_odds(place, "heat_odds");

    table_row(table, name, shown_position, room, low_text, allowed,
              read_flag(place, "indoors") ? "" : frost, high_text, heat,
              read_text(place, "rests_on"));
}

static bool is_one_site(JsonObject *reply)
{
    for (guint i = 1; i < read_count(reply, "places"); i++)
        if (!g_str_equal(read_text(read_item(reply, "places", i), "site"),
                         read_text(read_item(reply, "places", 0), "site")))
            return false;
    return true;
}

/* What readings have taught, a line each. */
static void show_learned(JsonObject *holder)
{
    for (guint i = 0; i < read_count(holder, "learned"); i++)
        print_wrapped(0, read_text(read_item(holder, "learned", i), "text"));
}

/* What warms a place, or opens it. */
static void show_devices(JsonObject *reply)
{
    for (guint i = 0; i < read_count(reply, "places"); i++) {
        JsonObject *place = read_item(reply, "places", i);
        g_autofree char *head = g_strconcat(read_text(place, "name"), ":", NULL);
        if (*read_text(place, "devices"))
            print_hanging(0, head, read_text(place, "devices"));
    }
}

/* Covers that stay shut too long, a line each. */
static void show_damp(JsonObject *place)
{
    if (*read_text(place, "damp") != '\0')
        print_wrapped(0, read_text(place, "damp"));
}

/* Batches that wait for room, a line each. */
static void show_waits(JsonObject *place)
{
    for (guint i = 0; i < read_count(place, "waits"); i++)
        print_wrapped(0, read_text(read_item(place, "waits", i), "text"));
}

/* Under the name of their site, where there are several. */
static void show_places(const Reply *reply, const Call *call)
{
    const char *units = read_text(reply->object, "units"), *site = NULL;
    g_autofree char *low = g_strdup_printf(">Low %s", print_degree(units));
    Table *table = table_new("~Place", "=~Cover", ">Trays", low, ">Allowed", ">Frost", ">Noon",
                             ">Heat", "~Rests on", NULL);
    const bool one_site = is_one_site(reply->object);
    bool doubtful = false;

    (void)call;
    if (*read_text(reply->object, "headline") != '\0')
        print_wrapped(0, read_text(reply->object, "headline"));
    for (guint i = 0; i < read_count(reply->object, "places"); i++) {
        JsonObject *place = read_item(reply->object, "places", i);
        const char *own = read_text(place, "site");
        if (!one_site && (!site || !g_str_equal(site, own)))
            table_row(table, own, "", "", "", "", "", "", "", "");
        site = own;
        add_place(table, place, units, one_site ? 0 : 2);
        doubtful =
            doubtful || (*read_text(place, "position") && !read_flag(place, "position_known"));
    }
    table_print(table, 0);
    print_wrapped(0,
                  "Frost: odds of it on leaves in the next night; heat: of air too hot for them at "
                  "noon; covers as planned. Allowed: for plants as hard as now.");
    show_devices(reply->object);
    for (guint i = 0; i < read_count(reply->object, "places"); i++)
        show_learned(read_item(reply->object, "places", i));
    for (guint i = 0; i < read_count(reply->object, "places"); i++)
        show_damp(read_item(reply->object, "places", i));
    for (guint i = 0; i < read_count(reply->object, "places"); i++)
        show_waits(read_item(reply->object, "places", i));
    if (doubtful)
        print_wrapped(0, "? as planned; nobody has said that it was done.");
}

WireExit run_places(const Call *call)
{
    return client_run(call, "GET", "/v1/places", NULL, show_places);
}

static char *figure_text(JsonObject *figure, const char *units)
{
    const char *unit = read_text(figure, "unit"), *text = read_text(figure, "text");
    const double value = read_number(figure, "value");

    if (*text)
        return g_strdup(text);
    if (g_str_equal(unit, "°C")) {
        g_autofree char *degrees = print_temperature(value, units);
        return g_strdup_printf("%s %s", degrees, print_degree(units));
    }
    g_autofree char *number = print_number(value, value == floor(value) ? 0 : 1);
    return g_strdup_printf("%s %s", number, unit);
}

/* The place of a published source in the list below the figures, from 1; it is added where new. */
static guint source_place(GPtrArray *listed, JsonObject *figure)
{
    const char *source = read_text(figure, "source");

    for (guint i = 0; i < listed->len; i++)
        if (g_str_equal(read_text(listed->pdata[i], "source"), source))
            return i + 1;
    g_ptr_array_add(listed, figure);
    return listed->len;
}

static void show_crop(JsonObject *crop, const char *units)
{
    Table *table = table_new("~Figure", ">Value", "~Source", NULL);
    g_autoptr(GPtrArray) listed = g_ptr_array_new();

    print_styled(PRINT_STRONG, 0, read_text(crop, "title"));
    for (guint k = 0; k < read_count(crop, "figures"); k++) {
        JsonObject *figure = read_item(crop, "figures", k);
        g_autofree char *value = figure_text(figure, units);
        g_autofree char *source =
            *read_text(figure, "title")
                ? g_strdup_printf("[%u]%s", source_place(listed, figure),
                                  read_flag(figure, "derived") ? ", derived" : "")
                : g_strdup(read_text(figure, "source"));
        table_row(table, read_text(figure, "meaning"), value, source);
    }
    table_print(table, 2);
    for (guint i = 0; i < listed->len; i++) {
        g_autofree char *mark = g_strdup_printf("[%u]", i + 1);
        g_autofree char *told = g_strdup_printf("%s (%s)", read_text(listed->pdata[i], "title"),
                                                read_text(listed->pdata[i], "source"));
        print_hanging(2, mark, told);
    }
}

/* The names of the crops of one group, under its heading; nothing where there are none. */
static void show_group(JsonObject *reply, const char *group, const char *heading)
{
    g_autoptr(GString) names = g_string_new(NULL);

    for (guint i = 0; i < read_count(reply, "crops"); i++) {
        JsonObject *crop = read_item(reply, "crops", i);
        if (g_str_equal(read_text(crop, "group"), group))
            g_string_append_printf(names, "%s%s", names->len > 0 ? ", " : "",
                                   read_text(crop, "name"));
    }
    if (names->len == 0)
        return;
    print_styled(PRINT_STRONG, 0, heading);
    print_wrapped(2, names->str);
}

/* What share of the figures has a published source. */
static void show_shares(JsonObject *reply)
{
    g_autoptr(GString) all = g_string_new(NULL);
    g_autoptr(GString) main_kinds = g_string_new(NULL);

    for (guint i = 0; i < read_count(reply, "shares"); i++) {
        JsonObject *share = read_item(reply, "shares", i);
        const char *group = read_text(share, "group"), *comma = i > 0 ? ", " : "";
        const char *plural = g_str_equal(group, "all") ? "" : "s";
        g_autofree char *whole = print_number(read_number(share, "published_pct"), 0);
        g_autofree char *part = print_number(read_number(share, "main_published_pct"), 0);
        g_string_append_printf(all, "%s%s%s %s%%", comma, group, plural, whole);
        g_string_append_printf(main_kinds, "%s%s%s %s%%", comma, group, plural, part);
    }
    if (all->len == 0)
        return;
    g_autofree char *told =
        g_strdup_printf("Figures with a published source: %s. Of growing-on temperatures, "
                        "germination, soil temperature and frost class: %s.",
                        all->str, main_kinds->str);
    print_wrapped(0, told);
}

static void show_crops(const Reply *reply, const Call *call)
{
    const guint n = read_count(reply->object, "crops");

    if (call->n_args > 0 && n == 1) {
        show_crop(read_item(reply->object, "crops", 0), read_text(reply->object, "units"));
        return;
    }
    show_group(reply->object, "vegetable", "Vegetables");
    show_group(reply->object, "herb", "Herbs");
    show_group(reply->object, "flower", "Flowers");
    print_wrapped(0, "The figures of one: tholectl crops CROP");
    if (call->n_args == 0)
        show_shares(reply->object);
}

WireExit run_crops(const Call *call)
{
    g_autofree char *path = call->n_args == 0 ? g_strdup("/v1/crops")
                                              : client_path("/v1/crops?name={name}", call->args[0]);

    return client_run(call, "GET", path, NULL, show_crops);
}

#define NIGHTS_UNDER_COVER 3 /* shown place by place; the rest is in --json */

/* "lettuce-1 12%": of those who stand there, the one with most to fear. */
static char *worst_text(JsonObject *place)
{
    const char *name = "";
    double most = -1;

    for (guint i = 0; i < read_count(place, "batches"); i++) {
        JsonObject *batch = read_item(place, "batches", i);
        const double odds = read_number(batch, "damage_odds");
        if (odds > most) {
            most = odds;
            name = read_text(batch, "batch");
        }
    }
    g_autofree char *odds = print_odds(most);
    return most >= 0 ? g_strdup_printf("%s %s", name, odds) : g_strdup("");
}

static void show_under_cover(JsonObject *reply, const char *units)
{
    g_autofree char *low = g_strdup_printf(">Low %s", print_degree(units));
    Table *table = table_new("Night", "=~Place", low, ">Leaves", ">Allowed", ">Frost", "~Damage",
                             ">Heat after", NULL);
    gboolean any = FALSE;

    for (guint i = 0; i < read_count(reply, "nights") && i < NIGHTS_UNDER_COVER; i++) {
        JsonObject *night = read_item(reply, "nights", i);
        for (guint k = 0; k < read_count(night, "places"); k++) {
            JsonObject *place = read_item(night, "places", k);
            g_autofree char *value =
                print_spread(read_number(place, "low_c"), read_number(place, "spread_k"), units);
            g_autofree char *leaf = print_temperature(read_number(place, "leaf_low_c"), units);
            g_autofree char *frost = print_odds(read_number(place, "leaf_frost_odds"));
            g_autofree char *worst = worst_text(place);
            g_autofree char *allowed = known_temperature(place, "allowed_low_c", units);
            g_autofree char *heat = known_odds(place, "heat_odds");
            table_row(table, k == 0 ? read_text(night, "when") : "", read_text(place, "place"),
                      value, leaf, allowed, frost, worst, heat);
            any = TRUE;
        }
    }
    if (any)
        print_styled(PRINT_STRONG, 0,
                     "Place by place, covers as planned; frost: on leaves; plants as hard as now");
    table_print(table, 0);
}

/* "2–4": the mean, and the largest gust where it is known. */
static char *wind_text(JsonObject *night)
{
    const double gust_ms = read_number(night, "gust_ms");
    g_autofree char *wind = print_number(read_number(night, "wind_ms"), 0);
    g_autofree char *gust = print_number(gust_ms, 0);

    return isfinite(gust_ms) ? g_strdup_printf("%s–%s", wind, gust) : g_strdup(wind);
}

/* "day 2" of the forecast, "normals", "warning". */
static char *basis_text(JsonObject *night)
{
    const double day = read_number(night, "lead_day");

    return g_str_equal(read_text(night, "basis"), "forecast") && isfinite(day)
               ? g_strdup_printf("day %.0f", day)
               : g_strdup(read_text(night, "basis"));
}

static void show_weather(const Reply *reply, const Call *call)
{
    const char *units = read_text(reply->object, "units");
    g_autofree char *low = g_strdup_printf(">Low %s", print_degree(units));
    g_autofree char *heading =
        show_join(" · ", read_text(reply->object, "site"), read_text(reply->object, "text"), NULL);
    Table *table = table_new("Night", low, "At", ">Frost", ">Noon after", "Sky", ">Wind m/s",
                             ">Rain mm", "~Forecast", NULL);

    (void)call;
    print_styled(PRINT_STRONG, 0, heading);
    if (*read_text(reply->object, "headline") != '\0')
        print_wrapped(0, read_text(reply->object, "headline"));
    print_wrapped(0, read_text(read_object(reply->object, "second_opinion"), "text"));
    for (guint i = 0; i < read_count(reply->object, "nights"); i++) {
        JsonObject *night = read_item(reply->object, "nights", i);
        g_autofree char *value =
            print_spread(read_number(night, "low_c"), read_number(night, "spread_k"), units);
        g_autofree char *basis = basis_text(night);
        g_autofree char *wind = wind_text(night);
        g_autofree char *frost = print_odds(read_number(night, "frost_odds"));
        g_autofree char *noon =
            print_spread(read_number(night, "high_c"), read_number(night, "high_spread_k"), units);
        g_autofree char *rain = print_number(read_number(night, "rain_mm"), 0);
        table_row(table, read_text(night, "when"), value, read_text(night, "low_when"), frost, noon,
                  read_text(night, "sky"), wind, rain, basis);
    }
    table_print(table, 0);
    show_under_cover(reply->object, units);
    show_learned(reply->object);
    print_wrapped(0, read_text(reply->object, "visit_minutes"));
    if (*read_text(reply->object, "estimates") != '\0')
        print_wrapped(0, read_text(reply->object, "estimates"));
    g_autofree char *source = g_strdup_printf("Source: %s", read_text(reply->object, "source"));
    print_wrapped(0, source);
    show_credits(reply->object);
}

WireExit run_weather(const Call *call)
{
    g_autofree char *path = client_path("/v1/weather/{site}", call->args[0]);

    return client_run(call, "GET", path, NULL, show_weather);
}

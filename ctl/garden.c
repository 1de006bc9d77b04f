/* SPDX-License-Identifier: MIT */
/* places, crops, weather: what the garden has, and what is expected of its air. */
#include "ctl/print.h"
#include "ctl/read.h"
#include "ctl/show.h"
#include "ctl/table.h"

#include <math.h>

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
    g_autofree char *high_text =
        print_spread(read_number(high, "value_c"), read_number(high, "spread_k"), units);

    table_row(table, name, read_text(place, "kind"), shown_position, room, low_text, high_text,
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

/* Under the name of their site, where there are several. */
static void show_places(const Reply *reply, const Call *call)
{
    const char *units = read_text(reply->object, "units"), *site = NULL;
    g_autofree char *low = g_strdup_printf(">Low %s", print_degree(units));
    Table *table =
        table_new("~Place", "~Kind", "~Cover", ">Trays", low, ">Noon", "~Rests on", NULL);
    const bool one_site = is_one_site(reply->object);
    bool doubtful = false;

    (void)call;
    for (guint i = 0; i < read_count(reply->object, "places"); i++) {
        JsonObject *place = read_item(reply->object, "places", i);
        const char *own = read_text(place, "site");
        if (!one_site && (!site || !g_str_equal(site, own)))
            table_row(table, own, "", "", "", "", "", "");
        site = own;
        add_place(table, place, units, one_site ? 0 : 2);
        doubtful =
            doubtful || (*read_text(place, "position") && !read_flag(place, "position_known"));
    }
    table_print(table, 0);
    if (doubtful)
        print_wrapped(0, "? as planned; nobody has said that it was done.");
}

WireExit run_places(const Call *call)
{
    return client_run(call, "GET", "/v1/places", NULL, show_places);
}

static char *figure_text(JsonObject *figure, const char *units)
{
    const char *unit = read_text(figure, "unit");
    const double value = read_number(figure, "value");

    if (g_str_equal(unit, "°C")) {
        g_autofree char *degrees = print_temperature(value, units);
        return g_strdup_printf("%s %s", degrees, print_degree(units));
    }
    g_autofree char *number = print_number(value, value == floor(value) ? 0 : 1);
    return g_strdup_printf("%s %s", number, unit);
}

static void show_crops(const Reply *reply, const Call *call)
{
    const guint n = read_count(reply->object, "crops");

    if (call->n_args == 0) {
        g_autoptr(GString) names = g_string_new(NULL);
        for (guint i = 0; i < n; i++)
            g_string_append_printf(names, "%s%s", i > 0 ? ", " : "",
                                   read_text(read_item(reply->object, "crops", i), "name"));
        print_wrapped(0, names->str);
        print_wrapped(0, "The figures of one: tholectl crops CROP");
        return;
    }
    for (guint i = 0; i < n; i++) {
        JsonObject *crop = read_item(reply->object, "crops", i);
        Table *table = table_new("~Figure", ">Value", "~Source", NULL);
        print_styled(PRINT_STRONG, 0, read_text(crop, "title"));
        for (guint k = 0; k < read_count(crop, "figures"); k++) {
            JsonObject *figure = read_item(crop, "figures", k);
            g_autofree char *value = figure_text(figure, read_text(reply->object, "units"));
            table_row(table, read_text(figure, "meaning"), value, read_text(figure, "source"));
        }
        table_print(table, 2);
    }
}

WireExit run_crops(const Call *call)
{
    g_autofree char *path = call->n_args == 0 ? g_strdup("/v1/crops")
                                              : client_path("/v1/crops?name={name}", call->args[0]);

    return client_run(call, "GET", path, NULL, show_crops);
}

static void show_weather(const Reply *reply, const Call *call)
{
    const char *units = read_text(reply->object, "units");
    g_autofree char *low = g_strdup_printf(">Low %s", print_degree(units));
    g_autofree char *heading =
        show_join(" · ", read_text(reply->object, "site"), read_text(reply->object, "text"), NULL);
    Table *table = table_new("Night", low, "At", "~Frost", ">Cloud %", ">Wind m/s", ">Gust",
                             ">Rain mm", "~From", NULL);

    (void)call;
    print_styled(PRINT_STRONG, 0, heading);
    for (guint i = 0; i < read_count(reply->object, "nights"); i++) {
        JsonObject *night = read_item(reply->object, "nights", i);
        g_autofree char *value =
            print_spread(read_number(night, "low_c"), read_number(night, "spread_k"), units);
        g_autofree char *cloud = print_number(read_number(night, "cloud_pct"), 0);
        g_autofree char *wind = print_number(read_number(night, "wind_ms"), 0);
        g_autofree char *gust = print_number(read_number(night, "gust_ms"), 0);
        g_autofree char *rain = print_number(read_number(night, "rain_mm"), 0);
        table_row(table, read_text(night, "when"), value, read_text(night, "low_when"),
                  read_text(night, "odds"), cloud, wind, gust, rain, read_text(night, "basis"));
    }
    table_print(table, 0);
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

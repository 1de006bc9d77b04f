/* SPDX-License-Identifier: MIT */
/*
 * Strict on purpose: a slipped column or a decimal comma would plan a frost that is none, or miss
 * one. The first fault refuses the whole table, and whoever asked keeps the forecast held before.
 */
#include "weather/csv.h"

#include <math.h>
#include <string.h>

#include "base/error.h"
#include "base/local-time.h"
#include "weather/csv-line.h"
#include "weather/fields.h"

#define S_PER_H 3600
#define DEW_POINT_EXCESS_K 0.5 /* dew point above temperature by rounding; chosen */

/* What a field of a line is: a WeatherFieldKind, or one of these. */
enum { COLUMN_TIME = -1, COLUMN_ISSUED = -2, COLUMN_SITE = -3, COLUMN_UNKNOWN = -4 };

/* One row, with its line for errors found later. */
typedef struct Row {
    WeatherHour hour;
    guint line;
} Row;

/* The rows of one site and issue. */
typedef struct Block {
    char *site; /* (owned) */
    int64_t issued_utc;
    GArray *rows;  /* (owned) (element-type Row) */
    guint offsets; /* negative radiation taken as 0 */
} Block;

typedef struct Parser {
    const char *name;
    guint line, n_rows;
    int64_t modified_utc;
    int n_fields;
    int kinds[CSV_FIELDS_MAX];
    GHashTable *blocks; /* (owned) (element-type utf8 Block) by site and issue */
    Block *last;        /* of the row before: rows mostly come in blocks; owned by `blocks` */
} Parser;

static void block_free(gpointer data)
{
    Block *block = data;
    g_free(block->site);
    g_array_unref(block->rows);
    g_free(block);
}

static void parser_clear(Parser *parser)
{
    g_clear_pointer(&parser->blocks, g_hash_table_unref);
}
G_DEFINE_AUTO_CLEANUP_CLEAR_FUNC(Parser, parser_clear)

/* The whole line is at fault. */
static gboolean refuse_line(const Parser *parser, const char *wrong, const char *accepted,
                            GError **error)
{
    g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID, "%s:%u: %s; accepted %s", parser->name,
                parser->line, wrong, accepted);
    return FALSE;
}

static gboolean refuse(const Parser *parser, const char *column, const char *value,
                       const char *wrong, const char *accepted, GError **error)
{
    g_autofree char *shown = csv_shown(value);
    g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID, "%s:%u: %s=%s: %s; accepted %s",
                parser->name, parser->line, column, shown, wrong, accepted);
    return FALSE;
}

static int column_kind(const char *name)
{
    for (int i = 0; i < WEATHER_FIELDS; i++)
        if (strcmp(name, weather_fields[i].name) == 0)
            return i;
    if (strcmp(name, "time") == 0)
        return COLUMN_TIME;
    if (strcmp(name, "issued") == 0)
        return COLUMN_ISSUED;
    return strcmp(name, "site") == 0 ? COLUMN_SITE : COLUMN_UNKNOWN;
}

static gboolean has_column(const Parser *parser, int kind)
{
    for (int i = 0; i < parser->n_fields; i++)
        if (parser->kinds[i] == kind)
            return TRUE;
    return FALSE;
}

static gboolean parse_header(Parser *parser, char *line, GError **error)
{
    const char *known = "time, temperature_c, dew_point_c, cloud_pct, wind_ms, gust_ms, "
                        "radiation_wm2, precipitation_mm, issued, site";
    char *fields[CSV_FIELDS_MAX];
    const char *wrong;
    int n = csv_split(line, fields, &wrong);
    if (n < 0)
        return refuse_line(parser, wrong, known, error);
    for (int i = 0; i < n; i++) {
        int kind = column_kind(fields[i]);
        if (kind == COLUMN_UNKNOWN)
            return refuse(parser, "column", fields[i], "not known", known, error);
        if (has_column(parser, kind))
            return refuse(parser, "column", fields[i], "named twice", "each column once", error);
        parser->kinds[i] = kind;
        parser->n_fields = i + 1;
    }
    if (!has_column(parser, COLUMN_TIME))
        return refuse_line(parser, "no column time", known, error);
    if (!has_column(parser, column_kind("temperature_c")))
        return refuse_line(parser, "no column temperature_c", known, error);
    return TRUE;
}

static gboolean parse_number(const Parser *parser, const WeatherField *column, const char *text,
                             WeatherHour *hour, GError **error)
{
    double value = NAN;
    if (*text != '\0') {
        if (!csv_number(text, &value))
            return refuse(parser, column->name, text, "not a number", column->accepted, error);
        if (value < column->low || value > column->high)
            return refuse(parser, column->name, text, "not plausible", column->accepted, error);
    }
    *(double *)(void *)((char *)hour + column->offset) = value;
    return TRUE;
}

static gboolean parse_time(const Parser *parser, const char *text, WeatherHour *hour,
                           GError **error)
{
    const char *accepted = "a full hour in UTC like 2026-05-04T18:00:00Z";
    if (!csv_time(text, &hour->time_utc))
        return refuse(parser, "time", text, "not a time", accepted, error);
    if (hour->time_utc % S_PER_H != 0)
        return refuse(parser, "time", text, "not on the hour", accepted, error);
    return TRUE;
}

/* The block that the row belongs to, made where it is the first. */
static Block *find_block(Parser *parser, const char *site, int64_t issued_utc)
{
    Block *block = parser->last;
    if (block != NULL && block->issued_utc == issued_utc && strcmp(block->site, site) == 0)
        return block;
    g_autofree char *key = g_strdup_printf("%" G_GINT64_FORMAT " %s", issued_utc, site);
    block = g_hash_table_lookup(parser->blocks, key);
    if (block == NULL) {
        block = g_new0(Block, 1);
        block->site = g_strdup(site);
        block->issued_utc = issued_utc;
        block->rows = g_array_new(FALSE, FALSE, sizeof(Row));
        g_hash_table_insert(parser->blocks, g_steal_pointer(&key), block);
    }
    parser->last = block;
    return block;
}

static gboolean check_row(const Parser *parser, const WeatherHour *hour, const char *dew_point,
                          GError **error)
{
    if (hour->dew_point_c > hour->temperature_c + DEW_POINT_EXCESS_K) {
        g_autofree char *accepted =
            g_strdup_printf("at most the row's temperature_c and %.1f K", DEW_POINT_EXCESS_K);
        return refuse(parser, "dew_point_c", dew_point, "above the temperature", accepted, error);
    }
    return TRUE;
}

static gboolean parse_row(Parser *parser, char *line, GError **error)
{
    char *fields[CSV_FIELDS_MAX];
    const char *wrong;
    int n = csv_split(line, fields, &wrong);
    if (n < 0)
        return refuse_line(parser, wrong, "plain fields with commas between them", error);
    if (n != parser->n_fields) {
        g_autofree char *count = g_strdup_printf("%d fields", n);
        g_autofree char *accepted =
            g_strdup_printf("%d, as the first line names them", parser->n_fields);
        return refuse_line(parser, count, accepted, error);
    }
    Row row = {.hour = weather_hour_missing(0), .line = parser->line};
    const char *site = "", *dew_point = "";
    int64_t issued_utc = parser->modified_utc;
    for (int i = 0; i < n; i++) {
        int kind = parser->kinds[i];
        if (kind == COLUMN_SITE) {
            site = fields[i];
            if (strlen(site) >= NAME_SIZE)
                return refuse(parser, "site", site, "too long", "at most 47 bytes", error);
        } else if (kind == COLUMN_TIME) {
            if (!parse_time(parser, fields[i], &row.hour, error))
                return FALSE;
        } else if (kind == COLUMN_ISSUED) {
            if (*fields[i] != '\0' && !csv_time(fields[i], &issued_utc))
                return refuse(parser, "issued", fields[i], "not a time",
                              "a time in UTC like 2026-05-04T18:00:00Z", error);
        } else {
            if (!parse_number(parser, &weather_fields[kind], fields[i], &row.hour, error))
                return FALSE;
            if (kind == WEATHER_DEW_POINT)
                dew_point = fields[i];
        }
    }
    if (!check_row(parser, &row.hour, dew_point, error))
        return FALSE;
    Block *block = find_block(parser, site, issued_utc);
    if (row.hour.radiation_wm2 < 0) {
        row.hour.radiation_wm2 = 0;
        block->offsets++;
    }
    g_array_append_val(block->rows, row);
    return TRUE;
}

static gint compare_rows(gconstpointer a, gconstpointer b)
{
    const Row *one = a, *other = b;
    if (one->hour.time_utc != other->hour.time_utc)
        return one->hour.time_utc < other->hour.time_utc ? -1 : 1;
    return one->line < other->line ? -1 : one->line > other->line;
}

/* Sorts each block; the earliest line that repeats an hour of its block is refused. */
static gboolean sort_blocks(Parser *parser, GError **error)
{
    Row again = {.line = G_MAXUINT};
    guint first_line = 0;
    GHashTableIter iter;
    gpointer value;
    g_hash_table_iter_init(&iter, parser->blocks);
    while (g_hash_table_iter_next(&iter, NULL, &value)) {
        GArray *rows = ((Block *)value)->rows;
        g_array_sort(rows, compare_rows);
        for (guint i = 1; i < rows->len; i++) {
            const Row *before = &g_array_index(rows, Row, i - 1);
            const Row *row = &g_array_index(rows, Row, i);
            if (row->hour.time_utc == before->hour.time_utc && row->line < again.line) {
                again = *row;
                first_line = before->line;
            }
        }
    }
    if (again.line == G_MAXUINT)
        return TRUE;
    g_autofree char *text = utc_format(again.hour.time_utc);
    g_autofree char *wrong = g_strdup_printf("the same hour as on line %u", first_line);
    parser->line = again.line;
    return refuse(parser, "time", text, wrong, "each hour once for a site and issue", error);
}

static gint compare_forecasts(gconstpointer a, gconstpointer b)
{
    const Forecast *one = *(Forecast *const *)a, *other = *(Forecast *const *)b;
    int order = strcmp(one->site, other->site);
    if (order != 0)
        return order;
    return one->issued_utc < other->issued_utc ? -1 : one->issued_utc > other->issued_utc;
}

static GPtrArray *forecasts_of(const Parser *parser, int64_t fetched_utc)
{
    GPtrArray *forecasts = g_ptr_array_new_with_free_func((GDestroyNotify)forecast_free);
    GHashTableIter iter;
    gpointer value;
    g_hash_table_iter_init(&iter, parser->blocks);
    while (g_hash_table_iter_next(&iter, NULL, &value)) {
        const Block *block = value;
        Forecast *forecast =
            forecast_new(block->site, parser->name, block->issued_utc, fetched_utc);
        for (guint i = 0; i < block->rows->len; i++)
            g_array_append_val(forecast->hours, g_array_index(block->rows, Row, i).hour);
        if (block->offsets > 0)
            g_ptr_array_add(forecast->notes,
                            g_strdup_printf("%u slightly negative values of radiation_wm2 "
                                            "are taken as 0",
                                            block->offsets));
        g_ptr_array_add(forecasts, forecast);
    }
    g_ptr_array_sort(forecasts, compare_forecasts);
    return forecasts;
}

/* A zero-ended copy of the text; NULL where it is too large or not text. */
static char *text_of(Parser *parser, const char *data, gsize length, GError **error)
{
    if (length > WEATHER_CSV_BYTES_MAX) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_LIMIT,
                    "%s: %" G_GSIZE_FORMAT " bytes; accepted at most %d", parser->name, length,
                    WEATHER_CSV_BYTES_MAX);
        return NULL;
    }
    const char *end = data;
    if (length > 0 && !g_utf8_validate_len(data, length, &end)) {
        parser->line = 1;
        for (const char *at = data; at < end; at++)
            parser->line += *at == '\n';
        refuse_line(parser, "a byte that is not text", "UTF-8", error);
        return NULL;
    }
    static const char mark[] = "\xef\xbb\xbf"; /* some programs begin UTF-8 with it */
    if (length >= 3 && memcmp(data, mark, 3) == 0) {
        data += 3;
        length -= 3;
    }
    return length > 0 ? g_strndup(data, length) : g_strdup("");
}

static gboolean parse_lines(Parser *parser, char *text, GError **error)
{
    char *cursor = text;
    char *line;
    while ((line = csv_next_line(&cursor)) != NULL) {
        parser->line++;
        if (line[strspn(line, " \t")] == '\0')
            continue;
        if (parser->n_fields == 0) {
            if (!parse_header(parser, line, error))
                return FALSE;
            continue;
        }
        if (++parser->n_rows > WEATHER_CSV_ROWS_MAX) {
            g_set_error(error, THOLE_ERROR, THOLE_ERROR_LIMIT,
                        "%s:%u: more than %d rows; accepted at most %d", parser->name, parser->line,
                        WEATHER_CSV_ROWS_MAX, WEATHER_CSV_ROWS_MAX);
            return FALSE;
        }
        if (!parse_row(parser, line, error))
            return FALSE;
    }
    if (parser->n_rows == 0) {
        parser->line = MAX(parser->line, 1);
        return refuse_line(parser, "no rows", "a line of column names, then one row for each hour",
                           error);
    }
    return TRUE;
}

GPtrArray *weather_csv_parse(const char *name, const char *data, gsize length, int64_t modified_utc,
                             int64_t fetched_utc, GError **error)
{
    g_auto(Parser) parser = {.name = name, .modified_utc = modified_utc};
    parser.blocks = g_hash_table_new_full(g_str_hash, g_str_equal, g_free, block_free);
    g_autofree char *text = text_of(&parser, data, length, error);
    if (text == NULL || !parse_lines(&parser, text, error) || !sort_blocks(&parser, error))
        return NULL;
    return forecasts_of(&parser, fetched_utc);
}

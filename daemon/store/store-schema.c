/* SPDX-License-Identifier: MIT */
/*
 * The schema as numbered migrations. A migration that was released is never edited: a change is a
 * new one. docs/store.md says what the tables hold; the layouts of the blobs are beside their code.
 *
 * Each table has an integer key of its own, which keeps the order in which rows were made. Numbers
 * that may be missing are nullable; so are names that may be.
 */
#include "store/store-private.h"

static const char first_schema[] =
    "CREATE TABLE setting(key TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT;"
    "CREATE TABLE state(key TEXT PRIMARY KEY, as_of_utc INTEGER NOT NULL, numbers BLOB NOT NULL)"
    " STRICT;"

    "CREATE TABLE batch(n INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE, name TEXT NOT NULL,"
    " crop TEXT NOT NULL, cultivar TEXT NOT NULL, container TEXT, number INTEGER NOT NULL,"
    " trays INTEGER NOT NULL, bought INTEGER NOT NULL, resowable INTEGER NOT NULL,"
    " sown_utc INTEGER NOT NULL, settled_utc INTEGER NOT NULL, potted_utc INTEGER NOT NULL,"
    " planted_utc INTEGER NOT NULL, stage TEXT NOT NULL, place TEXT, destination TEXT,"
    " position_unknown INTEGER NOT NULL, as_of_utc INTEGER NOT NULL, ramp_layout INTEGER NOT NULL,"
    " ramp BLOB NOT NULL, ended_utc INTEGER) STRICT;"
    "CREATE UNIQUE INDEX batch_living_name ON batch(name) WHERE ended_utc IS NULL;"

    "CREATE TABLE placement(n INTEGER PRIMARY KEY, batch_id TEXT NOT NULL REFERENCES batch(id),"
    " place TEXT NOT NULL, from_utc INTEGER NOT NULL, UNIQUE(batch_id, from_utc)) STRICT;"
    "CREATE TABLE loss(n INTEGER PRIMARY KEY, batch_id TEXT NOT NULL REFERENCES batch(id),"
    " time_utc INTEGER NOT NULL, number INTEGER NOT NULL CHECK(number > 0), cause TEXT NOT NULL)"
    " STRICT;"
    "CREATE INDEX loss_batch ON loss(batch_id);"
    "CREATE TABLE note(n INTEGER PRIMARY KEY, batch_id TEXT NOT NULL REFERENCES batch(id),"
    " time_utc INTEGER NOT NULL, text TEXT NOT NULL) STRICT;"
    "CREATE INDEX note_batch ON note(batch_id);"

    "CREATE TABLE position(n INTEGER PRIMARY KEY, place TEXT NOT NULL, position TEXT NOT NULL,"
    " position_index INTEGER NOT NULL, known INTEGER NOT NULL, from_utc INTEGER NOT NULL,"
    " UNIQUE(place, from_utc)) STRICT;"
    "CREATE INDEX position_from ON position(from_utc);"
    "CREATE TABLE reading(n INTEGER PRIMARY KEY, place TEXT NOT NULL, time_utc INTEGER NOT NULL,"
    " value_c REAL NOT NULL, kind TEXT NOT NULL, UNIQUE(place, time_utc, kind)) STRICT;"
    "CREATE INDEX reading_time ON reading(time_utc);"
    "CREATE TABLE away(n INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE, grower TEXT NOT NULL,"
    " from_utc INTEGER NOT NULL, to_utc INTEGER NOT NULL, ended_utc INTEGER,"
    " CHECK(from_utc < to_utc)) STRICT;"
    "CREATE TABLE warning(n INTEGER PRIMARY KEY, site TEXT NOT NULL, night_day INTEGER NOT NULL,"
    " low_c REAL NOT NULL, heard_utc INTEGER NOT NULL) STRICT;"
    "CREATE INDEX warning_night ON warning(night_day, site);"

    "CREATE TABLE forecast(n INTEGER PRIMARY KEY, site TEXT NOT NULL, source TEXT NOT NULL,"
    " issued_utc INTEGER NOT NULL, fetched_utc INTEGER NOT NULL, first_utc INTEGER NOT NULL,"
    " last_utc INTEGER NOT NULL, hours BLOB NOT NULL, UNIQUE(site, source, issued_utc)) STRICT;"
    "CREATE INDEX forecast_issued ON forecast(site, issued_utc);"
    "CREATE INDEX forecast_last ON forecast(site, last_utc);"
    "CREATE TABLE prediction(n INTEGER PRIMARY KEY, made_utc INTEGER NOT NULL, place TEXT NOT NULL,"
    " night_day INTEGER NOT NULL, what TEXT NOT NULL, mean_c REAL, spread_k REAL,"
    " forecast_issued_utc INTEGER NOT NULL, UNIQUE(place, made_utc, night_day, what)) STRICT;"
    "CREATE INDEX prediction_night ON prediction(night_day);"
    "CREATE TABLE plan(n INTEGER PRIMARY KEY, made_utc INTEGER NOT NULL, cause TEXT NOT NULL,"
    " decisions TEXT NOT NULL, value REAL, bound_gap REAL) STRICT;"
    "CREATE INDEX plan_made ON plan(made_utc);"

    "CREATE TABLE visit(n INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE, grower TEXT NOT NULL,"
    " site TEXT NOT NULL, start_utc INTEGER NOT NULL, minutes REAL NOT NULL,"
    " beyond_cap INTEGER NOT NULL, fixed INTEGER NOT NULL, state TEXT NOT NULL,"
    " first_published_utc INTEGER NOT NULL) STRICT;"
    "CREATE INDEX visit_start ON visit(start_utc);"
    "CREATE INDEX visit_planned ON visit(start_utc) WHERE state = 'planned';"
    "CREATE TABLE job(n INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE,"
    " visit_id TEXT NOT NULL REFERENCES visit(id), walk_order INTEGER NOT NULL, kind TEXT NOT NULL,"
    " batch_id TEXT REFERENCES batch(id), place TEXT, from_place TEXT, position TEXT,"
    " deadline_utc INTEGER NOT NULL, guard INTEGER NOT NULL, urgent INTEGER NOT NULL,"
    " reason TEXT NOT NULL, state TEXT NOT NULL, reported_utc INTEGER NOT NULL) STRICT;"
    "CREATE INDEX job_visit ON job(visit_id, walk_order);"
    "CREATE TABLE event(n INTEGER PRIMARY KEY, uid TEXT NOT NULL UNIQUE,"
    " visit_id TEXT REFERENCES visit(id), sequence INTEGER NOT NULL, dtstamp_utc INTEGER NOT NULL,"
    " created_utc INTEGER NOT NULL, last_modified_utc INTEGER NOT NULL, content_hash TEXT NOT NULL,"
    " status TEXT NOT NULL, start_utc INTEGER NOT NULL, end_utc INTEGER NOT NULL,"
    " ended INTEGER NOT NULL, day_end_utc INTEGER NOT NULL, content TEXT NOT NULL) STRICT;";

/* Services of forecasts: when each was asked for a site, and what it said. */
static const char weather_services[] =
    "CREATE TABLE weather_service(n INTEGER PRIMARY KEY, site TEXT NOT NULL, name TEXT NOT NULL,"
    " what TEXT, asked_utc INTEGER NOT NULL, next_utc INTEGER NOT NULL,"
    " good_utc INTEGER NOT NULL, failures INTEGER NOT NULL, problem TEXT, notice TEXT,"
    " last_modified TEXT, UNIQUE(site, name)) STRICT;"
    "ALTER TABLE forecast ADD COLUMN confirmed_utc INTEGER;";

/* Alarms on the desktop: what was shown, so that it is not shown again. */
static const char desktop_notices[] =
    "CREATE TABLE notice(n INTEGER PRIMARY KEY, key TEXT NOT NULL UNIQUE, state TEXT NOT NULL,"
    " due_utc INTEGER NOT NULL, shown_utc INTEGER NOT NULL, again_utc INTEGER NOT NULL) STRICT;"
    "CREATE INDEX notice_due ON notice(due_utc);";

/* Readings to learn from: what was computed for them, and what that rests on. */
static const char learning[] =
    "ALTER TABLE reading ADD COLUMN moved INTEGER NOT NULL DEFAULT 0;"
    "ALTER TABLE reading ADD COLUMN computed_c REAL;"
    "ALTER TABLE reading ADD COLUMN spread_k REAL;"
    "ALTER TABLE reading ADD COLUMN bias_k REAL;"
    "ALTER TABLE reading ADD COLUMN outdoor_c REAL;"
    "ALTER TABLE reading ADD COLUMN outdoor_spread_k REAL;"
    "ALTER TABLE reading ADD COLUMN light_wm2 REAL;"
    "ALTER TABLE reading ADD COLUMN position_index INTEGER;"
    "ALTER TABLE prediction ADD COLUMN bias_k REAL;"
    "ALTER TABLE prediction ADD COLUMN outdoor_spread_k REAL;"
    "ALTER TABLE prediction ADD COLUMN light_wm2 REAL;"
    "ALTER TABLE prediction ADD COLUMN position_index INTEGER;"
    "ALTER TABLE prediction ADD COLUMN tonight INTEGER NOT NULL DEFAULT 0;";

/* A minimum or maximum over several nights or days. */
static const char resets[] = "ALTER TABLE reading ADD COLUMN since_utc INTEGER NOT NULL DEFAULT 0;"
                             "ALTER TABLE reading ADD COLUMN day INTEGER NOT NULL DEFAULT 0;";

/* Waterings, and what each batch has used since its last. */
static const char waterings[] =
    "ALTER TABLE batch ADD COLUMN used_mm REAL NOT NULL DEFAULT 0;"
    "CREATE TABLE watering(n INTEGER PRIMARY KEY, batch_id TEXT NOT NULL REFERENCES batch(id),"
    " time_utc INTEGER NOT NULL, known INTEGER NOT NULL, UNIQUE(batch_id, time_utc)) STRICT;"
    "CREATE INDEX watering_time ON watering(time_utc);";

/* When the seedlings were seen to be up. */
static const char emergence[] =
    "ALTER TABLE batch ADD COLUMN emerged_utc INTEGER NOT NULL DEFAULT 0;";

/* The seedling as it grows; leaves null: nothing is known of it. */
static const char growth[] = "ALTER TABLE batch ADD COLUMN leaves REAL;"
                             "ALTER TABLE batch ADD COLUMN height_cm REAL NOT NULL DEFAULT 0;"
                             "ALTER TABLE batch ADD COLUMN height_factor REAL NOT NULL DEFAULT 0;"
                             "ALTER TABLE batch ADD COLUMN chill_h REAL NOT NULL DEFAULT 0;"
                             "ALTER TABLE batch ADD COLUMN hardening_h REAL NOT NULL DEFAULT 0;";

/* What visits took, and who comes while a grower is away. */
static const char people[] =
    "CREATE TABLE visit_minutes(n INTEGER PRIMARY KEY,"
    " visit_id TEXT NOT NULL UNIQUE REFERENCES visit(id), site TEXT NOT NULL,"
    " time_utc INTEGER NOT NULL, minutes REAL NOT NULL, jobs_minutes REAL NOT NULL) STRICT;"
    "CREATE INDEX visit_minutes_site ON visit_minutes(site, time_utc);"
    "ALTER TABLE away ADD COLUMN helper TEXT;"
    "ALTER TABLE away ADD COLUMN helper_site TEXT;"
    "ALTER TABLE away ADD COLUMN helper_from_min INTEGER NOT NULL DEFAULT 0;"
    "ALTER TABLE away ADD COLUMN helper_to_min INTEGER NOT NULL DEFAULT 0;";

/* News on channels: what was told, so that it is not told again. */
static const char channels_told[] =
    "CREATE TABLE told(n INTEGER PRIMARY KEY, key TEXT NOT NULL, channel TEXT NOT NULL,"
    " state TEXT NOT NULL, sense TEXT NOT NULL, at_utc INTEGER NOT NULL, UNIQUE(key, channel))"
    " STRICT;"
    "CREATE INDEX told_at ON told(at_utc);";

/* Calendars that are kept: what each remembers, and what growers did in it. */
static const char outlets[] =
    "CREATE TABLE outlet(n INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE, kind TEXT NOT NULL,"
    " state TEXT NOT NULL, problem TEXT NOT NULL, refused INTEGER NOT NULL,"
    " failures INTEGER NOT NULL, pending INTEGER NOT NULL, delivered_utc INTEGER NOT NULL,"
    " tried_utc INTEGER NOT NULL) STRICT;"
    "CREATE TABLE outlet_edit(n INTEGER PRIMARY KEY, outlet TEXT NOT NULL, uid TEXT NOT NULL,"
    " kind TEXT NOT NULL, start_utc INTEGER NOT NULL, text TEXT NOT NULL,"
    " edits INTEGER NOT NULL, number INTEGER NOT NULL, answer INTEGER NOT NULL,"
    " at_utc INTEGER NOT NULL, UNIQUE(outlet, uid)) STRICT;"
    "CREATE INDEX outlet_edit_at ON outlet_edit(at_utc);";

/* Done links in messages, by the hash of their token. */
static const char done_links[] =
    "CREATE TABLE done_link(n INTEGER PRIMARY KEY, hash TEXT NOT NULL UNIQUE,"
    " visit_id TEXT NOT NULL REFERENCES visit(id), expires_utc INTEGER NOT NULL,"
    " used_utc INTEGER NOT NULL) STRICT;"
    "CREATE INDEX done_link_expires ON done_link(expires_utc);";

/* What growers say of visits, how often each event was edited, and what they were answered. */
static const char visit_wishes[] =
    "CREATE TABLE visit_wish(n INTEGER PRIMARY KEY, kind TEXT NOT NULL, site TEXT NOT NULL,"
    " grower TEXT NOT NULL, start_utc INTEGER NOT NULL, end_utc INTEGER NOT NULL,"
    " clear_from_utc INTEGER NOT NULL, clear_to_utc INTEGER NOT NULL, visit_id TEXT NOT NULL,"
    " uid TEXT NOT NULL, cost TEXT NOT NULL DEFAULT '') STRICT;"
    "CREATE INDEX visit_wish_end ON visit_wish(end_utc);"
    "CREATE TABLE visit_answer(n INTEGER PRIMARY KEY, uid TEXT NOT NULL, at_utc INTEGER NOT NULL,"
    " refused INTEGER NOT NULL, text TEXT NOT NULL) STRICT;"
    "CREATE INDEX visit_answer_at ON visit_answer(at_utc);"
    "CREATE TABLE visit_edits(uid TEXT PRIMARY KEY, taken INTEGER NOT NULL,"
    " planned INTEGER NOT NULL, at_utc INTEGER NOT NULL) STRICT;";

const char *const store_migrations[] = {
    first_schema, weather_services, desktop_notices, learning, resets,     waterings,   emergence,
    growth,       people,           channels_told,   outlets,  done_links, visit_wishes};
const int store_n_migrations = G_N_ELEMENTS(store_migrations);

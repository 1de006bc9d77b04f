/* SPDX-License-Identifier: MIT */
#include "test-hindcast-ground.h"

#include <string.h>

#include "garden/garden.h"

#define ARENA_BYTES (64u << 20)

const char ground_frame_text[] = GROUND_FRAME_PLACES "[grower one]\n"
                                                     "visits-home=07:30-08:00; 18:00-18:30\n";

static const char site_text[] = "[site %s]\n"
                                "latitude=%s\n"
                                "longitude=%s\n"
                                "altitude=100\n"
                                "zone=%s\n";
static const char container_text[] = "[container block-4]\n"
                                     "volume-ml=40\n"
                                     "per-tray=40\n"
                                     "hold-max-weeks=12\n";

Garden *ground_garden(const Station *at, const char *zone, const Crops *crops, const char *text,
                      GError **error)
{
    char latitude[G_ASCII_DTOSTR_BUF_SIZE], longitude[G_ASCII_DTOSTR_BUF_SIZE];
    g_autoptr(GString) all = g_string_new(NULL);

    g_ascii_formatd(latitude, sizeof latitude, "%.1f", at->latitude);
    g_ascii_formatd(longitude, sizeof longitude, "%.1f", at->longitude);
    g_string_append_printf(all, site_text, "home", latitude, longitude, zone);
    if (strstr(text, "site=plot") != NULL)
        g_string_append_printf(all, site_text, "plot", latitude, longitude, zone);
    g_string_append(all, container_text);
    g_string_append(all, text);
    return garden_parse(all->str, all->len, "thole.conf", crops->crops, crops->n, NULL, error);
}

Ground *ground_new(const Station *at, const char *zone, const char *file, DaysReader reader)
{
    const char *source = g_getenv("THOLE_SOURCE_DIR"), *build = g_getenv("THOLE_BUILD_DIR");
    g_autoptr(GError) error = NULL;
    g_autofree char *problem = NULL;
    Ground *ground = g_new0(Ground, 1);

    g_assert(source != NULL && build != NULL);
    g_autofree char *crops = g_build_filename(source, "daemon", "garden", "crops.conf", NULL);
    g_autofree char *data = g_build_filename(build, "test-data", file, NULL);
    if (g_file_test(data, G_FILE_TEST_EXISTS))
        ground->days = reader(data, &problem);
    if (problem == NULL && crops_load(crops, NULL, &ground->crops, &error))
        ground->garden = ground_garden(at, zone, ground->crops, ground_frame_text, &error);
    if (ground->garden == NULL) {
        g_printerr("%s: %s\n", file, problem != NULL ? problem : error->message);
        ground_free(ground);
        return NULL;
    }
    ground->arena = (Arena){.base = g_malloc(ARENA_BYTES), .size = ARENA_BYTES};
    return ground;
}

void ground_free(Ground *ground)
{
    if (ground == NULL)
        return;
    g_clear_pointer(&ground->days, g_array_unref);
    g_clear_pointer(&ground->garden, garden_free);
    g_clear_pointer(&ground->crops, crops_free);
    g_free(ground->arena.base);
    g_free(ground);
}

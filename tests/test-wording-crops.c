/* SPDX-License-Identifier: MIT */
/* What each crop of the shipped data is called in a sentence. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>
#include <glib.h>

#include "garden/crops.h"
#include "service/wording-private.h"

/* One word a crop, in the order of the file: "12 …". */
static const char *const plurals[] = {
    "cabbages",
    "red cabbages",
    "Savoy cabbages",
    "cauliflowers",
    "broccoli plants",
    "sprouting broccoli plants",
    "kale plants",
    "Brussels sprouts",
    "kohlrabis",
    "Chinese cabbages",
    "pak choi plants",
    "swedes",
    "turnips",
    "leeks",
    "onions",
    "spring onions",
    "broad beans",
    "peas",
    "lettuces",
    "endives",
    "chard plants",
    "beetroots",
    "spinach plants",
    "parsnips",
    "celery plants",
    "celeriac plants",
    "Florence fennel plants",
    "tomatoes",
    "courgettes",
    "squashes",
    "pumpkins",
    "cucumbers",
    "melons",
    "watermelons",
    "sweet corn plants",
    "French beans",
    "runner beans",
    "peppers",
    "chilli plants",
    "aubergines",
    "basil plants",
    "parsley plants",
    "coriander plants",
    "dill plants",
    "fennel plants",
    "chives",
    "thyme plants",
    "sage plants",
    "oregano plants",
    "sorrel plants",
    "sweet peas",
    "snapdragons",
    "pansies",
    "pot marigolds",
    "cornflowers",
    "stock plants",
    "sweet alyssum plants",
    "lobelias",
    "petunias",
    "China asters",
    "statice plants",
    "rudbeckias",
    "sunflowers",
    "French marigolds",
    "cosmos",
    "nasturtiums",
    "pelargoniums",
    "verbenas",
    "tobacco plants",
    "zinnias",
    "busy lizzies",
    "bedding begonias",
};

static void test_crops_in_a_sentence(void **state)
{
    g_autofree char *path =
        g_build_filename(g_getenv("THOLE_SOURCE_DIR"), "daemon", "garden", "crops.conf", NULL);
    g_autoptr(Crops) crops = NULL;
    g_autoptr(GError) error = NULL;

    (void)state;
    if (!crops_load(path, NULL, &crops, &error))
        fail_msg("%s", error->message);
    for (int c = 0; c < crops->n && c < (int)G_N_ELEMENTS(plurals); c++) {
        g_autofree char *words = wording_crop_words(&crops->crops[c], true);
        if (!g_str_equal(words, plurals[c]))
            fail_msg("%s: \"%s\", not \"%s\"", crops->crops[c].name, words, plurals[c]);
    }
    assert_int_equal(crops->n, G_N_ELEMENTS(plurals)); /* a new crop has its row */
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_crops_in_a_sentence)};
    return cmocka_run_group_tests_name("wording-crops", tests, NULL, NULL);
}

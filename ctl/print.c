/* SPDX-License-Identifier: MIT */
#include "ctl/print.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

static bool has_colour(void)
{
    const char *none = getenv("NO_COLOR"), *term = getenv("TERM");

    return isatty(STDOUT_FILENO) && !(none && *none) && term && strcmp(term, "dumb") != 0;
}

/* COLUMNS comes first, as POSIX has it. */
int print_columns(void)
{
    const char *said = getenv("COLUMNS");
    struct winsize size;
    guint64 columns;

    if (!said || !g_ascii_string_to_unsigned(said, 10, 1, G_MAXINT, &columns, NULL))
        columns = ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col > 0 ? size.ws_col
                                                                                  : PRINT_COLUMNS;
    return (int)CLAMP(columns, PRINT_COLUMNS_LEAST, PRINT_COLUMNS);
}

static int letter_width(gunichar letter)
{
    if (g_unichar_iszerowidth(letter))
        return 0;
    return g_unichar_iswide(letter) ? 2 : 1;
}

int print_width(const char *text)
{
    int width = 0;

    for (const char *p = text; *p; p = g_utf8_next_char(p))
        width += letter_width(g_utf8_get_char(p));
    return width;
}

char *print_clean(const char *text, bool keep_breaks)
{
    g_autofree char *valid = g_utf8_make_valid(text, -1);
    GString *out = g_string_new(NULL);

    for (const char *p = valid; *p; p = g_utf8_next_char(p)) {
        const gunichar letter = g_utf8_get_char(p);
        const GUnicodeType type = g_unichar_type(letter);
        const bool steers = type == G_UNICODE_CONTROL || type == G_UNICODE_FORMAT;
        g_string_append_unichar(out, steers && !(keep_breaks && letter == '\n') ? '?' : letter);
    }
    return g_string_free(out, FALSE);
}

static void put_spaces(FILE *to, int n)
{
    fprintf(to, "%*s", n, "");
}

/* TEXT at its blanks, but a unit stays with its number: "7 °C", "1–5 %", "7 °C ± 1.0". The caller
 * owns it. */
static char **split_words(const char *text)
{
    g_auto(GStrv) parts = g_strsplit(text, " ", -1);
    g_autoptr(GPtrArray) words = g_ptr_array_new();

    for (guint i = 0; parts[i]; i++) {
        const bool is_spread =
            g_str_equal(parts[i], "±") || (i > 0 && g_str_equal(parts[i - 1], "±"));
        const bool is_unit = is_spread || g_str_has_prefix(parts[i], "°") || parts[i][0] == '%';
        if (!*parts[i])
            continue;
        if (is_unit && words->len > 0) {
            g_autofree char *number = words->pdata[words->len - 1];
            words->pdata[words->len - 1] = g_strdup_printf("%s %s", number, parts[i]);
        } else {
            g_ptr_array_add(words, g_strdup(parts[i]));
        }
    }
    g_ptr_array_add(words, NULL);
    return (char **)g_ptr_array_free(g_steal_pointer(&words), FALSE);
}

/* One paragraph; COLUMN is where the writing stands, lines after the first begin at INDENT. */
static void put_paragraph(FILE *to, int indent, int column, const char *text)
{
    g_auto(GStrv) words = split_words(text);
    const int columns = print_columns();
    bool first = true;

    for (guint i = 0; words[i]; i++) {
        const int width = print_width(words[i]);
        if (!first && column + 1 + width > columns) {
            fputc('\n', to);
            put_spaces(to, indent);
            column = indent;
            first = true;
        }
        if (!first) {
            fputc(' ', to);
            column++;
        }
        fputs(words[i], to);
        column += width;
        first = false;
    }
    fputc('\n', to);
}

/* Paragraphs behind INDENT, the lines of each after its first behind HANG. */
static void put_styled(PrintStyle style, int indent, int hang, const char *text)
{
    static const char *const codes[] = {
        [PRINT_STRONG] = "\033[1m", [PRINT_ALERT] = "\033[1;31m", [PRINT_FAINT] = "\033[2m"};
    g_autofree char *cleaned = print_clean(text, true);
    g_auto(GStrv) paragraphs = g_strsplit(cleaned, "\n", -1);
    const bool coloured = style != PRINT_PLAIN && has_colour();

    for (guint i = 0; paragraphs[i]; i++) {
        if (!*paragraphs[i])
            continue;
        put_spaces(stdout, indent);
        if (coloured)
            fputs(codes[style], stdout);
        put_paragraph(stdout, hang, indent, paragraphs[i]);
        if (coloured)
            fputs("\033[0m", stdout);
    }
}

void print_styled(PrintStyle style, int indent, const char *text)
{
    put_styled(style, indent, indent, text);
}

void print_alert(PrintStyle style, const char *text)
{
    g_autofree char *marked = g_strconcat("! ", text, NULL);

    put_styled(style, 0, 2, marked);
}

void print_wrapped(int indent, const char *text)
{
    print_styled(PRINT_PLAIN, indent, text);
}

void print_hanging(int indent, const char *first, const char *rest)
{
    g_autofree char *head = print_clean(first, false), *tail = print_clean(rest, true);
    const int column = indent + print_width(head) + 1;

    g_strdelimit(tail, "\n", ' ');
    put_spaces(stdout, indent);
    printf("%s ", head);
    /* Behind a long head on a narrow screen little would be left. */
    put_paragraph(stdout, column <= print_columns() / 2 ? column : indent + 2, column, tail);
}

void print_blank(void)
{
    putchar('\n');
}

void print_raw(const char *text)
{
    puts(text);
}

void print_error(const char *format, ...)
{
    va_list args;

    va_start(args, format);
    g_autofree char *text = g_strdup_vprintf(format, args);
    va_end(args);
    g_autofree char *cleaned = print_clean(text, true);
    g_autofree char *whole = g_strconcat("tholectl: ", cleaned, NULL);
    g_auto(GStrv) paragraphs = g_strsplit(whole, "\n", -1);
    const bool wraps = isatty(STDERR_FILENO); /* else a line stays one, for what reads it */

    fflush(stdout);
    for (guint i = 0; paragraphs[i]; i++) {
        if (wraps)
            put_paragraph(stderr, 0, 0, paragraphs[i]);
        else
            fprintf(stderr, "%s\n", paragraphs[i]);
    }
}

char *print_number(double value, int decimals)
{
    char digits[64];

    if (!isfinite(value) || fabs(value) >= 1e15)
        return g_strdup("–");
    snprintf(digits, sizeof(digits), "%.*f", decimals, fabs(value));
    const bool is_zero = strspn(digits, "0.") == strlen(digits);
    return g_strconcat(value < 0 && !is_zero ? "−" : "", digits, NULL);
}

char *print_odds(double odds)
{
    if (!(odds >= 0 && odds <= 1))
        return g_strdup("–");
    if (odds > 0 && odds < 0.01)
        return g_strdup("<1%");
    if (odds > 0.99 && odds < 1)
        return g_strdup(">99%");
    return g_strdup_printf("%.0f%%", 100 * odds);
}

static bool is_fahrenheit(const char *units)
{
    return strcmp(units, "F") == 0;
}

char *print_temperature(double value_c, const char *units)
{
    return print_number(is_fahrenheit(units) ? value_c * 9 / 5 + 32 : value_c, 1);
}

char *print_spread(double value_c, double spread_k, const char *units)
{
    g_autofree char *value = print_temperature(value_c, units);
    g_autofree char *spread = print_number(is_fahrenheit(units) ? spread_k * 9 / 5 : spread_k, 1);

    if (!isfinite(value_c) || !isfinite(spread_k))
        return g_steal_pointer(&value);
    return g_strconcat(value, " ±", spread, NULL);
}

const char *print_degree(const char *units)
{
    return is_fahrenheit(units) ? "°F" : "°C";
}

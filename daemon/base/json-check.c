/* SPDX-License-Identifier: MIT */
#include "base/json-check.h"

#include <stdbool.h>
#include <string.h>

#include "base/error.h"

#define WHOLE_DIGITS_MAX 15    /* so that an int64_t and a double hold it exactly */
#define FRACTION_DIGITS_MAX 30 /* a double is told from its neighbours by 17 that are not 0 */

typedef struct Checker {
    const char *at, *end; /* ends with a zero byte, which is none of the text */
    int depth_left;
    const char *wrong; /* what is wrong at `at`; static */
} Checker;

static bool check_value(Checker *c);

static bool fail(Checker *c, const char *wrong)
{
    c->wrong = wrong;
    return false;
}

static char peek(const Checker *c)
{
    return c->at < c->end ? *c->at : '\0';
}

static bool take(Checker *c, char expected)
{
    if (peek(c) != expected)
        return false;
    c->at++;
    return true;
}

static void skip_space(Checker *c)
{
    while (c->at < c->end && strchr(" \t\n\r", *c->at))
        c->at++;
}

static int take_digits(Checker *c)
{
    const char *start = c->at;
    while (g_ascii_isdigit(peek(c)))
        c->at++;
    return (int)(c->at - start);
}

static bool check_number(Checker *c)
{
    take(c, '-');
    const bool leading_zero = peek(c) == '0';
    const int whole = take_digits(c);
    if (whole == 0 || (leading_zero && whole > 1))
        return fail(c, "a number is expected");
    if (whole > WHOLE_DIGITS_MAX)
        return fail(c, "a number is too long");
    if (take(c, '.')) {
        const int fraction = take_digits(c);
        if (fraction == 0)
            return fail(c, "a digit is expected");
        if (fraction > FRACTION_DIGITS_MAX)
            return fail(c, "a number is too long");
    }
    if (take(c, 'e') || take(c, 'E')) {
        if (!take(c, '-'))
            take(c, '+');
        const int exponent = take_digits(c);
        if (exponent == 0 || exponent > 3)
            return fail(c, "an exponent of 1 to 3 digits is expected");
    }
    return true;
}

/* Four hexadecimal digits; -1 if they are not there. */
static int take_code_unit(Checker *c)
{
    int value = 0;

    for (int i = 0; i < 4; i++) {
        const int digit = g_ascii_xdigit_value(peek(c));
        if (digit < 0)
            return -1;
        value = value * 16 + digit;
        c->at++;
    }
    return value;
}

static bool check_escape(Checker *c)
{
    const char kind = peek(c);
    if (kind == '\0' || !strchr("\"\\/bfnrtu", kind))
        return fail(c, "an escape is not known");
    c->at++;
    if (kind != 'u')
        return true;
    const int unit = take_code_unit(c);
    if (unit < 0)
        return fail(c, "four hexadecimal digits are expected");
    if (unit == 0)
        return fail(c, "U+0000 is not accepted");
    if (unit < 0xd800 || unit > 0xdfff)
        return true;
    if (unit > 0xdbff || !take(c, '\\') || !take(c, 'u'))
        return fail(c, "half a surrogate pair");
    const int low = take_code_unit(c);
    if (low < 0xdc00 || low > 0xdfff)
        return fail(c, "half a surrogate pair");
    return true;
}

static bool check_string(Checker *c)
{
    if (!take(c, '"'))
        return fail(c, "a text in double quotes is expected");
    while (c->at < c->end) {
        const unsigned char byte = (unsigned char)*c->at;
        if (byte < 0x20)
            return fail(c, "a control character in a text must be escaped");
        c->at++;
        if (byte == '"')
            return true;
        if (byte == '\\' && !check_escape(c))
            return false;
    }
    return fail(c, "a text does not end");
}

static bool check_word(Checker *c, const char *word)
{
    const gsize length = strlen(word);
    if ((gsize)(c->end - c->at) < length || strncmp(c->at, word, length) != 0)
        return fail(c, "a value is expected");
    c->at += length;
    return true;
}

/* The rest of an object (CLOSE is a brace) or an array, after its opening. */
static bool check_members(Checker *c, char close)
{
    if (c->depth_left == 0)
        return fail(c, "it is nested too deeply");
    c->depth_left--;
    skip_space(c);
    if (!take(c, close)) {
        do {
            skip_space(c);
            if (close == '}') {
                if (!check_string(c))
                    return false;
                skip_space(c);
                if (!take(c, ':'))
                    return fail(c, "a colon is expected");
            }
            if (!check_value(c))
                return false;
            skip_space(c);
        } while (take(c, ','));
        if (!take(c, close))
            return fail(c, close == '}' ? "a comma or } is expected" : "a comma or ] is expected");
    }
    c->depth_left++;
    return true;
}

static bool check_value(Checker *c)
{
    skip_space(c);
    switch (peek(c)) {
    case '{':
        c->at++;
        return check_members(c, '}');
    case '[':
        c->at++;
        return check_members(c, ']');
    case '"':
        return check_string(c);
    case 't':
        return check_word(c, "true");
    case 'f':
        return check_word(c, "false");
    case 'n':
        return check_word(c, "null");
    default:
        break;
    }
    if (peek(c) == '-' || g_ascii_isdigit(peek(c)))
        return check_number(c);
    return fail(c, "a value is expected");
}

static void set_error(GError **error, const char *text, const char *at, const char *wrong)
{
    int line = 1, column = 1;

    for (const char *p = text; p < at; p++) {
        column = *p == '\n' ? 1 : column + 1;
        line += *p == '\n';
    }
    g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID, "not JSON: line %d, column %d: %s", line,
                column, wrong);
}

gboolean json_check(const char *text, gsize length, int depth_max, GError **error)
{
    Checker c = {.at = text, .end = text + length, .depth_left = depth_max};
    const char *bad;

    if (!g_utf8_validate_len(text, length, &bad)) {
        set_error(error, text, bad, "it is not UTF-8");
        return FALSE;
    }
    bool valid = check_value(&c);
    if (valid) {
        skip_space(&c);
        if (c.at < c.end)
            valid = fail(&c, "something follows the value");
    }
    if (!valid)
        set_error(error, text, c.at, c.wrong);
    return valid;
}

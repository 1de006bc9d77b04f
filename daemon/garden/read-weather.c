/* SPDX-License-Identifier: MIT */
#include <string.h>

#include "base/secret.h"
#include "base/url.h"
#include "garden/read.h"

static const char *const services[] = {"open-meteo", "met-norway", NULL};
G_STATIC_ASSERT(G_N_ELEMENTS(services) == WEATHER_SERVICES + 1);

/* Stands in a header or an address: visible ASCII and blanks between. */
static gboolean is_plain(const char *text, gsize size)
{
    if (*text == '\0' || strlen(text) >= size)
        return FALSE;
    for (const char *p = text; *p != '\0'; p++) {
        if (!g_ascii_isprint(*p))
            return FALSE;
    }
    return TRUE;
}

/* What is in it appears in no message. */
static gboolean read_key(const Config *config, ConfigSection *section, WeatherService *service,
                         GError **error)
{
    char *key = NULL;

    if (!read_secret(config, section, "key-file", &key, error))
        return FALSE;
    if (key == NULL)
        return TRUE;
    g_strstrip(key);
    const gboolean fits = strchr(key, ' ') == NULL && is_plain(key, sizeof service->key);
    if (fits)
        g_strlcpy(service->key, key, sizeof service->key);
    secret_free(key);
    if (!fits)
        return config_refuse(section, "key-file", error,
                             "does not hold a key; accepted is one line of visible ASCII, at most "
                             "%d bytes",
                             (int)sizeof service->key - 1);
    return TRUE;
}

/* Roughly a mail address, a host or a web page: more is seen only by who writes there. */
static gboolean is_address(const char *text)
{
    const char *mark = strpbrk(text, "@.");
    return mark != NULL && mark > text && mark[1] != '\0' && strchr(text, ' ') == NULL;
}

static gboolean read_contact(ConfigSection *section, WeatherService *service, GError **error)
{
    const char *contact = config_get_text(section, "contact");

    if (contact == NULL)
        return TRUE;
    if (!is_plain(contact, sizeof service->contact) || !is_address(contact))
        return config_refuse(
            section, "contact", error,
            "nobody can be reached there; accepted is one mail or web address of yours, in ASCII "
            "without blanks, at most %d bytes",
            (int)sizeof service->contact - 1);
    g_strlcpy(service->contact, contact, sizeof service->contact);
    return TRUE;
}

static gboolean read_service(const Config *config, ConfigSection *section, WeatherService *service,
                             GError **error)
{
    const char *url = config_get_text(section, "url");

    if (url != NULL) {
        if (!url_is_safe(url) || strpbrk(url, "?# ") != NULL || strlen(url) >= sizeof service->url)
            return config_refuse(section, "url", error,
                                 "not an address to ask; accepted is https://HOST/PATH without ? "
                                 "or #, at most %d bytes (http only for this machine)",
                                 (int)sizeof service->url - 1);
        g_strlcpy(service->url, url, sizeof service->url);
    }
    return (strcmp(section->name, "open-meteo") != 0 ||
            read_key(config, section, service, error)) &&
           (strcmp(section->name, "met-norway") != 0 || read_contact(section, service, error)) &&
           config_section_finish(section, error);
}

gboolean read_weather(Config *config, Garden *garden, GError **error)
{
    g_autoptr(GPtrArray) sections = read_sections(config, "weather", FALSE, error);

    if (sections == NULL)
        return FALSE;
    for (int i = 0; i < WEATHER_SERVICES; i++)
        g_strlcpy(garden->services[i].name, services[i], sizeof garden->services[i].name);
    for (guint i = 0; i < sections->len; i++) {
        ConfigSection *section = g_ptr_array_index(sections, i);
        WeatherService *service = NULL;

        for (int j = 0; j < WEATHER_SERVICES; j++) {
            if (strcmp(section->name, services[j]) == 0)
                service = &garden->services[j];
        }
        if (service == NULL) {
            g_autofree char *known = config_suggest("services", section->name, services);

            return config_refuse(section, NULL, error, "no such service; %s", known);
        }
        if (!read_service(config, section, service, error))
            return FALSE;
    }
    return TRUE;
}

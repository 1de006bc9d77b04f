/* SPDX-License-Identifier: MIT */
/* Every mistake in a thole.conf gives one message, which is part of the promise: all of them, word
 * by word. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <string.h>

#include "garden/garden.h"

#define A_32 "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa"
#define A_128 A_32 A_32 A_32 A_32

/* Whole gardens that differ in what stands last, so that a row can go on with it. */
#define SITE "[site home]\nlatitude=53.1\nlongitude=-2.1\n"
#define SILL "[place sill]\nkind=sill\nsite=home\n"
#define GROWER "[grower one]\n"
#define VISITS "visits-home=07:00-08:30\n"
#define BASE SITE GROWER VISITS SILL
#define SITE_LAST SILL GROWER VISITS SITE
#define GROWER_LAST SITE SILL GROWER
#define VISITED GROWER_LAST VISITS
#define REACHED                                                                                    \
    "nobody can be reached there; accepted is one mail or web address of yours, in ASCII without " \
    "blanks, at most 127 bytes"

typedef struct Row {
    const char *sentence, *text, *message;
} Row;

static const Row rows[] = {
    {"an empty file", "", "thole.conf: no [site NAME] section; at least one is needed"},
    {"no sites", "[garden]\nunits=C\n",
     "thole.conf: no [site NAME] section; at least one is needed"},
    {"no places", "[site home]\nlatitude=1\nlongitude=1\n",
     "thole.conf: no [place NAME] section; at least one is needed"},
    {"no growers", "[site home]\nlatitude=1\nlongitude=1\n[place sill]\nkind=sill\n",
     "thole.conf: no [grower NAME] section; at least one is needed"},
    {"a key before any heading", "trays=6\n",
     "thole.conf:1: the key \"trays\" stands before the first heading; accepted is a "
     "heading such as [garden] above it"},
    {"a line that is nothing, its coordinate not repeated", SITE_LAST "altitude 53.12\n",
     "thole.conf:9: the line that begins with \"altitude\" cannot be read; accepted are "
     "[kind name], key=value and # comment"},
    {"a comment of another kind", BASE "; six trays\n",
     "thole.conf:9: the line begins with \";\"; a comment begins with \"#\""},
    {"a heading left open", BASE "[place frame\n",
     "thole.conf:9: the line begins with \"[\" but is no heading; a heading is [kind name], "
     "alone on its line"},
    {"a heading with a comment behind it", BASE "[place frame] # mine\n",
     "thole.conf:9: the line begins with \"[\" but is no heading; a heading is [kind name], "
     "alone on its line"},
    {"a heading with two names", BASE "[place cold frame]\n",
     "thole.conf:9: the heading that begins with \"[place\" cannot be read; accepted is "
     "[kind name] with one space, a name being letters, digits, - and _, no spaces, at most "
     "47 bytes"},
    {"a heading with nothing in it", BASE "[]\n",
     "thole.conf:9: the heading that begins with \"[\" cannot be read; accepted is [kind "
     "name] with one space, a name being letters, digits, - and _, no spaces, at most 47 "
     "bytes"},
    {"a section twice", BASE "[place sill]\nkind=sill\n",
     "thole.conf:9: [place sill] is there already, on line 6; keep one of the two"},
    {"a key twice", BASE "trays=1\ntrays=2\n",
     "thole.conf:10: [place sill] trays: is there already, on line 9; keep one of the two"},
    {"a latitude twice is not repeated", SITE_LAST "latitude=53.2\n",
     "thole.conf:9: [site home] latitude: is there already, on line 7; keep one of the two"},
    {"a comment after a value", BASE "trays=6 # six\n",
     "thole.conf:9: [place sill] trays: a \"#\" in the value is no comment; a comment needs "
     "a line of its own"},
    {"a value that is nothing but a comment", BASE "trays=# six\n",
     "thole.conf:9: [place sill] trays: a \"#\" in the value is no comment; a comment needs a line "
     "of "
     "its own"},
    {"a key without a value", BASE "trays=\n",
     "thole.conf:9: [place sill] trays: no value after \"=\"; give one or leave the line out"},
    {"a backslash", BASE "zone=a\\b\n",
     "thole.conf:9: [place sill] zone: the value holds a backslash; accepted is plain text"},
    {"a control character",
     BASE "trays=\001"
          "6\n",
     "thole.conf:9: the line holds the control character 0x01; accepted is plain text"},
    {"a line that is not UTF-8", BASE "trays=\377\n",
     "thole.conf:9: the line is not UTF-8 text; save the file as UTF-8"},
    {"a byte order mark", "\357\273\277[garden]\n",
     "thole.conf:1: the file begins with a byte order mark; save it as UTF-8 without one"},
    {"a translated key", BASE "kind[de]=Brett\n",
     "thole.conf:9: the line that begins with \"kind\" cannot be read; accepted are [kind "
     "name], key=value and # comment"},
    {"an unknown section", BASE "[plaec frame]\nkind=cold-frame\n",
     "thole.conf:9: [plaec frame]: unknown section; did you mean \"place\"? sections: "
     "garden, weather, site, container, place, grower, channel, calendar, feed"},
    {"a name where none belongs", BASE "[garden mine]\n",
     "thole.conf:9: [garden mine]: this section has no name; accepted is [garden]"},
    {"a name missing", BASE "[place]\nkind=bed\n",
     "thole.conf:9: [place]: has no name; accepted is [place NAME]"},
    {"an unknown key, near a known one", BASE "tray=6\n",
     "thole.conf:9: [place sill] tray: unknown key; did you mean \"trays\"? keys here: "
     "kind, site, trays, length-cm, width-cm, height-cm, range-c, mains"},
    {"an unknown key far from all", BASE "colour=green\n",
     "thole.conf:9: [place sill] colour: unknown key; keys here: kind, site, trays, "
     "length-cm, width-cm, height-cm, range-c, mains"},
    {"a key of another kind of place", BASE "material=glass\n",
     "thole.conf:9: [place sill] material: unknown key; keys here: kind, site, trays, "
     "length-cm, width-cm, height-cm, range-c, mains"},
    {"latitude missing", "[site home]\nlongitude=1\n",
     "thole.conf:1: [site home] latitude: is missing; accepted is -90 to 90 degrees"},
    {"a latitude beyond the pole is not repeated", "[site home]\nlatitude=97\nlongitude=1\n",
     "thole.conf:2: [site home] latitude: out of range; accepted is -90 to 90 degrees"},
    {"a longitude in words is not repeated", "[site home]\nlatitude=1\nlongitude=2W\n",
     "thole.conf:3: [site home] longitude: not a number; accepted is -180 to 180 degrees"},
    {"a longitude beyond the date line", "[site home]\nlatitude=1\nlongitude=181\n",
     "thole.conf:3: [site home] longitude: out of range; accepted is -180 to 180 degrees"},
    {"a misspelt coordinate is not repeated", SITE_LAST "latitud=53.12\n",
     "thole.conf:9: [site home] latitud: unknown key; did you mean \"latitude\"? keys here: "
     "latitude, longitude, altitude, zone, weather, normals, last-frost, "
     "visit-minutes"},
    {"an altitude above all gardens", SITE_LAST "altitude=9000\n",
     "thole.conf:9: [site home] altitude=9000: out of range; accepted is -430 to 6000 m"},
    {"an unknown zone", SITE_LAST "zone=Europe/Lodnon\n",
     "thole.conf:9: [site home] zone=Europe/Lodnon: no such time zone; accepted is UTC or a "
     "name such as Europe/London"},
    {"a zone that leaves the folder of zones", SITE_LAST "zone=../../etc/passwd\n",
     "thole.conf:9: [site home] zone=../../etc/passwd: no such time zone; accepted is UTC "
     "or a name such as Europe/London"},
    {"a zone that is another file", SITE_LAST "zone=leapseconds\n",
     "thole.conf:9: [site home] zone=leapseconds: no such time zone; accepted is UTC or a "
     "name such as Europe/London"},
    {"a weather source that is not there", SITE_LAST "weather=my-barometer\n",
     "thole.conf:9: [site home] weather=my-barometer: unknown source; accepted are open-meteo, "
     "met-norway, file:PATH and none"},
    {"a chain of sources with a hole", SITE_LAST "weather=open-meteo; ; none\n",
     "thole.conf:9: [site home] weather=open-meteo; ; none: unknown source; accepted are "
     "open-meteo, met-norway, file:PATH and none"},
    {"a source twice", SITE_LAST "weather=open-meteo;file:/a;open-meteo\n",
     "thole.conf:9: [site home] weather=open-meteo;file:/a;open-meteo: the same source twice; "
     "accepted is each one once"},
    {"no forecast beside one", SITE_LAST "weather=open-meteo; none\n",
     "thole.conf:9: [site home] weather=open-meteo; none: none beside another source; accepted is "
     "none by itself"},
    {"MET Norway asked by nobody", SITE_LAST "weather=file:/met-norway.csv; met-norway\n",
     "thole.conf:9: [site home] weather=file:/met-norway.csv; met-norway: MET Norway answers only "
     "those who say who they are; accepted with a section [weather met-norway], and in it contact= "
     "with your mail or web address"},
    {"a service that is not there", SITE_LAST "[weather other]\n",
     "thole.conf:9: [weather other]: no such service; services: open-meteo, met-norway"},
    {"a service without encryption", SITE_LAST "[weather open-meteo]\nurl=http://example.org/v1\n",
     "thole.conf:10: [weather open-meteo] url=http://example.org/…: not an address to ask; "
     "accepted is https://HOST/PATH without ? or #, at most 255 bytes (http only for this "
     "machine)"},
    {"a service's key that is not there", SITE_LAST "[weather open-meteo]\nkey-file=/no/key\n",
     "thole.conf:10: [weather open-meteo] key-file=/no/key: /no/key: cannot be read: No "
     "such file or directory"},
    {"a weather file without a name", SITE_LAST "weather=file:\n",
     "thole.conf:9: [site home] weather=file:: unknown source; accepted are open-meteo, "
     "met-norway, file:PATH and none"},
    {"a contact that is nobody's", BASE "[weather met-norway]\ncontact=me\n",
     "thole.conf:10: [weather met-norway] contact=me: " REACHED},
    {"a contact of two words", BASE "[weather met-norway]\ncontact=me me@plot.example\n",
     "thole.conf:10: [weather met-norway] contact=me me@plot.example: " REACHED},
    {"a contact that is no ASCII", BASE "[weather met-norway]\ncontact=jö@plot.example\n",
     "thole.conf:10: [weather met-norway] contact=jö@plot.example: " REACHED},
    {"a contact where none is read", BASE "[weather open-meteo]\ncontact=me@plot.example\n",
     "thole.conf:10: [weather open-meteo] contact: unknown key; keys here: url, key-file"},
    {"a last frost that is no date", SITE_LAST "last-frost=02-30 sd 12\n",
     "thole.conf:9: [site home] last-frost=02-30 sd 12: not a date; accepted is MM-DD sd "
     "DAYS with 1 to 60 days, such as 05-12 sd 12"},
    {"a last frost with an impossible spread", SITE_LAST "last-frost=05-12 sd 90\n",
     "thole.conf:9: [site home] last-frost=05-12 sd 90: not a date; accepted is MM-DD sd "
     "DAYS with 1 to 60 days, such as 05-12 sd 12"},
    {"a visit of no time", SITE_LAST "visit-minutes=0\n",
     "thole.conf:9: [site home] visit-minutes=0: out of range; accepted is 1 to 240 minutes"},
    {"a last frost in words", SITE_LAST "last-frost=12 May\n",
     "thole.conf:9: [site home] last-frost=12 May: not a date; accepted is MM-DD sd DAYS "
     "with 1 to 60 days, such as 05-12 sd 12"},
    {"normals that are not there", SITE_LAST "normals=nowhere.csv\n",
     "thole.conf:9: [site home] normals=nowhere.csv: nowhere.csv: cannot be read: Error "
     "opening file /etc/nowhere.csv: No such file or directory"},
    {"a site where nothing stands",
     SITE_LAST "[site plot]\nlatitude=1\nlongitude=1\n[place porch]\nkind=porch\nsite=home\n",
     "thole.conf:9: [site plot]: no place stands there; accepted is a [place NAME] with "
     "site=plot"},
    {"a site that nobody visits",
     VISITED "[site plot]\nlatitude=1\nlongitude=1\n[place bed]\nkind=bed\nsite=plot\n[place "
             "shelf]\nkind=porch\nsite=home\n",
     "thole.conf:9: [site plot]: nobody visits it; accepted is visits-plot in a [grower "
     "NAME]"},
    {"a place without a kind", BASE "[place frame]\ntrays=6\n",
     "thole.conf:9: [place frame] kind: is missing; accepted: propagator, sill, porch, "
     "tunnel, greenhouse, cold-frame, box, fleece, standing, bed"},
    {"an unknown kind", BASE "[place frame]\nkind=cold-farme\n",
     "thole.conf:10: [place frame] kind=cold-farme: unknown; did you mean \"cold-frame\"? "
     "accepted: propagator, sill, porch, tunnel, greenhouse, cold-frame, box, fleece, "
     "standing, bed"},
    {"an unknown material", BASE "[place frame]\nkind=cold-frame\nmaterial=perspex\n",
     "thole.conf:11: [place frame] material=perspex: unknown; accepted: glass, twin-wall, "
     "acrylic, polythene, thermal-polythene, fleece, fleece-17, fleece-30, fleece-50, net"},
    {"a fleece of glass", BASE "[place sheet]\nkind=fleece\nmaterial=glass\n",
     "thole.conf:11: [place sheet] material=glass: unknown; accepted: polythene, "
     "thermal-polythene, fleece, fleece-17, fleece-30, fleece-50, blanket, net"},
    {"no trays at all", BASE "trays=0\n",
     "thole.conf:9: [place sill] trays=0: accepted is a whole number from 1 to 1000 trays"},
    {"half a tray", BASE "trays=2.5\n",
     "thole.conf:9: [place sill] trays=2.5: accepted is a whole number from 1 to 1000 trays"},
    {"no height", BASE "height-cm=0\n",
     "thole.conf:9: [place sill] height-cm=0: out of range; accepted is 1 to 1000 cm"},
    {"a length without a width", BASE "length-cm=100\n",
     "thole.conf:9: [place sill] length-cm=100: given alone; accepted are length-cm and "
     "width-cm together"},
    {"a width without a length", BASE "width-cm=100\n",
     "thole.conf:9: [place sill] width-cm=100: given alone; accepted are length-cm and "
     "width-cm together"},
    {"a floor that is not known", BASE "[place frame]\nkind=cold-frame\nstands-on=grass\n",
     "thole.conf:11: [place frame] stands-on=grass: unknown; accepted: soil, slab, shelf"},
    {"props that fall", BASE "[place frame]\nkind=cold-frame\nprop-heights-cm=20,10\n",
     "thole.conf:11: [place frame] prop-heights-cm=20,10: not a list of heights; accepted "
     "are one to 4 rising heights from 1 to 200 cm, such as 10,20"},
    {"a prop of no height", BASE "[place frame]\nkind=cold-frame\nprop-heights-cm=0\n",
     "thole.conf:11: [place frame] prop-heights-cm=0: not a list of heights; accepted are "
     "one to 4 rising heights from 1 to 200 cm, such as 10,20"},
    {"more props than a cover may have",
     BASE "[place frame]\nkind=cold-frame\nprop-heights-cm=5,10,15,20,25\n",
     "thole.conf:11: [place frame] prop-heights-cm=5,10,15,20,25: not a list of heights; "
     "accepted are one to 4 rising heights from 1 to 200 cm, such as 10,20"},
    {"a cover neither fixed nor not", BASE "[place frame]\nkind=cold-frame\nfixed=maybe\n",
     "thole.conf:11: [place frame] fixed=maybe: unknown; accepted: no, yes"},
    {"a tunnel that could be taken off", BASE "[place tunnel]\nkind=tunnel\nfixed=no\n",
     "thole.conf:11: [place tunnel] fixed: unknown key; keys here: kind, inside, site, "
     "trays, length-cm, width-cm, height-cm, stands-on, material, leakage, gust-limit-ms, "
     "opener-c, heater-watts, set-point-c, soil-cable-watts, soil-cable-c, water-litres, mains"},
    {"a set point to cook at",
     BASE "[place frame]\nkind=cold-frame\nheater-watts=100\nset-point-c=80\n",
     "thole.conf:12: [place frame] set-point-c=80: out of range; accepted is 0 to 35 °C"},
    {"a set point without a heater", BASE "[place frame]\nkind=cold-frame\nset-point-c=5\n",
     "thole.conf:11: [place frame] set-point-c=5: given alone; accepted are heater-watts "
     "and set-point-c together"},
    {"a heater without a set point", BASE "[place frame]\nkind=cold-frame\nheater-watts=100\n",
     "thole.conf:11: [place frame] heater-watts=100: given alone; accepted are heater-watts "
     "and set-point-c together"},
    {"a soil cable without a thermostat",
     BASE "[place frame]\nkind=cold-frame\nsoil-cable-watts=100\n",
     "thole.conf:11: [place frame] soil-cable-watts=100: given alone; accepted are "
     "soil-cable-watts and soil-cable-c together"},
    {"a soil cable to cook at",
     BASE "[place frame]\nkind=cold-frame\nsoil-cable-watts=100\nsoil-cable-c=60\n",
     "thole.conf:12: [place frame] soil-cable-c=60: out of range; accepted is 0 to 30 °C"},
    {"water for a lake", BASE "[place frame]\nkind=cold-frame\nwater-litres=90000\n",
     "thole.conf:11: [place frame] water-litres=90000: out of range; accepted is 1 to 20000 "
     "litres"},
    {"a room without a heater", BASE "[place prop]\nkind=propagator\nroom-c=10-16\n",
     "thole.conf:11: [place prop] room-c=10-16: given alone; accepted are heater-watts and room-c "
     "together"},
    {"a room upside down", BASE "[place prop]\nkind=propagator\nheater-watts=20\nroom-c=16-10\n",
     "thole.conf:12: [place prop] room-c=16-10: not a range; accepted is NIGHT-DAY in °C, from -10 "
     "to 40, such as 12-20"},
    {"a propagator's air given twice",
     BASE "[place prop]\nkind=propagator\nheater-watts=20\nrange-c=16-20\n",
     "thole.conf:12: [place prop] range-c=16-20: its air follows from its heater and the room; "
     "accepted is range-c, or heater-watts with room-c"},
    {"a propagator too hot", BASE "[place prop]\nkind=propagator\nset-point-c=80\n",
     "thole.conf:11: [place prop] set-point-c=80: out of range; accepted is 5 to 35 °C"},
    {"an indoor range upside down", BASE "range-c=20-12\n",
     "thole.conf:9: [place sill] range-c=20-12: not a range; accepted is NIGHT-DAY in °C, "
     "from -10 to 40, such as 12-20"},
    {"an indoor range of one number", BASE "range-c=20\n",
     "thole.conf:9: [place sill] range-c=20: not a range; accepted is NIGHT-DAY in °C, from "
     "-10 to 40, such as 12-20"},
    {"a leak beyond reason", BASE "[place frame]\nkind=cold-frame\nleakage=100\n",
     "thole.conf:11: [place frame] leakage=100: out of range; accepted is 0 to 60 air "
     "changes an hour"},
    {"a leak of fleece, which is porous anyhow", BASE "[place sheet]\nkind=fleece\nleakage=1\n",
     "thole.conf:11: [place sheet] leakage: unknown key; keys here: kind, inside, site, "
     "trays, length-cm, width-cm, height-cm, stands-on, material, gust-limit-ms, mains"},
    {"a gust limit of no wind", BASE "[place frame]\nkind=cold-frame\ngust-limit-ms=0\n",
     "thole.conf:11: [place frame] gust-limit-ms=0: out of range; accepted is 3 to 40 m/s"},
    {"an opener that never closes", BASE "[place frame]\nkind=cold-frame\nopener-c=2\n",
     "thole.conf:11: [place frame] opener-c=2: out of range; accepted is 10 to 40 °C"},
    {"more than the whole footprint",
     BASE "[place box]\nkind=box\ninside=tunnel\nfootprint=120\n[place tunnel]\nkind=tunnel\n",
     "thole.conf:12: [place box] footprint=120: out of range; accepted is 1 to 100 percent"},
    {"footprints that are too much together",
     BASE "[place tunnel]\nkind=tunnel\n[place a]\nkind=box\ninside=tunnel\nfootprint=60\n[place "
          "b]\nkind=box\ninside=tunnel\nfootprint=50\n",
     "thole.conf:18: [place b] footprint=50: the places inside tunnel need more than its "
     "whole floor; accepted are at most 100 percent together"},
    {"nothing left for a third",
     BASE "[place tunnel]\nkind=tunnel\n[place "
          "a]\nkind=box\ninside=tunnel\nfootprint=100\n[place b]\nkind=box\ninside=tunnel\n",
     "thole.conf:15: [place b]: no floor of tunnel is left for it; accepted are at most 100 "
     "percent together"},
    {"a box larger than its tunnel",
     BASE "[place tunnel]\nkind=tunnel\nlength-cm=300\nwidth-cm=200\n[place "
          "a]\nkind=box\ninside=tunnel\nlength-cm=400\nwidth-cm=200\n",
     "thole.conf:16: [place a] length-cm=400: the places inside tunnel need more than its "
     "whole floor; accepted are at most 100 percent together"},
    {"a footprint of what stands in nothing", BASE "[place frame]\nkind=cold-frame\nfootprint=50\n",
     "thole.conf:11: [place frame] footprint: unknown key; keys here: kind, inside, site, "
     "trays, length-cm, width-cm, height-cm, stands-on, material, prop-heights-cm, fixed, "
     "leakage, gust-limit-ms, opener-c, heater-watts, set-point-c, soil-cable-watts, "
     "soil-cable-c, water-litres, mains"},
    {"a place inside nothing known",
     BASE "[place box]\nkind=box\ninside=tunel\n[place tunnel]\nkind=tunnel\n",
     "thole.conf:11: [place box] inside=tunel: no such place; did you mean \"tunnel\"? "
     "outdoor places: tunnel"},
    {"a place inside itself", BASE "[place box]\nkind=box\ninside=box\n",
     "thole.conf:11: [place box] inside=box: a place cannot stand inside itself; outdoor "
     "places: none"},
    {"a circle of places",
     BASE "[place a]\nkind=box\ninside=b\n[place b]\nkind=box\ninside=c\n[place "
          "c]\nkind=box\ninside=a\n",
     "thole.conf:11: [place a] inside=b: a place cannot stand inside itself (a inside b "
     "inside c inside a); accepted is a place that stands free of it"},
    {"a frame on the sill", BASE "[place box]\nkind=box\ninside=sill\n",
     "thole.conf:11: [place box] inside=sill: that place is indoors; outdoor places: none"},
    {"both site and inside",
     BASE "[place tunnel]\nkind=tunnel\n[place box]\nkind=box\nsite=home\ninside=tunnel\n",
     "thole.conf:13: [place box] site=home: it stands inside another place, whose site "
     "counts; accepted is site or inside, not both"},
    {"a place that is called as its site", BASE "[place home]\nkind=bed\n",
     "thole.conf:9: [place home]: a site has that name; accepted is one that no site has"},
    {"an unknown site", BASE "[place bed]\nkind=bed\nsite=hoem\n",
     "thole.conf:11: [place bed] site=hoem: no such site; did you mean \"home\"? sites: home"},
    {"a site to choose",
     VISITED
     "visits-plot=18:00-19:00\n[site plot]\nlatitude=1\nlongitude=1\n[place bed]\nkind=bed\n",
     "thole.conf:13: [place bed] site: is missing; sites: home, plot"},
    {"a container that is new and half told", BASE "[container can]\nvolume-ml=300\n",
     "thole.conf:9: [container can] per-tray: is missing; a container that is not built in "
     "needs volume-ml, per-tray and hold-max-weeks"},
    {"a container without volume", BASE "[container pot-9]\nvolume-ml=0\n",
     "thole.conf:10: [container pot-9] volume-ml=0: out of range; accepted is 1 to 20000 ml"},
    {"risk beyond half", BASE "[garden]\nrisk-damage=80\n",
     "thole.conf:10: [garden] risk-damage=80: out of range; accepted is 0.01 to 50 percent"},
    {"a risk that is no number", BASE "[garden]\nrisk-check=ten\n",
     "thole.conf:10: [garden] risk-check=ten: not a number; accepted is 0.1 to 100 percent"},
    {"no such unit", BASE "[garden]\nunits=K\n",
     "thole.conf:10: [garden] units=K: unknown; accepted: C, F"},
    {"assumed done before it is due", BASE "[garden]\nassume-done-hours=0\n",
     "thole.conf:10: [garden] assume-done-hours=0: accepted is a whole number from 1 to 48 "
     "hours"},
    {"a grower without visits", GROWER_LAST "travel-minutes=5\n",
     "thole.conf:7: [grower one]: no visits; accepted is visits-SITE for at least one site, "
     "such as visits-home=07:00-08:30; 17:30-dusk"},
    {"visits to an unknown site", VISITED "visits-plott=18:00-19:00\n",
     "thole.conf:9: [grower one] visits-plott=18:00-19:00: no such site; sites: home"},
    {"visits that end before they begin", GROWER_LAST "visits-home=18:00-07:00\n",
     "thole.conf:8: [grower one] visits-home=18:00-07:00: \"18:00-07:00\" is a span that "
     "ends before it begins; accepted are spans such as 07:00-08:30; Mon-Fri 17:30-dusk; "
     "Sat,Sun 09:00-18:00"},
    {"visits of no length", GROWER_LAST "visits-home=18:00-18:00\n",
     "thole.conf:8: [grower one] visits-home=18:00-18:00: \"18:00-18:00\" is a span that "
     "ends before it begins; accepted are spans such as 07:00-08:30; Mon-Fri 17:30-dusk; "
     "Sat,Sun 09:00-18:00"},
    {"visits past midnight", GROWER_LAST "visits-home=18:00-24:30\n",
     "thole.conf:8: [grower one] visits-home=18:00-24:30: \"18:00-24:30\" is a span whose "
     "hours cannot be read; accepted are spans such as 07:00-08:30; Mon-Fri 17:30-dusk; "
     "Sat,Sun 09:00-18:00"},
    {"visits on a day that is none", GROWER_LAST "visits-home=Mo-Fri 18:00-19:00\n",
     "thole.conf:8: [grower one] visits-home=Mo-Fri 18:00-19:00: \"Mo-Fri 18:00-19:00\" is "
     "a span whose days cannot be read; accepted are spans such as 07:00-08:30; Mon-Fri "
     "17:30-dusk; Sat,Sun 09:00-18:00"},
    {"visits at an hour without minutes", GROWER_LAST "visits-home=7-8\n",
     "thole.conf:8: [grower one] visits-home=7-8: \"7-8\" is a span whose hours cannot be "
     "read; accepted are spans such as 07:00-08:30; Mon-Fri 17:30-dusk; Sat,Sun 09:00-18:00"},
    {"an empty span among visits", GROWER_LAST "visits-home=07:00-08:00;; 18:00-19:00\n",
     "thole.conf:8: [grower one] visits-home=07:00-08:00;; 18:00-19:00: \"\" is an empty "
     "span; accepted are spans such as 07:00-08:30; Mon-Fri 17:30-dusk; Sat,Sun 09:00-18:00"},
    {"visits from dusk", GROWER_LAST "visits-home=dusk-22:00\n",
     "thole.conf:8: [grower one] visits-home=dusk-22:00: \"dusk-22:00\" is a span whose "
     "days cannot be read; accepted are spans such as 07:00-08:30; Mon-Fri 17:30-dusk; "
     "Sat,Sun 09:00-18:00"},
    {"a home that is not a site", VISITED "home=shed\n",
     "thole.conf:9: [grower one] home=shed: no such site; sites: home"},
    {"a journey longer than half a day", VISITED "travel-minutes=900\n",
     "thole.conf:9: [grower one] travel-minutes=900: out of range; accepted is 0 to 600 "
     "minutes"},
    {"four visits a day", VISITED "visits-a-day-home=4\n",
     "thole.conf:9: [grower one] visits-a-day-home=4: accepted is a whole number from 1 to "
     "3 visits"},
    {"no trays on a trip", VISITED "trays-per-trip=0\n",
     "thole.conf:9: [grower one] trays-per-trip=0: accepted is a whole number from 1 to 1000 "
     "trays"},
    {"no visits a day", VISITED "visits-a-day-away=0\n",
     "thole.conf:9: [grower one] visits-a-day-away=0: accepted is a whole number from 1 to "
     "3 visits"},
    {"a batch-day worth nothing", VISITED "minutes-per-batch-day=0\n",
     "thole.conf:9: [grower one] minutes-per-batch-day=0: out of range; accepted is 1 to "
     "1440 minutes"},
    {"a misspelt cap", VISITED "visits-a-day-hom=2\n",
     "thole.conf:9: [grower one] visits-a-day-hom: unknown key; did you mean "
     "\"visits-a-day-home\"? keys here: home, travel-minutes, visits-a-day-home, "
     "visits-a-day-away, trays-per-trip, minutes-per-batch-day, desktop, visits-home"},
    {"a desktop that may be", VISITED "desktop=perhaps\n",
     "thole.conf:9: [grower one] desktop=perhaps: unknown; accepted: no, yes"},
    {"a number no double holds",
     BASE "length-cm=10000000000000000000000000000000000000000000000000000000000000000000000\n",
     "thole.conf:9: [place sill] "
     "length-cm=100000000000000000000000000000000000000000000000000000000000...: out of "
     "range; accepted is 5 to 20000 cm"},
    {"13 places in one another",
     BASE "[place t]\nkind=tunnel\n[place b0]\nkind=bed\ninside=t\n[place "
          "b1]\nkind=bed\ninside=t\n[place b2]\nkind=bed\ninside=t\n[place "
          "b3]\nkind=bed\ninside=t\n[place b4]\nkind=bed\ninside=t\n[place "
          "b5]\nkind=bed\ninside=t\n[place b6]\nkind=bed\ninside=t\n[place "
          "b7]\nkind=bed\ninside=t\n[place b8]\nkind=bed\ninside=t\n[place "
          "b9]\nkind=bed\ninside=t\n[place b10]\nkind=bed\ninside=t\n[place "
          "b11]\nkind=bed\ninside=t\n",
     "thole.conf:44: [place b11]: too many places inside t; accepted are at most 11"},
    {"a value too long for a weather path", SITE_LAST "weather=file:/" A_128 A_128 A_128 A_128 "\n",
     "thole.conf:9: [site home] "
     "weather=file:/aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa...: with whole paths it "
     "is too long; accepted are at most 511 bytes"},
    {"an empty list of days", GROWER_LAST "visits-home=Mon,,Fri 18:00-19:00\n",
     "thole.conf:8: [grower one] visits-home=Mon,,Fri 18:00-19:00: \"Mon,,Fri 18:00-19:00\" "
     "is a span whose days cannot be read; accepted are spans such as 07:00-08:30; Mon-Fri "
     "17:30-dusk; Sat,Sun 09:00-18:00"},
    {"a home further than any", SITE_LAST "altitude=high\n",
     "thole.conf:9: [site home] altitude=high: not a number; accepted is -430 to 6000 m"},
};

static void test_bases_are_gardens(void **state)
{
    static const char *const good[] = {BASE, SITE_LAST, VISITED};

    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(good); i++) {
        g_autoptr(GError) error = NULL;
        g_autoptr(Garden) garden =
            garden_parse(good[i], strlen(good[i]), "thole.conf", NULL, 0, NULL, &error);

        if (garden == NULL)
            fail_msg("base %d: %s", (int)i, error->message);
    }
}

static void test_messages(void **state)
{
    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_autoptr(GError) error = NULL;
        g_autoptr(Garden) garden = garden_parse(rows[i].text, strlen(rows[i].text),
                                                "/etc/thole.conf", NULL, 0, NULL, &error);

        if (garden != NULL)
            fail_msg("%s: was accepted", rows[i].sentence);
        if (!g_error_matches(error, CONFIG_ERROR, CONFIG_ERROR_INVALID) ||
            strcmp(error->message, rows[i].message) != 0)
            fail_msg("%s:\n  said   %s\n  wanted %s", rows[i].sentence, error->message,
                     rows[i].message);
    }
}

static void test_places_in_use(void **state)
{
    static const char *const kept[] = {"sill", NULL};
    static const char *const gone[] = {"sill", "frame", NULL};
    g_autoptr(GError) error = NULL;
    g_autoptr(Garden) garden =
        garden_parse(BASE, strlen(BASE), "thole.conf", NULL, 0, kept, &error);
    g_autoptr(Garden) refused = NULL;

    (void)state;
    assert_non_null(garden);
    refused = garden_parse(BASE, strlen(BASE), "thole.conf", NULL, 0, gone, &error);
    assert_null(refused);
    assert_string_equal(
        error->message,
        "thole.conf: [place frame] is gone but batches stand there; keep the section, "
        "or move the batches first");
}

static void test_limits(void **state)
{
    g_autoptr(GString) sections = g_string_new(NULL);
    g_autoptr(GString) keys = g_string_new("[garden]\n");
    g_autofree char *blank = g_strnfill(CONFIG_BYTES_MAX + 1, '\n');
    static const char *const messages[] = {
        "thole.conf: 1048577 bytes; accepted are at most 1048576",
        "thole.conf:501: more than 500 sections; remove some",
        "thole.conf:202: [garden] k200: more than 200 keys in a section; remove some",
    };

    (void)state;
    for (int i = 0; i <= CONFIG_SECTIONS_MAX; i++)
        g_string_append_printf(sections, "[bed b%d]\n", i);
    for (int i = 0; i <= CONFIG_ENTRIES_MAX; i++)
        g_string_append_printf(keys, "k%d=1\n", i);
    for (gsize i = 0; i < G_N_ELEMENTS(messages); i++) {
        const char *text = i == 0 ? blank : i == 1 ? sections->str : keys->str;
        g_autoptr(GError) error = NULL;
        g_autoptr(Config) config = config_scan(text, strlen(text), "thole.conf", &error);

        assert_null(config);
        assert_string_equal(error->message, messages[i]);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_bases_are_gardens),
        cmocka_unit_test(test_messages),
        cmocka_unit_test(test_places_in_use),
        cmocka_unit_test(test_limits),
    };
    return cmocka_run_group_tests_name("garden-errors", tests, NULL, NULL);
}

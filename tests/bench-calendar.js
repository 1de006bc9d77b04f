// SPDX-License-Identifier: MIT
//
// One task of bench-calendar.c, done with ical.js: node bench-calendar.js FOLDER TASK, with NODE_PATH
// to where .ci/setup put that library.
'use strict';
const fs = require('fs');
const path = require('path');
const ICAL = require(path.join(process.env.NODE_PATH, 'ical.js', 'dist', 'ical.es5.cjs'));

const ROUNDS = 3;
const [folder, task] = process.argv.slice(2);
const load = (name) => fs.readFileSync(path.join(folder, name), 'utf8');
const STAMP = ICAL.Time.fromDateTimeString('2027-01-15T07:01:00Z');
const TIMES = ['dtstart', 'dtend', 'status', 'sequence'];
const TEXTS = ['summary', 'location', 'description'];

// An event of the library as plain data, which is what writing begins from.
const plain = (event) => ({
    ...Object.fromEntries(['uid', 'dtstamp', 'created', ...TIMES, ...TEXTS]
        .map((name) => [name, event.getFirstPropertyValue(name)])),
    categories: event.getAllProperties('categories').flatMap((one) => one.getValues()),
    alarms: event.getAllSubcomponents('valarm').map((alarm) => ({
        uid: alarm.getFirstPropertyValue('uid'),
        text: alarm.getFirstPropertyValue('description'),
        trigger: alarm.getFirstPropertyValue('trigger'),
    })),
});

const buildAlarms = (event, data) => data.alarms.map(({uid, text, trigger}) => {
    const alarm = new ICAL.Component('valarm', event);
    alarm.addPropertyWithValue('uid', uid);
    alarm.addPropertyWithValue('action', 'DISPLAY');
    alarm.addPropertyWithValue('description', text);
    alarm.addPropertyWithValue('trigger', trigger);
    event.addSubcomponent(alarm);
    return alarm;
});

const build = (data) => {
    const event = new ICAL.Component('vevent');
    for (const name of ['uid', 'dtstamp', 'created', ...TIMES, ...TEXTS]) event.addPropertyWithValue(name, data[name]);
    event.addPropertyWithValue('last-modified', data.dtstamp);
    event.addPropertyWithValue('transp', 'TRANSPARENT');
    for (const category of data.categories) event.addPropertyWithValue('categories', category);
    buildAlarms(event, data);
    return event;
};

const calendar = (events) => {
    const made = new ICAL.Component('vcalendar');
    made.addPropertyWithValue('version', '2.0');
    made.addPropertyWithValue('prodid', '-//thole//bench//EN');
    for (const event of events) made.addSubcomponent(build(event));
    return made.toString();
};

const parse = (text) => new ICAL.Component(ICAL.parse(text));
const events = (name) => parse(load(name)).getAllSubcomponents('vevent').map(plain);

// Which events are new, gone, moved, or say other words.
const same = (a, b) => a === b || String(a) === String(b);
const sameAlarms = (a, b) => a.length === b.length && a.every((one, i) =>
    one.text === b[i].text && same(one.trigger, b[i].trigger));
const diff = (old, next) => {
    const before = new Map(old.map((event) => [event.uid, event]));
    const after = new Map(next.map((event) => [event.uid, event]));
    const kinds = {added: [], left: [], moved: [], reworded: []};
    for (const [uid, b] of after) {
        const a = before.get(uid);
        if (a === undefined) kinds.added.push(uid);
        else if (['dtstart', 'dtend', 'status'].some((name) => !same(a[name], b[name]))) kinds.moved.push(uid);
        else if ([...TEXTS, 'categories'].some((name) => !same(a[name], b[name])) ||
            !sameAlarms(a.alarms, b.alarms)) kinds.reworded.push(uid);
    }
    for (const uid of before.keys()) if (!after.has(uid)) kinds.left.push(uid);
    return kinds;
};

// New times and words in an object; an alarm that was seen stays so where it rings as before.
const merge = (text, data) => {
    const object = parse(text);
    const event = object.getFirstSubcomponent('vevent');
    const start = event.getFirstPropertyValue('dtstart').toUnixTime();
    const seen = new Map(event.getAllSubcomponents('valarm').filter((alarm) => alarm.hasProperty('acknowledged'))
        .map((alarm) => [start + alarm.getFirstPropertyValue('trigger').toSeconds(),
            alarm.getFirstPropertyValue('acknowledged')]));
    for (const name of [...TIMES, ...TEXTS]) event.updatePropertyWithValue(name, data[name]);
    for (const name of ['dtstamp', 'last-modified']) event.updatePropertyWithValue(name, STAMP);
    event.removeAllProperties('categories');
    for (const category of data.categories) event.addPropertyWithValue('categories', category);
    event.removeAllSubcomponents('valarm');
    for (const alarm of buildAlarms(event, data)) {
        const at = seen.get(data.dtstart.toUnixTime() + alarm.getFirstPropertyValue('trigger').toSeconds());
        if (at !== undefined) alarm.addPropertyWithValue('acknowledged', at);
    }
    return object.toString();
};

const prepare = () => {
    if (task === 'write' || task === 'objects') {
        const next = events('new.ics');
        return task === 'write' ? () => calendar(next) : () => next.forEach((event) => calendar([event]));
    }
    if (task === 'diff') {
        const [old, next] = [events('old.ics'), events('new.ics')];
        return () => diff(old, next);
    }
    const texts = JSON.parse(load('objects.json'));
    if (task === 'read') return () => texts.forEach((text) => plain(parse(text).getFirstSubcomponent('vevent')));
    const after = new Map(events('new.ics').map((event) => [event.uid, event]));
    const pairs = texts.map((text) => [text, after.get(text.split('UID:', 2)[1].split('\r\n', 1)[0])]);
    return () => pairs.forEach((pair) => merge(...pair));
};

const statusKb = (field) => Number(new RegExp(`${field}:\\s+(\\d+)`).exec(fs.readFileSync('/proc/self/status', 'utf8'))[1]);
const run = prepare();
fs.writeFileSync('/proc/self/clear_refs', '5');
const beforeKb = statusKb('VmRSS');
let bestMs = Infinity;
let grownKb = 0;
for (let round = 0; round < ROUNDS; round++) {
    const begun = process.cpuUsage();
    run();
    const used = process.cpuUsage(begun);
    bestMs = Math.min(bestMs, (used.user + used.system) / 1e3);
    grownKb = grownKb || statusKb('VmHWM') - beforeKb;
}
console.log(`${bestMs.toFixed(1)} ${grownKb}`);

// SPDX-License-Identifier: MIT
//
// Usage: node calendar-reader.js ical.js|node-ical, with NODE_PATH to where .ci/setup put them.
// What that library reads in each calendar whose path comes on standard input: a line of JSON each,
// as calendar-reader.py prints it. Two of the readers of calendar-readers.sh.
'use strict';
const fs = require('fs');
const path = require('path');

const asList = (found) => (found === undefined ? [] : Array.isArray(found) ? found : [found]);

// ical.js is an ES module with a build for require() beside it.
function withIcalJs() {
    const folder = process.env.NODE_PATH;
    const ICAL = require(path.join(folder, 'ical.js', 'dist', 'ical.es5.cjs'));
    const instant = (time) => {
        if (time.zone !== ICAL.Timezone.utcTimezone) throw new Error(`not in UTC: ${time}`);
        return time.toUnixTime();
    };
    const event = (component) => {
        const text = (of, name) => of.getFirstPropertyValue(name) ?? '';
        const start = instant(component.getFirstPropertyValue('dtstart'));
        return {
            uid: text(component, 'uid'),
            sequence: text(component, 'sequence'),
            start,
            end: instant(component.getFirstPropertyValue('dtend')),
            status: text(component, 'status'),
            summary: text(component, 'summary'),
            location: text(component, 'location'),
            description: text(component, 'description'),
            categories: component.getAllProperties('categories').flatMap((one) => one.getValues()),
            alarms: component.getAllSubcomponents('valarm').map((alarm) => ({
                action: text(alarm, 'action'),
                text: text(alarm, 'description'),
                at: start + alarm.getFirstPropertyValue('trigger').toSeconds(),
            })),
        };
    };
    return (text) => new ICAL.Component(ICAL.parse(text)).getAllSubcomponents('vevent').map(event);
}

function withNodeIcal() {
    const ical = require(path.join(process.env.NODE_PATH, 'node-ical'));
    const SECONDS = {W: 604800, D: 86400, H: 3600, M: 60, S: 1};
    const seconds = (time) => {
        if (time.tz !== 'Etc/UTC') throw new Error(`not in UTC: ${time} ${time.tz}`);
        return time.getTime() / 1000;
    };
    // It leaves the trigger as it was written.
    const trigger = (text) => {
        const sign = text.startsWith('-') ? -1 : 1;
        return sign * [...text.matchAll(/(\d+)([WDHMS])/g)]
            .reduce((sum, [, number, unit]) => sum + Number(number) * SECONDS[unit], 0);
    };
    const event = (read) => {
        const start = seconds(read.start);
        return {
            uid: read.uid,
            sequence: Number(read.sequence),
            start,
            end: seconds(read.end),
            status: read.status,
            summary: read.summary ?? '',
            location: read.location ?? '',
            description: read.description ?? '',
            categories: asList(read.categories),
            // An alarm with a UID of its own is filed in the event under that UID.
            alarms: Object.values(read).flatMap(asList)
                .filter((part) => part !== null && part?.type === 'VALARM')
                .map((alarm) => ({
                    action: alarm.action,
                    text: alarm.description ?? '',
                    at: start + trigger(alarm.trigger),
                })),
        };
    };
    return (text) => Object.values(ical.sync.parseICS(text))
        .filter((part) => part?.type === 'VEVENT').map(event);
}

const read = process.argv[2] === 'ical.js' ? withIcalJs() : withNodeIcal();
for (const file of fs.readFileSync(0, 'utf8').split('\n').filter((line) => line !== '')) {
    console.log(JSON.stringify({file, events: read(fs.readFileSync(file, 'utf8'))}));
}

#!/bin/sh
# SPDX-License-Identifier: MIT
#
# The schemas are valid, each fixture in tests/ctl has the shape that its schema says ("today-quiet" that of
# today), each schema has a fixture, and a fixture with anything missing or added is refused.

set -u
exec /usr/bin/python3 - "$THOLE_SOURCE_DIR" <<'END'
import copy, json, pathlib, sys
import jsonschema

top = pathlib.Path(sys.argv[1])
schemas = {p.stem: json.loads(p.read_text()) for p in sorted((top / "docs/schema").glob("*.json"))}
fixtures = {p.stem: json.loads(p.read_text()) for p in sorted((top / "tests/ctl").glob("*.json"))}
store = {name + ".json": schema for name, schema in schemas.items()}


def schema_of(fixture):
    return fixture if fixture in schemas else fixture.split("-")[0]


def faults(name, value):
    schema = schemas[name]
    resolver = jsonschema.RefResolver(name + ".json", schema, store=store)
    validator = jsonschema.Draft202012Validator(schema, resolver=resolver)
    return [f"{'/'.join(map(str, e.path))}: {e.message}" for e in validator.iter_errors(value)]


def objects(value):
    """Every object inside a value, each with its path."""
    if isinstance(value, dict):
        yield value
    for child in value.values() if isinstance(value, dict) else value if isinstance(value, list) else []:
        yield from objects(child)


def accepted_mutations(name, value):
    """How many objects may lose a member, or gain one, unnoticed."""
    count = 0
    for i, found in enumerate(objects(value)):
        for member in list(found) + [None]:
            changed = copy.deepcopy(value)
            target = list(objects(changed))[i]
            if member is None:
                target["unheard-of"] = 1
            else:
                del target[member]
            count += not faults(name, changed)
    return count


results = []
for name, schema in schemas.items():
    try:
        jsonschema.Draft202012Validator.check_schema(schema)
        fault = []
    except jsonschema.SchemaError as error:
        fault = [error.message]
    if name != "common" and name not in map(schema_of, fixtures):
        fault.append("no fixture")
    results.append((f"the schema {name}", fault))
for name, value in fixtures.items():
    fault = faults(schema_of(name), value)
    if not fault and name != "export" and accepted_mutations(schema_of(name), value):
        fault = ["it may lose or gain a member unnoticed"]
    results.append((f"the fixture {name}", fault))

print(f"1..{len(results)}")
for number, (what, fault) in enumerate(results, 1):
    print("not ok" if fault else "ok", number, "-", what)
    for line in fault[:5]:
        print("#", line)
END

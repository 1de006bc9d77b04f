# SPDX-License-Identifier: MIT
"""Whether every reply kept in a folder (NUMBER-SCHEMA.json) has the shape of its schema."""
import json
import pathlib
import sys

import jsonschema

replies, schemas_folder = map(pathlib.Path, sys.argv[1:])
schemas = {p.stem: json.loads(p.read_text()) for p in schemas_folder.glob("*.json")}
store = {name + ".json": schema for name, schema in schemas.items()}
faults = 0
paths = sorted(replies.glob("*.json"))
for path in paths:
    name = path.stem.split("-", 1)[1]
    resolver = jsonschema.RefResolver(name + ".json", schemas[name], store=store)
    validator = jsonschema.Draft202012Validator(schemas[name], resolver=resolver)
    for error in validator.iter_errors(json.loads(path.read_text())):
        print(f"# {path.name}: {'/'.join(map(str, error.path))}: {error.message[:300]}")
        faults += 1
print(f"# {len(paths)} replies checked, {faults} faults")
sys.exit(0 if paths and not faults else 1)

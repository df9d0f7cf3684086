"""Judges documents by a JSON Schema (draft 2020-12): reads {"schema": .., "documents": {name: document}} from the file given, prints
{name: [what is wrong, ..]}. Fails when the schema itself is none."""

import json
import sys

from jsonschema import Draft202012Validator

with open(sys.argv[1], encoding="utf-8") as file:
    task = json.load(file)
Draft202012Validator.check_schema(task["schema"])
judge = Draft202012Validator(task["schema"])
faults = {
    name: [f"{list(e.absolute_path)}: {e.message[:200]}" for e in judge.iter_errors(document)]
    for name, document in task["documents"].items()
}
json.dump(faults, sys.stdout)

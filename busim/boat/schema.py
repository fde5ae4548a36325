"""The JSON schema of the boat file, by which an editor completes names and marks what can't be while it is typed.

Made from the model, so it knows shapes and single values; what several values must be together only `busim check` knows.
"""

import json
from typing import Any, Final

from pydantic.json_schema import GenerateJsonSchema

from busim.boat.model import BoatFile

TITLE: Final = "busim boat file"


def schema_text() -> str:
    """The schema as JSON (2020-12), the same for every boat and every time."""
    return json.dumps(boat_schema(), indent=2) + "\n"


def boat_schema() -> dict[str, Any]:
    schema = BoatFile.model_json_schema()
    _close(schema)
    return {"$schema": GenerateJsonSchema.schema_dialect, **schema, "title": TITLE}


def _close(schema: Any) -> None:
    """Refuse names that match no pattern, here and below: pydantic says what a good name leads to, and nothing of a bad one."""
    if isinstance(schema, dict):
        if "patternProperties" in schema:
            schema.setdefault("additionalProperties", False)
        for inner in schema.values():
            _close(inner)
    elif isinstance(schema, list):
        for inner in schema:
            _close(inner)

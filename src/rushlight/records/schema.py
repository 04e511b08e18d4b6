"""The rig as a JSON Schema, for editors that help while one types.

``python -m rushlight.records.schema docs/rig.schema.json`` writes it.
"""

from __future__ import annotations

import inspect
import json
import sys
from pathlib import Path
from typing import Any

from rushlight.records.document import write_text
from rushlight.records.rig import Rig

DIALECT = "https://json-schema.org/draft/2020-12/schema"
"""JSON Schema, draft 2020-12."""


def rig_schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of a rig.

    It holds names, types and choices. What needs the whole rig or the shelf (one of ``look_at``
    and ``aim``, parts that exist, quantities that fit together) is left to ``rushlight check``.
    """
    schema = Rig.model_json_schema(by_alias=True)
    schema["title"] = "Rushlight rig"
    schema["properties"]["schema"] = {"const": Rig.SCHEMA}
    schema["properties"]["version"] = {"const": Rig.VERSION}
    schema["required"] = ["schema", "version", *schema["required"]]
    for node in [schema, *schema["$defs"].values()]:
        _tidy(node)
    return {"$schema": DIALECT, **schema}


def _tidy(node: dict[str, Any]) -> None:
    """Keep each table's first line of description, and no title that repeats a field's name."""
    if "description" in node:
        node["description"] = inspect.cleandoc(node["description"]).split("\n\n")[0]
    for field in node.get("properties", {}).values():
        field.pop("title", None)


def schema_text(schema: dict[str, Any]) -> str:
    """A schema as its file holds it."""
    return json.dumps(schema, indent=1, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    write_text(Path(sys.argv[1]), schema_text(rig_schema()))

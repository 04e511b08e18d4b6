"""The committed JSON Schema says what the models say."""

import json
from pathlib import Path
from typing import Any

from rushlight.records.schema import DIALECT, rig_schema, schema_text

ROOT = Path(__file__).resolve().parents[2]


def nodes(schema: Any) -> list[dict[str, Any]]:
    found = [schema] if isinstance(schema, dict) else []
    children = schema.values() if isinstance(schema, dict) else schema
    for child in children:
        if isinstance(child, dict | list):
            found += nodes(child)
    return found


def test_committed_schema_is_current() -> None:
    committed = (ROOT / "docs" / "rig.schema.json").read_text(encoding="utf-8")
    assert committed == schema_text(rig_schema()), (
        "write it anew: python -m rushlight.records.schema docs/rig.schema.json"
    )


def test_schema_names_its_dialect_and_every_reference_resolves() -> None:
    schema = rig_schema()
    assert schema["$schema"] == DIALECT
    references = {node["$ref"] for node in nodes(schema) if isinstance(node.get("$ref"), str)}
    assert references
    assert references == {f"#/$defs/{name}" for name in schema["$defs"]}


def test_every_table_refuses_unknown_fields() -> None:
    schema = rig_schema()
    for table in [schema, *schema["$defs"].values()]:
        assert table["additionalProperties"] is False
    assert {"schema", "version", "cameras"} <= set(schema["required"])


def test_quantities_are_texts() -> None:
    properties = rig_schema()["$defs"]["Surface"]["properties"]
    assert properties["width"]["type"] == "string"
    assert "mm" in properties["width"]["description"]
    assert json.dumps(properties["width"]["examples"]) == '["1 m"]'

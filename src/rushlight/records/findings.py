"""What is wrong with a document, in the words of its file rather than of the program."""

from __future__ import annotations

import difflib
import json
from collections.abc import Sequence
from typing import Any

from pydantic import BaseModel, ValidationError

from rushlight.errors import Finding

Location = tuple[int | str, ...]

_PATTERNS = {
    "^[a-z0-9]+(-[a-z0-9]+)*$": ("is not an id", "use lower-case letters, digits and hyphens"),
    "^[A-Z]{3}$": ("is not a currency", 'use its three capital letters, such as "EUR"'),
    "^[A-Z]{2}$": ("is not a country", "use its two capital letters"),
    r"^\d{4}-\d{2}(-\d{2})?$": ("is not a date", 'write it as "2026-05" or "2026-05-14"'),
    r"^\d{4}-\d{2}$": ("is not a month", 'write it as "2026-05"'),
    "^[01]{4,16}$": ("is not a code", 'write 4 to 16 digits, 1 for lit, such as "110100"'),
    "^[0-9a-f]{64}$": ("is not a SHA-256 hash", "use its 64 lower-case hexadecimal digits"),
    "^[0-9a-f]{8,32}$": ("is not a random id", "use 8 to 32 lower-case hexadecimal digits"),
}
_BOUNDS = {
    "greater_than": ("is not above {gt:g}", "give more than {gt:g}"),
    "greater_than_equal": ("is below {ge:g}", "give at least {ge:g}"),
    "less_than": ("is not below {lt:g}", "give less than {lt:g}"),
    "less_than_equal": ("is above {le:g}", "give at most {le:g}"),
    "too_short": ("holds {actual_length} of the {min_length} needed", "add what is missing"),
    "too_long": ("holds {actual_length} where {max_length} may stand", "remove the others"),
    "string_too_short": ("is too short", "write at least {min_length} characters"),
    "string_too_long": ("is too long", "write at most {max_length} characters"),
}
_SHAPES = {
    "string": ("is not a text", "write it between quotation marks"),
    "int": ("is not a whole number", "give a whole number without quotation marks"),
    "float": ("is not a number", "give a number without quotation marks"),
    "bool": ("is neither true nor false", "write true or false"),
    "finite": ("is not finite", "give a number"),
    "list": ("is not a list", "write the values between [ and ]"),
    "tuple": ("is not a list", "write the values between [ and ]"),
    "model": ("is not a table of fields", "give its fields by name"),
    "dict": ("is not a table of fields", "give its fields by name"),
}


def findings_of(
    error: ValidationError, data: Any, name: str, model: type[BaseModel]
) -> list[Finding]:
    """One finding for each wrong field of a document.

    Parameters
    ----------
    error
        What the validation raised.
    data
        The plain data that was validated.
    name
        Of the file.
    model
        The document's type, for the likeliest spelling of an unknown field.
    """
    by_place: dict[Location, list[Any]] = {}
    for item in error.errors():
        by_place.setdefault(_place_in(data, item), []).append(item)
    return [_finding(place, items, data, name, model) for place, items in by_place.items()]


def _place_in(data: Any, item: Any) -> Location:
    """Where in the file a wrong value stands, without the branches of unions that were tried."""
    place: list[int | str] = []
    missing = item["type"] == "missing"
    for position, step in enumerate(item["loc"]):
        last = position + 1 == len(item["loc"])
        if _holds(data, step):
            data = data[step]
        elif not (missing and last and isinstance(step, str)):
            continue
        place.append(step)
    return tuple(place)


def _holds(data: Any, step: int | str) -> bool:
    if isinstance(data, dict):
        return step in data
    return isinstance(step, int) and isinstance(data, list | tuple) and step < len(data)


def _finding(
    place: Location, items: Sequence[Any], data: Any, name: str, model: type[BaseModel]
) -> Finding:
    choices = [item["ctx"]["expected"] for item in items if item["type"] == "literal_error"]
    item = next((item for item in items if item["type"] != "literal_error"), items[0])
    kind = item["type"]
    given = _at(data, place)
    if kind == "extra_forbidden":
        allowed, remedy = _unknown_field(place, model)
    elif kind == "missing" and isinstance(item["loc"][-1], int):
        needed = 1 + max(each["loc"][-1] for each in items if each["type"] == "missing")
        allowed, remedy = f"holds {len(given)} of the {needed} needed", "add what is missing"
    else:
        allowed, remedy = _wording(item)
        if choices and kind != "literal_error":
            remedy += ", or " + " or ".join(choice.replace("'", '"') for choice in choices)
    where = f"{name}: {_path_text(place)}" if place else name
    shown = "" if kind == "missing" and not isinstance(given, list) else _shown(given)
    return Finding("error", kind.replace("_", "-"), where, shown, allowed, remedy)


def _wording(item: Any) -> tuple[str, str]:
    """What is allowed, and what to do, for one of the library's errors."""
    kind, context = item["type"], item.get("ctx", {})
    if kind == "quantity":
        return context["allowed"], context["remedy"]
    if kind == "missing":
        return "is missing", "add it"
    if kind in ("literal_error", "enum"):
        return "is not known here", f"use {context['expected']}".replace("'", '"')
    if kind == "value_error":
        allowed, _, remedy = str(context["error"]).partition("; ")
        return allowed, remedy
    if kind == "string_pattern_mismatch" and context["pattern"] in _PATTERNS:
        return _PATTERNS[context["pattern"]]
    if kind in _BOUNDS:
        allowed, remedy = _BOUNDS[kind]
        return allowed.format(**context), remedy.format(**context)
    shape = kind.split("_")[0]
    if shape in _SHAPES:
        return _SHAPES[shape]
    return f"is not right ({item['msg'][0].lower()}{item['msg'][1:]})", "correct it"


def _unknown_field(place: Location, model: type[BaseModel]) -> tuple[str, str]:
    known = sorted(set(_fields_at(model, place[:-1])))
    likely = difflib.get_close_matches(str(place[-1]), known, n=1)
    allowed = "is not a field of this document"
    if likely:
        return allowed, f'write "{likely[0]}" if that is meant'
    if known:
        return allowed, f"remove it, or use one of {', '.join(known)}"
    return allowed, "remove it"


def _path_text(place: Location) -> str:
    text = ""
    for step in place:
        text += f"[{step}]" if isinstance(step, int) else f".{step}" if text else step
    return text


def _shown(given: Any) -> str:
    """The value as the file has it, unless it is a whole table or too long to help."""
    if isinstance(given, dict) or (isinstance(given, list) and _holds_tables(given)):
        return ""
    text = json.dumps(given, ensure_ascii=False, default=str)
    return text if len(text) <= 80 else f"{text[:77]}…"


def _holds_tables(given: list[Any]) -> bool:
    return any(isinstance(each, dict) for each in given)


def _at(data: Any, place: Location) -> Any:
    for step in place:
        try:
            data = data[step]
        except (KeyError, IndexError, TypeError):
            return None
    return data


def _fields_at(model: type[BaseModel], place: Location) -> list[str]:
    """Names of the fields that the model admits at a place."""
    schema = model.model_json_schema(by_alias=True)
    definitions = schema.get("$defs", {})
    nodes = _expanded([schema], definitions)
    for step in place:
        following = [child for node in nodes if (child := _child(node, step)) is not None]
        nodes = _expanded(following, definitions)
    return [field for node in nodes for field in node.get("properties", {})]


def _child(node: dict[str, Any], step: int | str) -> dict[str, Any] | None:
    if isinstance(step, int):
        prefix = node.get("prefixItems", [])
        child = prefix[step] if step < len(prefix) else node.get("items")
    else:
        keyed_freely = [*node.get("patternProperties", {}).values(), {}]
        named = node.get("properties", {})
        child = named.get(step) or node.get("additionalProperties") or keyed_freely[0]
    return child if isinstance(child, dict) else None


def _expanded(nodes: list[dict[str, Any]], definitions: dict[str, Any]) -> list[dict[str, Any]]:
    """Schema nodes with references followed and unions laid open."""
    found: list[dict[str, Any]] = []
    queue = list(nodes)
    while queue:
        node = queue.pop()
        if "$ref" in node:
            queue.append(definitions[node["$ref"].rsplit("/", 1)[-1]])
            continue
        queue += [*node.get("anyOf", []), *node.get("oneOf", [])]
        found.append(node)
    return found

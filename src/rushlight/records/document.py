"""Documents: frozen, versioned, hashed, and read with errors a person can act on."""

from __future__ import annotations

import difflib
import hashlib
import json
import os
import tempfile
import tomllib
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any, ClassVar, Literal, Self, TypeVar

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError

import rushlight
from rushlight.errors import Finding, RushlightError

Basis = Literal["measured", "simulated", "predicted", "published", "invented", "typical"]
Slug = Annotated[str, StringConstraints(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=60)]


class Record(BaseModel):
    """Base of everything that stands inside a document: frozen, unknown fields refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", ser_json_inf_nan="null")


class Header(Record):
    """Where a document comes from.

    Attributes
    ----------
    content_hash
        SHA-256 of the document's content without its header.
    made_by
        Program and version.
    made_at
        UTC, ISO 8601.
    inputs
        Role of each input, and its content hash.
    basis
        What the content rests on.
    seed
        Of the random numbers used, or None where none were.
    supersedes
        Content hash of the document that this one replaces.
    """

    content_hash: str = ""
    made_by: str = f"rushlight {rushlight.__version__}"
    made_at: str = Field(default_factory=lambda: datetime.now(UTC).isoformat(timespec="seconds"))
    inputs: dict[str, str] = {}
    basis: Basis
    seed: int | None = None
    supersedes: str | None = None


class Document(Record):
    """Base of the documents that stages exchange; each names its schema and version."""

    SCHEMA: ClassVar[str]
    VERSION: ClassVar[int] = 1

    schema_name: str = Field(default="", alias="schema")
    version: int = 1
    header: Header | None = None

    model_config = ConfigDict(
        frozen=True, extra="forbid", ser_json_inf_nan="null", populate_by_name=True
    )

    def content_hash(self) -> str:
        """SHA-256 of the content without its header, over JSON with sorted keys."""
        content = self.model_dump(mode="json", by_alias=True, exclude={"header"})
        text = json.dumps(content, sort_keys=True, ensure_ascii=False, allow_nan=False)
        return hashlib.sha256(text.encode()).hexdigest()

    def stamped(
        self,
        basis: Basis,
        inputs: dict[str, str] | None = None,
        seed: int | None = None,
        supersedes: str | None = None,
    ) -> Self:
        """The same document with its schema, version and header filled in."""
        named = self.model_copy(update={"schema_name": self.SCHEMA, "version": self.VERSION})
        header = Header(
            content_hash=named.content_hash(),
            inputs=inputs or {},
            basis=basis,
            seed=seed,
            supersedes=supersedes,
        )
        return named.model_copy(update={"header": header})

    def write(self, path: Path) -> None:
        """Write the document as JSON, whole or not at all.

        Raises
        ------
        RushlightError
            When the place cannot be written.
        """
        content = self.model_dump(mode="json", by_alias=True)
        write_text(path, json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n")


AnyDocument = TypeVar("AnyDocument", bound=Document)


def write_text(path: Path, text: str) -> None:
    """Write a text file whole or not at all (a neighbour is written, then renamed).

    Raises
    ------
    RushlightError
        When the place cannot be written.
    """
    write_bytes(path, text.encode())


def write_bytes(path: Path, content: bytes) -> None:
    """Write a file whole or not at all; see `write_text`."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}-")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(content)
            umask = os.umask(0)
            os.umask(umask)
            Path(name).chmod(0o666 & ~umask)
            Path(name).replace(path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise RushlightError.of(
            str(path), "", f"cannot be written ({error.strerror})", "choose another place", "write"
        ) from error


def read_text(path: Path) -> str:
    """A text file's content.

    Raises
    ------
    RushlightError
        When it is missing, a folder, unreadable or not UTF-8.
    """
    try:
        return path.read_bytes().decode()
    except FileNotFoundError:
        raise RushlightError.of(
            str(path), "", "does not exist", "check the path", "file-missing"
        ) from None
    except OSError as error:
        raise RushlightError.of(
            str(path), "", f"cannot be read ({error.strerror})", "give a file", "file-unreadable"
        ) from None
    except UnicodeDecodeError:
        raise RushlightError.of(
            str(path), "", "is not UTF-8 text", "give a text file", "file-not-text"
        ) from None


def read_document(model: type[AnyDocument], path: Path) -> AnyDocument:
    """A document from its JSON or TOML file.

    Raises
    ------
    RushlightError
        With one finding for each field that is missing, unknown or wrong.
    """
    text = read_text(path)
    try:
        data = tomllib.loads(text) if path.suffix == ".toml" else json.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise RushlightError.of(
            path.name, "", f"is not valid TOML: {error}", "mend that line", "toml"
        ) from None
    except json.JSONDecodeError as error:
        raise RushlightError.of(
            path.name, "", f"is not valid JSON: {error}", "give an undamaged file", "json"
        ) from None
    return validate(model, data, path.name)


def validate(model: type[AnyDocument], data: Any, name: str) -> AnyDocument:
    """A document from plain data, with findings that name `name` as the file.

    Raises
    ------
    RushlightError
        With one finding for each field that is missing, unknown or wrong.
    """
    if not isinstance(data, dict):
        raise RushlightError.of(name, "", "holds no fields", f"give a {model.SCHEMA} document")
    schema = data.get("schema", "")
    if schema != model.SCHEMA:
        raise RushlightError.of(
            f"{name}: schema",
            json.dumps(schema),
            f"is not {model.SCHEMA!r}",
            f'give a file whose first line is schema = "{model.SCHEMA}"',
            "schema",
        )
    if data.get("version") != model.VERSION:
        raise RushlightError.of(
            f"{name}: version",
            json.dumps(data.get("version"), default=str),
            f"cannot be read by this program, which reads version {model.VERSION}",
            "use a matching version of Rushlight",
            "version",
        )
    try:
        return model.model_validate(data)
    except ValidationError as error:
        raise RushlightError(findings_of(error, data, name, model)) from None


def _path_text(location: tuple[int | str, ...]) -> str:
    text = ""
    for step in location:
        text += f"[{step}]" if isinstance(step, int) else f".{step}" if text else step
    return text


def _at(data: Any, location: tuple[int | str, ...]) -> Any:
    for step in location:
        try:
            data = data[step]
        except (KeyError, IndexError, TypeError):
            return None
    return data


def _fields_at(model: type[BaseModel], location: tuple[int | str, ...]) -> list[str]:
    """Names of the fields that the model admits at a place, for the likeliest spelling."""
    schema = model.model_json_schema(by_alias=True)
    definitions = schema.get("$defs", {})
    nodes = [schema]
    for step in location:
        following: list[dict[str, Any]] = []
        for node in _expand(nodes, definitions):
            if isinstance(step, int):
                following += [node["items"]] if "items" in node else []
            elif step in node.get("properties", {}):
                following.append(node["properties"][step])
        nodes = following or nodes
    return [name for node in _expand(nodes, definitions) for name in node.get("properties", {})]


def _expand(nodes: list[dict[str, Any]], definitions: dict[str, Any]) -> list[dict[str, Any]]:
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


def findings_of(
    error: ValidationError, data: Any, name: str, model: type[BaseModel]
) -> list[Finding]:
    """One finding a wrong field, in the words of the file rather than of the program."""
    findings = []
    for item in error.errors():
        location = tuple(step for step in item["loc"] if not _is_branch(step, data, item["loc"]))
        where = f"{name}: {_path_text(location)}" if location else name
        kind = item["type"]
        given = item["input"]
        shown = json.dumps(given, ensure_ascii=False, default=str)
        if len(shown) > 80:
            shown = shown[:77] + "…"
        if kind == "quantity":
            allowed, remedy = item["ctx"]["allowed"], item["ctx"]["remedy"]
        elif kind == "extra_forbidden":
            known = _fields_at(model, location[:-1])
            likely = difflib.get_close_matches(str(location[-1]), known, n=1)
            allowed = "is not a field of this document"
            remedy = f'did you mean "{likely[0]}"?' if likely else "remove it"
            if not likely and known:
                remedy = f"remove it; the fields here are {', '.join(sorted(set(known))[:14])}"
            shown = shown if not isinstance(given, dict | list) else ""
        elif kind == "missing":
            allowed, remedy, shown = "is missing", "add it", ""
        elif kind in ("literal_error", "enum"):
            allowed, remedy = "is not known here", f"use {item['ctx']['expected']}"
        elif kind == "string_pattern_mismatch":
            allowed = "is not an id"
            remedy = "use lower-case letters, digits and hyphens"
        elif kind == "value_error":
            message = str(item["ctx"]["error"])
            allowed, _, remedy = message.partition("; ")
            shown = "" if isinstance(given, dict) else shown
        else:
            allowed = f"is not right ({item['msg'][0].lower()}{item['msg'][1:]})"
            remedy = "correct it"
        remedy = remedy.rstrip("?.") if not remedy.endswith('"?') else remedy[:-1]
        finding = Finding("error", kind.replace("_", "-"), where, shown, allowed, remedy)
        if finding not in findings:
            findings.append(finding)
    return findings


def _is_branch(step: int | str, data: Any, location: tuple[int | str, ...]) -> bool:
    """Whether a step names a branch of a union rather than a field of the file."""
    index = location.index(step)
    parent = _at(data, location[:index])
    if isinstance(step, int):
        return False
    return (
        isinstance(parent, dict)
        and step not in parent
        and index + 1 < len(location)
    )

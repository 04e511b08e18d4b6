"""Documents: frozen, versioned, hashed, and read with errors a person can act on."""

from __future__ import annotations

import hashlib
import json
import math
import os
import tempfile
import tomllib
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any, ClassVar, Literal, Self, TypeVar

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StringConstraints,
    ValidationError,
)

import rushlight
from rushlight.errors import RushlightError
from rushlight.records.findings import findings_of

Basis = Literal["measured", "simulated", "predicted", "published", "invented", "typical"]
Slug = Annotated[str, StringConstraints(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=60)]
Country = Annotated[str, StringConstraints(pattern=r"^[A-Z]{2}$")]
"""ISO 3166-1 alpha-2."""
FloatOrUnknown = Annotated[
    float, BeforeValidator(lambda given: math.nan if given is None else given)
]
"""A number, NaN where unknown; JSON and its readers know no NaN, so it is null on disk."""


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
        text = json.dumps(
            _nan_as_null(content), sort_keys=True, ensure_ascii=False, allow_nan=False
        )
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
        write_text(path, self.json_text() + "\n")

    def json_text(self) -> str:
        """The document as JSON, as it stands on disk; NaN is null."""
        content = _nan_as_null(self.model_dump(mode="json", by_alias=True))
        return json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False)


def _nan_as_null(content: Any) -> Any:
    if isinstance(content, dict):
        return {key: _nan_as_null(value) for key, value in content.items()}
    if isinstance(content, list | tuple):
        return [_nan_as_null(value) for value in content]
    return None if isinstance(content, float) and math.isnan(content) else content


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
            f'is not "{model.SCHEMA}"',
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

"""Kits, rebuilds, and the bundles of results that come back."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from rushlight.records.document import Basis, Document, Record, Slug
from rushlight.records.figure import Figure
from rushlight.records.rig import Rig
from rushlight.records.study import Consent, Trial

Sha256 = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]


class KitFile(Record):
    """One file of a kit."""

    path: str
    sha256: Sha256
    role: str
    licence: str
    basis: Basis


class Step(Record):
    """One step of the build, with the cautions that stand beside it.

    Attributes
    ----------
    part
        Of the build that it belongs to.
    commands
        To be typed, in this order.
    """

    part: Literal["wire", "mount", "register", "check"] = "wire"
    title: str
    text: str
    commands: list[str] = []
    minutes: int | None = None
    cautions: list[str] = []


class Tolerance(Record):
    """How far a rebuild's figure may stand from the kit's.

    Attributes
    ----------
    figure, cause, statistic
        As in `Figure`, over the whole rig.
    low, high
        Bounds in `unit`; None where there is none.
    ground
        What the bound rests on.
    basis
        Of that ground.
    """

    figure: str
    cause: str | None = None
    statistic: str
    low: float | None = None
    high: float | None = None
    unit: str
    ground: str = ""
    basis: Basis = "predicted"


class Kit(Document):
    """The published build.

    Attributes
    ----------
    edition, edition_supersedes
        Number of the release, and content hash of the one that it replaces.
    parent
        Content hash of the kit that this one was adapted from.
    notices
        What the reader must know first: what is invented, simulated or not met.
    not_known
        What this kit does not tell, or nobody has tried.
    cautions
        Every caution that stands on the page, whole.
    files
        All but this document and the manifest.
    """

    SCHEMA = "rushlight/kit"

    name: Slug
    edition: int = Field(ge=1)
    edition_supersedes: str | None = None
    parent: str | None = None
    errata: list[str] = []
    notices: list[str] = []
    rig: Rig
    figures: list[Figure]
    check_plan: list[str]
    tolerances: list[Tolerance] = []
    steps: list[Step]
    cautions: list[str]
    not_known: list[str] = []
    files: list[KitFile]
    languages: list[str]
    key: str | None = None


class Substitution(Record):
    """A part that a rebuild exchanged."""

    part: Slug
    by: Slug
    reason: str = ""


class RebuildVerdict(Record):
    """Does a rebuild meet one of the kit's figures."""

    figure: Figure
    verdict: Literal["met", "not met", "not shown"]
    reason: str = ""


class Rebuild(Document):
    """Someone else's copy of a rig, in their room."""

    SCHEMA = "rushlight/rebuild"

    kit: Sha256
    edition: int
    rig: Rig
    substitutions: list[Substitution] = []
    state: Literal["started", "abandoned", "finished"]
    figures: list[Figure] = []
    verdicts: list[RebuildVerdict] = []


class ResultBundle(Document):
    """What a rebuild gives back: raw trials first, figures recomputable from them."""

    SCHEMA = "rushlight/result-bundle"

    rebuild: Rebuild
    trials: list[Trial]
    figures: list[Figure]
    consent: Consent
    country: Annotated[str, Field(pattern=r"^[A-Z]{2}$")] | None = None
    month: Annotated[str, Field(pattern=r"^\d{4}-\d{2}$")] | None = None
    key: str | None = None

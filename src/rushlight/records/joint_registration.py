"""Several cameras registered to one surface."""

from __future__ import annotations

import json
from pathlib import Path

from rushlight.errors import RushlightError
from rushlight.records.document import (
    Document,
    FloatOrUnknown,
    Record,
    Slug,
    read_document,
    read_text,
)
from rushlight.records.registration import Registration, Verdict


class Agreement(Record):
    """How well two cameras' maps agree where both saw the same beacons touched.

    Attributes
    ----------
    cameras
        The two.
    beacons
        How many both saw.
    apart_m
        Root-mean-square distance between what the two maps say of one touch, the beacon's own
        place taken off [m]; None where no beacon is common.
    """

    cameras: tuple[Slug, Slug]
    beacons: int
    apart_m: FloatOrUnknown | None


class JointRegistration(Document):
    """One registration a camera, all to the same surface.

    Attributes
    ----------
    surface
        Its id.
    registrations
        One a camera.
    agreements
        Each pair of cameras.
    verdict
        Vouched for when every camera's is.
    """

    SCHEMA = "rushlight/joint-registration"

    surface: Slug
    registrations: list[Registration]
    agreements: list[Agreement]
    verdict: Verdict

    def of(self, camera: str) -> Registration | None:
        """The registration of a camera, None where it has none."""
        return next((r for r in self.registrations if r.valid_for.camera == camera), None)


def registration_of(path: Path, camera: str) -> Registration:
    """A camera's registration, from its own document or from that of several cameras.

    Raises
    ------
    RushlightError
        When the file cannot be read, or holds several cameras but not this one.
    """
    if not _is_joint(path):
        return read_document(Registration, path)
    joint = read_document(JointRegistration, path)
    own = joint.of(camera)
    if own is None:
        known = ", ".join(each.valid_for.camera for each in joint.registrations)
        raise RushlightError.of(
            f"{path.name}: registrations",
            known,
            f'holds none of the camera "{camera}"',
            "use footage of one of those cameras, or register this one",
            "registration-camera",
        )
    return own


def _is_joint(path: Path) -> bool:
    try:
        content = json.loads(read_text(path))
    except json.JSONDecodeError:
        return False
    return isinstance(content, dict) and content.get("schema") == JointRegistration.SCHEMA

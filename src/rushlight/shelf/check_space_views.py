"""Can the cameras of a rig in space tell where its things are, and is the picture before the eye?

Coarse looks at a few places of each zone: what no plan could mend is refused, what is poor is
warned of. How good a rig is that passes is for the plan to say.
"""

from __future__ import annotations

import math
from itertools import combinations, product

import numpy as np

from rushlight.errors import RushlightError
from rushlight.physics.centre import LEAST_APART_PX
from rushlight.physics.geometry import invert_transform, project, transform_points
from rushlight.physics.geometry.rotation import rotation_of_facing
from rushlight.records.arrays import Array
from rushlight.records.parts import CameraPart
from rushlight.records.place import Place
from rushlight.records.rig import Camera, Carried, Rig
from rushlight.records.rig_space import Zone
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.optics import camera_pose, lens_of, surface_pose
from rushlight.shelf.report import Report

LEAST_CROSSING_RAD, POOR_CROSSING_RAD = math.radians(0.2), math.radians(5.0)
"""Lines of sight of two cameras that cross at less than the first angle tell no distance: a tenth
of a pixel is then several per cent of it. Below the second they tell it poorly (our choices)."""
POOR_ACROSS_SHARE = 0.5
"""A pair that shows less than this share of its length across the line of sight tells its distance
by its unknown turn (our choice: nearer than 30° to the line)."""
POOR_BAR_SHARE = 0.1
"""A scale bar seen whole in a smaller share of its poses takes long to swing (our choice)."""
_GOOD_BAR_SHARE = 0.3  # of poses, for the length that is proposed instead
_GRID, _BAR_GRID = 5, 3


class View:
    """A camera with its numbers, for what it sees of a zone."""

    def __init__(self, camera: Camera, matrix: Array, k: Array, pose: Array, size: Array) -> None:
        self.camera, self.matrix, self.k, self.pose, self.size = camera, matrix, k, pose, size

    @classmethod
    def of(cls, camera: Camera, shelf: Shelf, path: str, report: Report) -> View | None:
        """A camera of a rig; None, and told in the report, where it cannot be computed."""
        part = shelf.find("camera", camera.part)
        if not isinstance(part, CameraPart):
            return None  # told elsewhere
        try:
            pose = camera_pose(camera)
        except ValueError:
            report.error(
                "aim-at-itself",
                f"{path}.look_at",
                camera.look_at,
                "is the camera's own place",
                "give a point of the zone, such as its middle",
            )
            return None
        try:
            lens = lens_of(part, shelf.lens(camera.lens) if camera.lens else None)
        except RushlightError:
            return None  # told elsewhere
        return cls(camera, lens.matrix, lens.distortion, pose, np.array(part.size_px, float))

    @property
    def focal_px(self) -> Array:
        """(2,) focal lengths [px]."""
        return np.array([self.matrix[0, 0], self.matrix[1, 1]])

    def sees(self, points_m: Array) -> tuple[Array, Array]:
        """Which points (..., 3) are in the picture, and their depths (...) [m]."""
        px, depth = project(points_m, self.matrix, self.k, self.pose)
        with np.errstate(invalid="ignore"):
            inside = (px > -0.5).all(axis=-1) & (px < self.size - 0.5).all(axis=-1) & (depth > 0)
        return np.asarray(inside), np.asarray(depth)

    def toward(self, points_m: Array) -> Array:
        """(..., 3) unit lines of sight to points."""
        away = points_m - self.pose[:3, 3]
        return np.asarray(away / np.linalg.norm(away, axis=-1, keepdims=True))


def place_m(place: Place) -> Array:
    """A place as (3,) [m]."""
    return np.array([step.value for step in place])


def check_before_displays(
    rig: Rig, carried: Carried, zone: Zone, path: str, report: Report
) -> None:
    """Refuse an eye that stays behind a display, and warn of one that comes behind it."""
    corners = _grid_m(zone, 2)
    for surface in rig.surfaces:
        before_m = transform_points(invert_transform(surface_pose(surface)), corners)[:, 2]
        behind = before_m <= 0.0
        if not behind.any():
            continue
        whole = bool(behind.all())
        report.add(
            "error" if whole else "warning",
            "zone-behind-display" if whole else "zone-partly-behind-display",
            f"{path}.zone",
            [zone.low, zone.high],
            f"lies {'' if whole else 'partly '}behind the display {surface.id}, whose picture "
            "nobody sees from there",
            "let the zone begin before it, where z is positive, z counting out of the display "
            "toward the user"
            if surface.pose is None
            else "let the zone begin on the side that it faces, or turn its pose",
        )


def check_views(
    rig: Rig,
    carried: Carried,
    zone: Zone,
    lights_m: Array,
    path: str,
    views: list[View],
    report: Report,
) -> None:
    """What the cameras see of a thing in its zone.

    Parameters
    ----------
    rig, carried, zone
        The rig, the thing, and where it moves.
    lights_m
        (L, 3) its lights in its own frame [m].
    path
        Of the thing in the rig's document.
    views
        Of every camera, in the order of the rig.
    report
        To which the findings are added.
    """
    points = _grid_m(zone, _GRID)
    middle = _words((place_m(zone.low) + place_m(zone.high)) / 2)
    sights = [view.sees(points) for view in views]
    counts = np.sum([inside for inside, _ in sights], axis=0)
    for i, (inside, _) in enumerate(sights):
        if not inside.any():
            report.add(
                "warning" if counts.any() else "error",
                "zone-unseen",
                f"cameras[{i}].look_at",
                views[i].camera.look_at,
                f"leaves all of the zone of {carried.id} out of the picture",
                f"aim at its middle, {middle}",
            )
    if "volume" in rig.kinds and len(views) > 1 and counts.max(initial=0) < 2:
        report.error(
            "no-common-view",
            "cameras",
            [view.camera.id for view in views],
            f"face apart: no place of the zone of {carried.id} is seen by two of them",
            f"aim them at its middle, {middle}",
        )
    if not counts.any():
        return
    bar = carried.kind == "scale-bar"
    if counts.max() >= 2 and not bar and ("volume" in rig.kinds or carried.solved_as == "point"):
        _check_crossing(carried, points, views, [inside for inside, _ in sights], report)
    if carried.solved_as == "point" and not bar:
        return
    if bar:
        if counts.max() >= min(2, len(views)):
            _check_bar(carried, zone, lights_m, path, views, report)
    else:
        _check_spacing(carried, lights_m, path, views, sights, report)
    _check_parted(carried, lights_m, path, views, sights, report)
    if carried.solved_as == "pair" and not bar and counts.max() < 2:
        _check_across(carried, points, lights_m, path, views, sights, report)


def _grid_m(zone: Zone, count: int) -> Array:
    """(count³, 3) places all over a zone [m]."""
    axes = [np.linspace(a.value, b.value, count) for a, b in zip(zone.low, zone.high, strict=True)]
    return np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)


def _check_crossing(
    carried: Carried, points: Array, views: list[View], inside: list[Array], report: Report
) -> None:
    """Two cameras in one place, or nearly so, see no depth."""
    sines, far_m = [0.0], [0.0]
    for a, b in combinations(range(len(views)), 2):
        both = inside[a] & inside[b]
        if both.any():
            crossed = np.cross(views[a].toward(points[both]), views[b].toward(points[both]))
            sines.append(float(np.linalg.norm(crossed, axis=-1).max()))
            far_m.append(float(np.linalg.norm(points[both] - views[a].pose[:3, 3], axis=-1).max()))
    crossing = math.asin(min(1.0, max(sines)))
    if crossing >= POOR_CROSSING_RAD:
        return
    none = crossing < LEAST_CROSSING_RAD
    report.add(
        "error" if none else "warning",
        "cameras-together" if none else "cameras-near",
        "cameras",
        [view.camera.id for view in views],
        f"see {carried.id} along lines that cross at {math.degrees(crossing):.2g}° at most, "
        f"which {'does not tell' if none else 'tells poorly'} how far it is",
        f"move them {max(far_m) / 2.0:.1f} m apart or so, each aimed at the zone",
    )


def _longest(lights_m: Array) -> tuple[float, int, int]:
    """The greatest distance between two lights [m], and which two; 0 for a single light."""
    return max(
        (
            (float(np.linalg.norm(lights_m[a] - lights_m[b])), a, b)
            for a, b in combinations(range(len(lights_m)), 2)
        ),
        default=(0.0, 0, 0),
    )


def _check_spacing(
    carried: Carried,
    lights_m: Array,
    path: str,
    views: list[View],
    sights: list[tuple[Array, Array]],
    report: Report,
) -> None:
    spacing = _longest(lights_m)[0]
    widest = max(
        float(np.max(view.size / view.focal_px)) * float(depth[inside].min())
        for view, (inside, depth) in zip(views, sights, strict=True)
        if inside.any()
    )
    if spacing > widest:
        report.error(
            "spacing-beyond-view",
            f"{path}.emitters",
            [each.id for each in carried.emitters],
            f"span {spacing:.3f} m, and at the near end of the zone the picture holds only "
            f"{widest:.3f} m",
            "set the lights closer together, or let the zone begin farther from the camera",
        )


def _check_bar(
    carried: Carried, zone: Zone, lights_m: Array, path: str, views: list[View], report: Report
) -> None:
    """A bar must be seen from end to end, by two cameras each end, in some of its poses."""
    length, first, last = _longest(lights_m)
    if length == 0.0:
        return
    ends = lights_m[[first, last]] - lights_m[[first, last]].mean(axis=0)
    ranges = [zone.turn.value, zone.nod.value, zone.lean.value]
    turns = np.array(list(product(*([-r, 0.0, r] for r in ranges)))) * 0.75
    turned = np.einsum("wij,lj->wli", rotation_of_facing(*turns.T), ends)
    places = _grid_m(zone, _BAR_GRID)[:, None, None]

    def share(of_length: float) -> float:
        met = np.sum([view.sees(places + of_length * turned)[0] for view in views], axis=0)
        return float((met >= min(2, len(views))).all(axis=-1).mean())

    seen = share(1.0)
    if seen >= POOR_BAR_SHARE:
        return
    fits = [part for part in np.geomspace(0.98, 0.02, 60) if share(part) >= _GOOD_BAR_SHARE]
    # To three digits at most and down, so that what is proposed does fit.
    shorter_m = math.floor(100.0 * fits[0] * length) / 100.0 if fits else 0.0
    by = "two cameras" if len(views) > 1 else "the camera"
    report.add(
        "error" if seen == 0.0 else "warning",
        "bar-beyond-view" if seen == 0.0 else "bar-rarely-whole",
        f"{path}.emitters",
        [each.id for each in carried.emitters],
        f"span {length:.3f} m, and {by} see both ends "
        f"{'nowhere in its zone' if seen == 0.0 else f'in {100.0 * seen:.0f} % of its poses'}",
        f"take a bar of {shorter_m:.2f} m or less"
        if shorter_m > 0.0
        else "aim the cameras at the middle of its zone, or stand them farther away",
    )


def _check_parted(
    carried: Carried,
    lights_m: Array,
    path: str,
    views: list[View],
    sights: list[tuple[Array, Array]],
    report: Report,
) -> None:
    """Lights so near one another that their dots are one, even square to the view and near by."""
    closest = max(
        float(view.focal_px.max() / depth[inside].min())
        for view, (inside, depth) in zip(views, sights, strict=True)
        if inside.any()
    )  # px a metre
    gaps_px = {
        (a, b): closest * float(np.linalg.norm(lights_m[a] - lights_m[b]))
        for a, b in combinations(range(len(lights_m)), 2)
    }
    one = {pair: gap for pair, gap in gaps_px.items() if gap < LEAST_APART_PX}
    if not one:
        return
    left = len(lights_m) - len({light for pair in one for light in pair})
    few = left < {"point": 1, "pair": 2}.get(carried.solved_as, 4)
    (a, b), gap = min(one.items(), key=lambda each: each[1])
    report.add(
        "error" if few else "warning",
        "lights-unparted",
        f"{path}.emitters",
        [carried.emitters[a].id, carried.emitters[b].id],
        f"are seen {gap:.1f} px apart at most, and dots nearer than {LEAST_APART_PX:g} px are one",
        f"set them {1e3 * 4.0 * LEAST_APART_PX / closest:.0f} mm apart or more",
    )


def _check_across(
    carried: Carried,
    points: Array,
    lights_m: Array,
    path: str,
    views: list[View],
    sights: list[tuple[Array, Array]],
    report: Report,
) -> None:
    """A pair in line with the view, of which a single camera sees little but its unknown turn."""
    length, a, b = _longest(lights_m)
    if length == 0.0:
        return
    along = (lights_m[b] - lights_m[a]) / length
    across = np.concatenate(
        [
            np.linalg.norm(np.cross(view.toward(points[inside]), along), axis=-1)
            for view, (inside, _) in zip(views, sights, strict=True)
            if inside.any()
        ]
    )
    share = float(across.mean())
    if share >= POOR_ACROSS_SHARE:
        return
    report.warning(
        "pair-in-line",
        f"{path}.emitters",
        [carried.emitters[a].id, carried.emitters[b].id],
        f"stand nearly in line with the view: of {1e3 * length:.0f} mm the camera sees "
        f"{1e3 * share * length:.0f} mm across, so that a small turn looks like a change of "
        "distance",
        "set them side by side as the camera sees them, or add a second camera from the side",
    )


def _words(point: Array) -> str:
    return "[" + ", ".join(f'"{value:.3g} m"' for value in point) + "]"

"""Array records: shapes agree, arrays are read-only, NaN equals NaN."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.records.dots import REASONS, Dots
from rushlight.records.figure import FieldMap
from rushlight.records.pose import Pose
from rushlight.records.resolved import (
    ResolvedCameras,
    ResolvedEmitters,
    ResolvedPeople,
    ResolvedRig,
    ResolvedSurface,
    ResolvedTargets,
    stack_rigs,
)
from rushlight.records.session import Fix


def some_dots(n: int) -> Dots:
    rng = np.random.default_rng(n)
    return Dots(
        xy=rng.normal(size=(n, 2)),
        cov=np.full((n, 2, 2), np.nan),
        flux=rng.normal(size=n),
        width=rng.normal(size=(n, 3)),
        peak=rng.normal(size=n),
        saturated=np.zeros(n),
        quality=np.ones(n),
        reason=np.arange(n) % len(REASONS),
    )


def some_fix(**changes: Any) -> Fix:
    values: dict[str, Any] = {
        "capture_ns": 1,
        "valid_ns": 2,
        "detect_ns": 3,
        "map_ns": 4,
        "sent_ns": -1,
        "frame": 0,
        "carried": "stylus",
        "point": "tip",
        "trail": 1,
        "dimensions": 2,
        "surface": "wall",
        "switch": True,
        "cameras": ("beam",),
        "predicted": False,
        "hypotheses": (1.0,),
        "position_m": (0.1, 0.2, np.nan),
    }
    return Fix(**(values | changes))


def filled(kind: type, lengths: dict[str, int], value: float) -> Any:
    """An array record of the given axis lengths, every number the same."""
    fields = kind.__dataclass_fields__.values()  # type: ignore[attr-defined]
    return kind(
        **{
            field.name: np.full([lengths.get(axis, axis) for axis in field.metadata["axes"]], value)
            for field in fields
        }
    )


def some_rigs(count: int, value: float = 1.0, cameras: int = 2) -> ResolvedRig:
    lengths = {"R": count, "C": cameras, "E": 3, "P": 2}
    return ResolvedRig(
        surface=filled(ResolvedSurface, lengths, value),
        cameras=filled(ResolvedCameras, lengths, value),
        emitters=filled(ResolvedEmitters, lengths, value),
        people=filled(ResolvedPeople, lengths, value),
        targets=filled(ResolvedTargets, lengths, value),
    )


def test_arrays_are_kept_row_by_row_whatever_they_were() -> None:
    dots = some_dots(5)
    other = dots.replace(xy=np.asfortranarray(dots.xy), cov=dots.cov.transpose(0, 2, 1))
    assert other.xy.flags.c_contiguous and other.cov.flags.c_contiguous
    assert dots.same_as(other)


@given(st.integers(0, 20))
def test_dots_of_any_number(n: int) -> None:
    dots = some_dots(n)
    assert len(dots) == n
    assert dots.same_as(dots.replace())
    assert len(dots.good()) == np.count_nonzero(dots.reason == 0)


def test_no_dots() -> None:
    assert len(Dots.none()) == 0
    assert Dots.none().same_as(some_dots(0))
    assert len(Dots.none().good()) == 0


def test_arrays_are_copies_and_read_only() -> None:
    xy = np.zeros((1, 2))
    dots = some_dots(1).replace(xy=xy)
    xy[0, 0] = 9.0
    assert dots.xy[0, 0] == 0.0
    with pytest.raises(ValueError, match="read-only"):
        dots.xy[0, 0] = 1.0


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"xy": np.zeros((2, 3))}, r"Dots.xy: expected shape \(N=2, 2\), got \(2, 3\)"),
        ({"flux": np.zeros(3)}, r"Dots.flux: expected shape \(N=2\), got \(3,\)"),
        ({"cov": np.zeros((2, 2))}, r"Dots.cov: expected shape \(N=2, 2, 2\), got \(2, 2\)"),
        ({"quality": 1.0}, r"Dots.quality: expected shape \(N=2\), got \(\)"),
    ],
)
def test_shapes_must_agree(changes: dict[str, Any], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        some_dots(2).replace(**changes)


def test_same_as_tells_values_types_and_nan() -> None:
    dots = some_dots(3)
    assert dots.same_as(some_dots(3))
    assert not dots.same_as(some_dots(4))
    assert not dots.same_as(dots.replace(flux=dots.flux + 1.0))
    assert not dots.same_as(dots.replace(cov=np.zeros((3, 2, 2))))
    assert not dots.same_as("dots")


def test_fix_fills_what_is_unknown_with_nan() -> None:
    fix = some_fix()
    assert fix.quaternion.shape == (4,)
    assert fix.cov.shape == (6, 6)
    assert np.isnan(fix.cov).all()
    assert fix.same_as(some_fix())
    assert not fix.same_as(some_fix(trail=2))
    assert fix.replace(sent_ns=9).sent_ns == 9
    with pytest.raises(ValueError, match=r"Fix.position_m: expected shape \(3\), got \(2,\)"):
        some_fix(position_m=(0.1, 0.2))


def test_pose_needs_a_unit_quaternion() -> None:
    pose = Pose("rig", "beam", np.zeros(3), np.array([1.0, 0.0, 0.0, 0.0]))
    assert np.isnan(pose.cov).all()
    with pytest.raises(ValueError, match="unit length"):
        pose.replace(quaternion=np.array([1.0, 1.0, 0.0, 0.0]))


def test_field_map_by_name() -> None:
    field = FieldMap(
        names=("error", "incidence"),
        units=("mm", "deg"),
        x_m=np.arange(4.0),
        y_m=np.arange(3.0),
        z_m=np.zeros(1),
        values=np.arange(24.0).reshape(2, 1, 3, 4),
    )
    assert field.of("incidence")[0, 0, 0] == 12.0
    with pytest.raises(ValueError, match=r"FieldMap.values"):
        field.replace(x_m=np.arange(5.0))


def test_rigs_are_stacked_and_taken() -> None:
    batch = stack_rigs([some_rigs(1, 1.0), some_rigs(2, 2.0)])
    assert len(batch) == 3
    assert batch.cameras.K.shape == (3, 2, 3, 3)
    taken = batch.take(np.array([2, 0]))
    assert taken.surface.refresh_hz.tolist() == [2.0, 1.0]
    assert taken.emitters.same_as(stack_rigs([some_rigs(1, 2.0), some_rigs(1, 1.0)]).emitters)
    assert batch.take(slice(0, 1)).people.same_as(some_rigs(1, 1.0).people)


def test_rigs_of_different_make_are_not_stacked() -> None:
    with pytest.raises(ValueError, match="expected at least one rig"):
        stack_rigs([])
    with pytest.raises(ValueError, match="dimension"):
        stack_rigs([some_rigs(1), some_rigs(1, cameras=3)])


def test_exposure_is_settled_in_a_copy() -> None:
    rigs = some_rigs(1)
    settled = rigs.with_exposure(np.full((1, 2), 0.004))
    assert settled.cameras.exposure_s.tolist() == [[0.004, 0.004]]
    assert rigs.cameras.exposure_s.tolist() == [[1.0, 1.0]]

"""Frozen records of read-only arrays whose shapes are checked against one another.

A record names each array's axes once, in its field: ``xy: Array = shaped("N", 2)``. On
construction every array is copied in C order, made read-only, and its axes are compared; a
letter must mean the same length throughout the record.
"""

from __future__ import annotations

import dataclasses
from typing import Any, Self

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[Any]

_AXES = "axes"
_DTYPE = "dtype"


def shaped(*axes: str | int, dtype: type | str = float, default: Any = dataclasses.MISSING) -> Any:
    """A dataclass field that holds an array of the given axes.

    Parameters
    ----------
    axes
        Letters (lengths that must agree within the record) and whole numbers (exact lengths).
        A leading ``"..."`` admits any leading axes.
    dtype
        The array's type; values are converted.
    default
        A scalar to fill the array with when the field is not given, or nothing.
    """
    return dataclasses.field(metadata={_AXES: axes, _DTYPE: dtype}, default=default)


@dataclasses.dataclass(frozen=True, slots=True)
class _ShapedField:
    """What `shaped` said of a field, ready to be checked against.

    Attributes
    ----------
    name, written, dtype
        As declared.
    axes, leads
        The axes without a leading "...", and whether there is one.
    fills
        Whether a scalar is spread over the whole array.
    """

    name: str
    written: tuple[str | int, ...]
    dtype: Any
    axes: tuple[str | int, ...]
    leads: bool
    fills: bool


_SHAPED_FIELDS: dict[type, tuple[_ShapedField, ...]] = {}


def _shaped_fields(record: type) -> tuple[_ShapedField, ...]:
    """A class's shaped fields: read once, since records are made for every dot of every frame."""
    known = _SHAPED_FIELDS.get(record)
    if known is not None:
        return known
    found = []
    for field in dataclasses.fields(record):
        if _AXES not in field.metadata:
            continue
        written = field.metadata[_AXES]
        leads = bool(written) and written[0] == "..."
        axes = written[1:] if leads else written
        fills = field.default is not dataclasses.MISSING
        dtype = np.dtype(field.metadata[_DTYPE])
        found.append(_ShapedField(field.name, written, dtype, axes, leads, fills))
    _SHAPED_FIELDS[record] = tuple(found)
    return _SHAPED_FIELDS[record]


class ArrayRecord:
    """Base of the frozen dataclasses whose fields were declared with `shaped`.

    Raises
    ------
    ValueError
        When an array's shape does not fit its declared axes; the message gives the expected
        and the actual shape.
    """

    def __post_init__(self) -> None:
        lengths: dict[str, int] = {}
        deferred: list[_ShapedField] = []
        for field in _shaped_fields(type(self)):
            value = getattr(self, field.name)
            if field.fills and not isinstance(value, np.ndarray) and np.isscalar(value):
                deferred.append(field)
                continue
            self._freeze(field, np.array(value, dtype=field.dtype, order="C"), lengths)
        for field in deferred:
            shape = [
                lengths.get(axis, 0) if isinstance(axis, str) else axis for axis in field.written
            ]
            array = np.empty(shape, field.dtype)
            array.fill(getattr(self, field.name))
            self._freeze(field, array, lengths)

    def _freeze(self, field: _ShapedField, array: Array, lengths: dict[str, int]) -> None:
        shape = array.shape
        if field.leads:
            shape = shape[len(shape) - len(field.axes) :] if len(shape) >= len(field.axes) else ()
        fits = len(shape) == len(field.axes)
        if fits:
            for axis, length in zip(field.axes, shape, strict=True):
                if length != (axis if isinstance(axis, int) else lengths.setdefault(axis, length)):
                    fits = False
                    break
        if not fits:
            known = {axis: f"{axis}={length}" for axis, length in lengths.items()}
            wanted = ", ".join(known.get(str(axis), str(axis)) for axis in field.written)
            raise ValueError(
                f"{type(self).__name__}.{field.name}: expected shape ({wanted}), got {array.shape}"
            )
        array.setflags(write=False)
        object.__setattr__(self, field.name, array)

    def replace(self, **changes: Any) -> Self:
        """A copy with some fields changed."""
        return dataclasses.replace(self, **changes)  # type: ignore[type-var]

    def same_as(self, other: object) -> bool:
        """Whether the other record is of this type and equal, NaN counting as equal to NaN."""
        if type(other) is not type(self):
            return False
        for field in dataclasses.fields(self):  # type: ignore[arg-type]
            mine, theirs = getattr(self, field.name), getattr(other, field.name)
            if isinstance(mine, np.ndarray):
                if mine.shape != theirs.shape or not np.array_equal(
                    mine, theirs, equal_nan=mine.dtype.kind in "fc"
                ):
                    return False
            elif isinstance(mine, ArrayRecord):
                if not mine.same_as(theirs):
                    return False
            elif mine != theirs:
                return False
        return True

"""Frozen records of read-only arrays whose shapes are checked against one another.

A record names each array's axes once, in its field: ``xy: Array = shaped("N", 2)``. On
construction every array is copied as needed, made read-only, and its axes are compared; a
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
        deferred: list[dataclasses.Field[Any]] = []
        for field in dataclasses.fields(self):  # type: ignore[arg-type]
            if _AXES not in field.metadata:
                continue
            value = getattr(self, field.name)
            if np.isscalar(value) and field.default is not dataclasses.MISSING:
                deferred.append(field)
                continue
            self._freeze(field, np.array(value, dtype=field.metadata[_DTYPE]), lengths)
        for field in deferred:
            shape = tuple(
                lengths.get(axis, 0) if isinstance(axis, str) else axis
                for axis in field.metadata[_AXES]
            )
            fill = getattr(self, field.name)
            self._freeze(field, np.full(shape, fill, dtype=field.metadata[_DTYPE]), lengths)

    def _freeze(self, field: dataclasses.Field[Any], array: Array, lengths: dict[str, int]) -> None:
        axes: tuple[str | int, ...] = field.metadata[_AXES]
        shape = array.shape
        if axes and axes[0] == "...":
            axes = axes[1:]
            shape = shape[len(shape) - len(axes) :] if len(shape) >= len(axes) else (-1,)
        fits = len(shape) == len(axes) and all(
            length == (lengths.setdefault(axis, length) if isinstance(axis, str) else axis)
            for axis, length in zip(axes, shape, strict=True)
        )
        if not fits:
            known = {axis: f"{axis}={length}" for axis, length in lengths.items()}
            wanted = ", ".join(known.get(axis, str(axis)) for axis in field.metadata[_AXES])
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

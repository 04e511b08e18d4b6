"""How tall children are, by age. They describe groups, never the child at hand: measure."""

from __future__ import annotations

PERCENTILES = (5, 50, 95)

CHILD_STATURE_M: dict[int, tuple[tuple[float, float, float], tuple[float, float, float]]] = {
    2: ((0.835, 0.896, 0.958), (0.847, 0.906, 0.969)),
    3: ((0.904, 0.971, 1.040), (0.920, 0.984, 1.052)),
    4: ((0.967, 1.039, 1.116), (0.981, 1.053, 1.126)),
    5: ((1.031, 1.109, 1.194), (1.039, 1.119, 1.197)),
    6: ((1.095, 1.179, 1.271), (1.098, 1.183, 1.269)),
    7: ((1.154, 1.244, 1.342), (1.156, 1.246, 1.339)),
    8: ((1.206, 1.301, 1.404), (1.210, 1.305, 1.405)),
    9: ((1.250, 1.352, 1.461), (1.257, 1.359, 1.466)),
    10: ((1.293, 1.405, 1.523), (1.299, 1.409, 1.522)),
    11: ((1.350, 1.472, 1.594), (1.343, 1.459, 1.580)),
    12: ((1.423, 1.543, 1.659), (1.398, 1.521, 1.649)),
    13: ((1.478, 1.589, 1.700), (1.465, 1.597, 1.728)),
    14: ((1.505, 1.612, 1.720), (1.533, 1.670, 1.796)),
    15: ((1.516, 1.622, 1.729), (1.586, 1.719, 1.839)),
    16: ((1.521, 1.627, 1.734), (1.619, 1.745, 1.862)),
    17: ((1.524, 1.630, 1.737), (1.637, 1.758, 1.874)),
}
"""Stature [m] of girls and of boys at the 5th, 50th and 95th percentile, by whole years of age.

Source: CDC growth charts for the United States, stature for age, Kuczmarski et al. 2002, Vital
and Health Statistics 11(246): M (1 + L S z)^(1/L) from the tabulated L, M and S at the middle of
each year. Children of one country, measured from 1963 to 1994 (from memory).
"""


def child_stature(age_years: int) -> tuple[float, float, float]:
    """How tall most children of an age are, girls and boys together.

    Parameters
    ----------
    age_years : int, 2 to 17
        Whole years, as one says it.

    Returns
    -------
    low, middle, high : float [m]
        The lower of both 5th percentiles, the mean of both medians, the higher of both 95th.

    Raises
    ------
    ValueError
        When the table has no such age.

    Notes
    -----
    Source: see `CHILD_STATURE_M`.

    Examples
    --------
    >>> low, middle, high = child_stature(7)
    >>> low, round(middle, 3), high
    (1.154, 1.245, 1.342)
    """
    if age_years not in CHILD_STATURE_M:
        raise ValueError(f"there are statures for ages 2 to 17, got {age_years}")
    girls, boys = CHILD_STATURE_M[age_years]
    return min(girls[0], boys[0]), (girls[1] + boys[1]) / 2.0, max(girls[2], boys[2])

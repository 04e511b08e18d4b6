"""An interference filter seen aslant: its pass band moves to shorter wavelengths.

SOURCE: C. R. Pidgeon and S. D. Smith, J. Opt. Soc. Am. 54:1459 (1964), as in H. A. Macleod,
Thin-Film Optical Filters: λ = λ₀ √(1 − sin²θ/n*²), and of a first-order cavity
n* = √(n_H n_L) with a spacer of the high index, n_L/√(1 − n_L/n_H + (n_L/n_H)²) with one of the
low; both from memory. No printed value is at hand: the law is held to the exact passage of light
through such a stack of layers, computed here.
"""

import numpy as np
import pytest
from scipy import optimize

from rushlight.physics.light import filter_centre_at_angle
from rushlight.shelf.catalogue import built_in_shelf

HIGH, LOW, GLASS = 2.3, 1.46, 1.52  # as titanium dioxide, silica and a substrate (from memory)
CENTRE_NM = 940.0
INDEX = {
    "high": np.sqrt(HIGH * LOW),
    "low": LOW / np.sqrt(1.0 - LOW / HIGH + (LOW / HIGH) ** 2),
}


def layers(spacer: str) -> list[tuple[float, float]]:
    """Indices and quarter waves of one cavity between two mirrors."""
    mirror = [(HIGH, 1.0), (LOW, 1.0)] * 6
    if spacer == "low":
        mirror = [*mirror, (HIGH, 1.0)]
    return [*mirror, ({"high": HIGH, "low": LOW}[spacer], 2.0), *mirror[::-1]]


def through(wavelength_nm: float, angle: float, spacer: str) -> float:
    """Unpolarised transmission by the characteristic matrices (textbook)."""
    shares = []
    for power in (1.0, -1.0):  # across and along the plane of incidence

        def admittance(index: float, power: float = power) -> tuple[float, float]:
            cosine = np.sqrt(1.0 - (np.sin(angle) / index) ** 2)
            return index * cosine**power, cosine

        whole = np.eye(2, dtype=complex)
        for index, quarters in layers(spacer):
            eta, cosine = admittance(index)
            phase = np.pi / 2.0 * quarters * CENTRE_NM / wavelength_nm * cosine
            s, c = np.sin(phase), np.cos(phase)
            whole = whole @ np.array([[c, 1j * s / eta], [1j * eta * s, c]])
        before, behind = admittance(1.0)[0], admittance(GLASS)[0]
        b, c = whole @ np.array([1.0, behind])
        shares.append(4.0 * before * behind / abs(before * b + c) ** 2)
    return float(np.mean(shares))


def exact_centre_nm(angle: float, spacer: str) -> float:
    near = CENTRE_NM * np.sqrt(1.0 - (np.sin(angle) / INDEX[spacer]) ** 2)
    grid = np.arange(near - 12.0, near + 12.0, 0.05)
    best = grid[np.argmax([through(each, angle, spacer) for each in grid])]
    found = optimize.minimize_scalar(
        lambda each: -through(each, angle, spacer), bounds=(best - 0.1, best + 0.1),
        method="bounded",
    )  # fmt: skip
    return float(found.x)


@pytest.mark.parametrize("spacer", ["high", "low"])
@pytest.mark.parametrize("angle_deg", [0.0, 10.0, 20.0, 30.0])
def test_the_law_follows_an_exact_stack(spacer, angle_deg):
    angle = np.radians(angle_deg)
    told = filter_centre_at_angle(CENTRE_NM, angle, INDEX[spacer])
    assert told == pytest.approx(exact_centre_nm(angle, spacer), abs=1.0)


def test_the_shelf_s_index_lies_between_the_two():
    for part in ("band-850-50", "band-940-50"):
        index = built_in_shelf().filter(part).effective_index
        assert index is not None
        assert INDEX["low"] < index.value < INDEX["high"]

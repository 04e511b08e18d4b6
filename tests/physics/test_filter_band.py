"""An emitter's spectrum through a filter: against numerical integration, and in its limits."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from rushlight.physics.filter_band import ANGLES_RAD, filter_share, share_at, share_within

NM = 1e-9


def integrated(low, high, peak, width, through, leak, index, angle) -> float:
    """The same share by adaptive quadrature over wavelength, each wavelength's own angle."""
    sigma = width / 2.354820045
    shift = np.sqrt(1.0 - (np.sin(angle) / index) ** 2)

    def passed(wavelength: float) -> float:
        line = np.exp(-0.5 * ((wavelength - peak) / sigma) ** 2) / (sigma * np.sqrt(2 * np.pi))
        inside = low * shift <= wavelength <= high * shift
        return float(line * (through if inside else leak))

    ends = [peak - 8 * sigma, peak + 8 * sigma]
    edges = [each * shift for each in (low, high) if ends[0] < each * shift < ends[1]]
    return quad(passed, *ends, points=edges or None, limit=400)[0]


@given(
    st.floats(840, 950), st.floats(20, 60), st.floats(20, 80), st.floats(1.5, 2.1),
    st.floats(0.0, 1.2),
)  # fmt: skip
def test_a_band_is_the_integral_over_the_spectrum(centre, width, full_width, index, angle):
    low, high = centre - width / 2, centre + width / 2
    share = filter_share(low * NM, high * NM, 0.88, 0.002, index, 880 * NM, full_width * NM, angle)
    by_numbers = integrated(low, high, 880.0, full_width, 0.88, 0.002, index, angle)
    assert share == pytest.approx(by_numbers, abs=2e-6)


def test_a_single_line_passes_or_does_not():
    assert share_within(825 * NM, 875 * NM, [825 * NM, 850 * NM, 876 * NM], 0.0).tolist() == [
        1.0, 1.0, 0.0,
    ]  # fmt: skip
    assert share_within(820 * NM, np.inf, 850 * NM, 0.0) == 1.0


@given(st.floats(800, 990), st.floats(0, 80))
def test_all_bands_together_pass_everything(edge, width):
    below = share_within(0.0, edge * NM, 880 * NM, width * NM)
    above = share_within(edge * NM, np.inf, 880 * NM, width * NM)
    assert below + above == pytest.approx(1.0 if width > 1e-3 or edge != 880 else 2.0)


def test_without_an_index_nothing_shifts():
    share = filter_share(915 * NM, 965 * NM, 0.9, 0.0, np.inf, 940 * NM, 45 * NM, ANGLES_RAD)
    np.testing.assert_allclose(share, share[0])


def test_a_long_pass_that_shifts_only_passes_more():
    share = filter_share(920 * NM, np.inf, 0.9, 0.0, 1.8, 940 * NM, 45 * NM, ANGLES_RAD)
    assert np.all(np.diff(share) >= 0.0) and share[-1] > 1.1 * share[0]


def test_the_table_holds_between_its_angles():
    table = filter_share(915 * NM, 965 * NM, 0.9, 0.001, 1.8, 940 * NM, 45 * NM, ANGLES_RAD)
    angle = np.radians(np.linspace(0, 60, 97))
    exact = filter_share(915 * NM, 965 * NM, 0.9, 0.001, 1.8, 940 * NM, 45 * NM, angle)
    np.testing.assert_allclose(share_at(table, angle), exact, atol=0.004)
    assert np.isnan(share_at(table, np.nan))
    # Leading axes of table and angle broadcast.
    two = share_at(np.stack([table, table[::-1]])[:, None, :], angle)
    assert two.shape == (2, 97)
    np.testing.assert_allclose(two[0], share_at(table, angle))
    assert share_at(np.ones(1), angle).tolist() == [1.0] * 97

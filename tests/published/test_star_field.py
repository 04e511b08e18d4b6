"""Windowed centres of stars and galaxies in a real picture of the sky, beside a catalogue's.

SOURCE: sep 1.4.1 (LGPL-3, BSD-3-Clause, MIT), source distribution, data/image.fits (ESO, 256×256,
26 October 1992), data/image.cat (XWIN_IMAGE and YWIN_IMAGE by SExtractor, printed to 0.0001 px)
and data/back.fits (the background that SExtractor took off, which is taken off here too);
fetched at test time by tests/fetch_real_data.sh. The catalogue counts pixels from 1. SExtractor's
window has the width 2/2.35 times the radius of half the light, column 19 (sep's own test, test.py).

The agreement wanted, a median of .0002 px and .0006 px for nine sources in ten, was measured here
beforehand with another program and is not published; half its last digit is the tolerance.
SExtractor weighs pixels at the window's edge by their share in it, ours by their centres.
"""

import importlib.util
from pathlib import Path

import numpy as np
import pytest

from rushlight.see.start import windowed_centre

_spec = importlib.util.spec_from_file_location(
    "real_data", Path(__file__).parents[1] / "real_data.py"
)
real_data = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(real_data)

pytestmark = pytest.mark.real_data

UNFLAGGED = 52
MEDIAN_PX, NINE_IN_TEN_PX, HALF_A_DIGIT_PX = 0.0002, 0.0006, 0.00005


def fits_image(path):
    """The first image of a FITS file (FITS standard 4.0, clauses 3.3 and 4.4), first row first."""
    content = path.read_bytes()
    cards, position = {}, 0
    while not (card := content[position : position + 80].decode("ascii")).startswith("END"):
        if card[8:10] == "= ":
            cards[card[:8].strip()] = card[10:].split("/")[0].strip()
        position += 80
    begin = (position // 2880 + 1) * 2880
    shape = int(cards["NAXIS2"]), int(cards["NAXIS1"])
    number = {"16": ">i2", "-32": ">f4"}[cards["BITPIX"]]
    levels = np.frombuffer(content, number, shape[0] * shape[1], begin).reshape(shape)
    return levels * float(cards.get("BSCALE", 1)) + float(cards.get("BZERO", 0))


@pytest.fixture(scope="module")
def sky():
    folder = real_data.star_field_folder()
    catalogue = np.loadtxt(folder / "image.cat")
    unflagged = catalogue[(catalogue[:, -1] == 0) & (catalogue[:, 18] > 0)]
    return fits_image(folder / "image.fits") - fits_image(folder / "back.fits"), unflagged


def gaps_px(light, sources):
    """Distance of our centre from the catalogue's, of each source."""
    ours = [
        windowed_centre(light, x - 1.0, y - 1.0, 2.0 / 2.35 * half_light, 0.0)
        for x, y, half_light in sources[:, [1, 2, 18]]
    ]
    return np.linalg.norm(np.array(ours) - (sources[:, 3:5] - 1.0), axis=1)


def test_the_picture_reads_as_its_header_says(sky):
    light, sources = sky
    assert light.shape == (256, 256)
    assert len(sources) == UNFLAGGED


def test_centres_agree_with_the_catalogue(sky):
    gaps = gaps_px(*sky)
    assert np.median(gaps) < MEDIAN_PX + HALF_A_DIGIT_PX
    assert np.quantile(gaps, 0.9) < NINE_IN_TEN_PX + HALF_A_DIGIT_PX


def test_single_precision_serves_as_well(sky):
    light, sources = sky
    double = gaps_px(light, sources)
    single = gaps_px(light.astype(np.float32), sources)
    np.testing.assert_allclose(single, double, atol=1e-4)

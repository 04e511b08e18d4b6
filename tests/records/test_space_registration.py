"""The document of a registered rig of space gives back the arrays that it was made of."""

import numpy as np
import pytest

from rushlight.errors import RushlightError
from rushlight.records.document import read_document
from rushlight.records.registration import Verdict
from rushlight.records.space_registration import LengthCheck, SpaceCamera, SpaceRegistration


def made():
    return SpaceRegistration(
        rig="0" * 64,
        kinds=["volume"],
        method="swing",
        cameras=[
            SpaceCamera(
                camera=name,
                size_px=(640, 480),
                camera_matrix=[[800.0, 0.0, 320.0], [0.0, 810.0, 240.0], [0.0, 0.0, 1.0]],
                distortion=[0.1, 0.0, 0.0, 0.0, 0.0],
                translation_m=(x, 0.0, 0.0),
                quaternion=(0.0, 0.0, 0.0, 1.0),
                clock_offset_ns=offset,
            )
            for name, x, offset in (("left", -0.5, 0), ("right", 0.5, -4_000_000))
        ],
        cov=np.diag(np.arange(30.0)).tolist(),
        lengths=[
            LengthCheck(
                carried="rod", lights=("near", "far"), told_m=0.4, told_std_m=1e-3,
                found_m=float("nan"), std_m=float("nan"), agrees=None,
            )
        ],
        verdict=Verdict(vouched=True, reasons=[]),
    ).stamped("simulated")  # fmt: skip


def test_arrays_and_file(tmp_path):
    written = made()
    written.write(tmp_path / "registration.json")
    read = read_document(SpaceRegistration, tmp_path / "registration.json")
    assert read.content_hash() == written.header.content_hash
    assert np.isnan(read.lengths[0].found_m)
    assert read.K.shape == (2, 3, 3)
    assert read.k.shape == (2, 5)
    assert read.cov_array.shape == (30, 30)
    np.testing.assert_array_equal(read.clock_offset_ns, [0, -4_000_000])
    # Half a turn about z, and a place.
    np.testing.assert_allclose(
        read.rig_from_camera[1], [[-1, 0, 0, 0.5], [0, -1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]],
        atol=1e-15,
    )  # fmt: skip
    assert read.index("right") == 1
    with pytest.raises(KeyError):
        read.index("middle")


def test_a_file_of_another_kind_is_refused(tmp_path):
    (tmp_path / "plan.json").write_text('{"schema": "rushlight/plan", "version": 1}')
    with pytest.raises(RushlightError, match="rushlight/space-registration"):
        read_document(SpaceRegistration, tmp_path / "plan.json")

"""What the compression of each camera's pictures costs, in words.

The cost was found with plain Gaussian dots. On simulated footage of the demo rig, where a dot is a
light and its glow on the wall, the shift came out 1.2 to 1.3 times as great.
"""

from __future__ import annotations

import numpy as np

from rushlight.errors import Finding
from rushlight.plan.evaluate import CameraEvaluation, Evaluation
from rushlight.plan.light import GREATEST_STREAM_PX
from rushlight.records.rig import Rig
from rushlight.shelf.compression import built_in_compression, stream_words


def stream_findings(rig: Rig, evaluation: Evaluation, file: str) -> list[Finding]:
    """A note for each camera with a compressed stream, and a warning where it loses dots.

    Parameters
    ----------
    rig
        The document.
    evaluation
        Of that rig.
    file
        Of the rig, to stand in the findings.
    """
    found = []
    for index, (camera, view) in enumerate(zip(rig.cameras, evaluation.views, strict=True)):
        factor = centre_factor(view)
        if camera.stream is None or camera.stream.codec == "raw" or not np.isfinite(factor):
            continue
        where = f"{file}: cameras[{index}].stream"
        words = stream_words(camera.stream)
        stays = round(100.0 * built_in_compression().stays(camera.stream))
        found.append(
            Finding(
                "note",
                "stream-compression",
                where,
                words,
                f"makes compression count: dot centre × {factor:.2g} (simulated, with another "
                f"coder than the camera's own); {stays} % of what it adds stays in every frame of "
                "a resting light, so that holding on longer does not help",
                "send raw pictures or a better quality where the camera can",
            )
        )
        worst = float(np.nanmax(np.where(view.in_view[0], view.dot.stream_px[0], 0.0)))
        if worst > GREATEST_STREAM_PX:
            found.append(
                Finding(
                    "warning",
                    "stream-loses-dots",
                    where,
                    words,
                    f"shifts the weakest dot by {worst:.2g} px, where dots begin to be lost",
                    "send raw pictures or a better quality, or make the lights brighter",
                )
            )
    return found


def centre_factor(view: CameraEvaluation) -> float:
    """Error of a dot's centre over that in raw pictures, median of the places in view; or NaN."""
    cov = view.dot.centre_cov_px2[0][view.in_view[0]]
    total_px2 = cov[..., 0, 0] + cov[..., 1, 1]
    raw_px2 = total_px2 - 2.0 * view.dot.stream_px[0][view.in_view[0]] ** 2
    with np.errstate(divide="ignore", invalid="ignore"):
        factor = np.sqrt(total_px2 / raw_px2)
    known = factor[np.isfinite(factor)]
    return float(np.median(known)) if known.size else float("nan")

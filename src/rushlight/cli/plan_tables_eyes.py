"""The tables of what reaches people's eyes: words and rounding only."""

from __future__ import annotations

from collections.abc import Sequence

from rushlight.cli.rounding import quantity
from rushlight.records.safety import BeamLine, EyeLine

Table = tuple[str, list[str], list[list[object]]]


def tables(eyes: Sequence[EyeLine], beams: Sequence[BeamLine]) -> list[Table]:
    """Infrared light, then the projector's beam where there is one."""
    return [*([_eyes(eyes)] if eyes else []), *([_beams(beams)] if beams else [])]


def _eyes(lines: Sequence[EyeLine]) -> Table:
    by_look: dict[tuple[str, str, str], dict[str, EyeLine]] = {}
    for line in lines:
        by_look.setdefault((line.light, line.where, line.look), {})[line.eye] = line
    rows: list[list[object]] = [
        [light, f"{where}, {look}", *(found[e].words for e in ("cornea", "lens", "retina"))]
        for (light, where, look), found in by_look.items()
    ]
    return (
        "Infrared and the eye, beside published limits: estimates, no assessment",
        ["light", "eye", "cornea", "lens", "retina"],
        rows,
    )


def _two_digits(value: float | None) -> float | None:
    return None if value is None else float(f"{value:.2g}")


def _beams(lines: Sequence[BeamLine]) -> Table:
    rows: list[list[object]] = [
        [
            line.person + (" (a child)" if line.child else ""),
            quantity(line.distance_m, "m"),
            f"{line.luminance_cd_m2 / 1e6:.2g} million cd/m²",
            quantity(_two_digits(line.time_limit_s), "s") or "no limit",
        ]
        for line in lines
    ]
    return (
        "Looking into the projector's lens: estimates for adults; its own marking counts",
        ["who", "nearest", "lens may look", "published dose after"],
        rows,
    )

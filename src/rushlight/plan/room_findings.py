"""What a plan warns of in the room: its light, other lights, the beam, readers, reach."""

from __future__ import annotations

from rushlight.errors import Finding
from rushlight.plan.beam import THROW_MISFIT
from rushlight.records.plan_room import PlanAmbient, PlanBeam, PlanRoom, PlanSeen
from rushlight.records.rig import Rig

DIFFERS = 3.0
"""From which ratio of the estimated to the given light of the room on it is told of (our own
choice: the estimate itself may be off by as much)."""
BRIGHT_WALL = 0.25
"""Share of full scale that a sunlit surface may take without a warning (our own choice)."""
LOST = 0.02
"""Share of the surface whose loss to the sun is warned of (our own choice)."""
HEADS = 0.01
"""Share of the scenes from which a head in the beam is told of (our own choice)."""
SHADED = 0.10
"""How often the touched place may lie in shadow without a warning (our own choice)."""


def room_findings(room: PlanRoom, rig: Rig, file: str) -> list[Finding]:
    """Everything about the room that deserves a look, each with what to do.

    Parameters
    ----------
    room
        Of the plan.
    rig
        Of the same rig.
    file
        Of the rig, to stand in the findings.
    """
    return [
        *(_ambient(room.ambient, rig, file) if room.ambient else []),
        *(_seen(one, rig, file) for one in room.seen),
        *(_beam(room.beam, file) if room.beam else []),
        *_projector_place(room, rig, file),
        *_readers(room, file),
        *_reach(room, file),
    ]


def _ambient(ambient: PlanAmbient, rig: Rig, file: str) -> list[Finding]:
    found = []
    used, estimated = ambient.used_w_m2, ambient.estimated_w_m2
    if ambient.used == "given" and used > 0.0:
        ratio = estimated / used
        much = ratio > DIFFERS or ratio < 1.0 / DIFFERS
        found.append(
            Finding(
                "warning" if much else "note",
                "ambient-differs",
                f"{file}: ambient.irradiance",
                f"{used:.2g} W/m²",
                f"is what the plan reckons with; windows and lamps let expect about "
                f"{estimated:.2g} W/m², without the sun itself",
                "take a dark picture with the camera at the hours of use, and correct the one or "
                "the other"
                if much
                else "take a dark picture at the hours of use to know",
            )
        )
    if not ambient.thrown:
        found.append(
            Finding(
                "note",
                "room-size-unknown",
                f"{file}: room",
                "",
                "does not say width, depth and height, so that light thrown about by its walls "
                "is left out of the estimate",
                "add them",
            )
        )
    extra = ambient.sun_greatest_w_m2 - ambient.estimated_w_m2
    suns = [one for one in ambient.lights if one.sun_w_m2 > one.told_w_m2]
    if not suns or extra <= 0.0:
        return found
    kept = ambient.sun_coverage
    lost = kept is not None and ambient.coverage - kept > LOST
    strong = ambient.sun_full_share > BRIGHT_WALL or lost
    worst = max(suns, key=lambda one: one.sun_w_m2)
    remedy = (
        f"shade {worst.id} in those hours, or take a band filter and lights at 940 nm, where the "
        "air takes more of the sun"
        if strong
        else f"shade {worst.id} if dots are lost then"
    )
    found.append(
        Finding(
            "warning" if strong else "note",
            "sun-comes-round",
            f"{file}: room.windows ({', '.join(one.id for one in suns)})",
            "",
            f"let in the sun at some hour: up to {ambient.sun_greatest_w_m2:.2g} W/m² on the "
            f"surface, which alone takes {100 * ambient.sun_full_share:.0f} % of full scale at "
            f"the planned exposure, where {100 * ambient.full_share:.2g} % is planned for, and "
            f"leaves {100 * (kept or 0.0):.0f} % of the surface covered, not "
            f"{100 * ambient.coverage:.0f} %",
            remedy,
        )
    )
    return found


_REMEDY = {
    "window": "turn the camera so that the window leaves its picture, or cover it",
    "neighbour": "turn or shade the camera, set a screen between the rigs, or let each rig's "
    "lights blink a code of their own",
    "remote-control": "keep remote controls away while the rig is used, or let the styli blink a "
    "code",
    "autofocus-lamp": "switch the autofocus lamp off, or keep the device out of the picture",
    "range-finder": "keep the device out of the picture, or cover its range finder",
}


def _seen(one: PlanSeen, rig: Rig, file: str) -> Finding:
    where = f"{file}: cameras ({one.camera})"
    if one.full_share is not None:
        told = f"; sunlit ground in it takes {100 * one.full_share:.0f} % of full scale"
    elif one.ratio is None:
        told = ""
    else:
        times = f"{_digits(one.ratio)} times as strong as"
        times = times if one.ratio >= 0.01 else "far weaker than"
        told = f"; its dot is {times} the weakest dot of the rig's own"
        told += ", and passes for one" if one.passes else ", too weak to pass for one"
    remedy = _REMEDY.get(
        one.kind, "take the lamp out of the picture, shade it, or put diodes in its place"
    )
    return Finding(
        "warning" if one.passes else "note",
        f"{one.kind.replace(' ', '-')}-in-view",
        where,
        one.id,
        f"stands in the picture at x = {one.x_px:.0f} px, y = {one.y_px:.0f} px{told} "
        "(an estimate)",
        remedy if one.passes else "nothing need be done as long as it stays so",
    )


def _digits(value: float) -> str:
    return f"{value:.0f}" if value >= 10.0 else f"{value:.2g}"


def _beam(beam: PlanBeam, file: str) -> list[Finding]:
    where = f"{file}: surfaces[0].projector"
    found = []
    for camera in beam.cameras:
        found.append(
            Finding(
                "warning",
                "camera-in-beam",
                f"{file}: cameras ({camera})",
                "",
                "stands in the projector's beam, where it shades the picture and is lit by it",
                "move it out of the pyramid from the projector's lens to the picture's corners",
            )
        )
    for camera, share in beam.hides.items():
        if share > 0.0:
            found.append(
                Finding(
                    "warning",
                    "projector-hides-surface",
                    f"{file}: cameras ({camera})",
                    "",
                    f"does not see {100 * share:.0f} % of the places for the projector itself, "
                    "taken as a ball of 15 cm about its lens; the coverage does not count it",
                    "hang the projector higher, or move the camera to its side",
                )
            )
    distance = beam.lens_m[2]
    if beam.throw_m is not None and abs(distance / beam.throw_m - 1.0) > THROW_MISFIT:
        found.append(
            Finding(
                "warning",
                "throw-misfit",
                where,
                f"{distance:.2f} m from the wall",
                f"is not the {beam.throw_m:.2f} m from which its throw ratio fills the width",
                "move the projector, correct its place, or describe it in a *.shelf.toml",
            )
        )
    for carried, share in beam.heads.items():
        if share > HEADS:
            found.append(
                Finding(
                    "warning",
                    "head-in-beam",
                    f"{file}: {carried}",
                    "",
                    f"has its holder's head in the projector's beam in {100 * share:.0f} % of the "
                    "scenes, where turning round means looking into the lens (an estimate; lamps "
                    "and lasers differ)",
                    "hang the projector higher and nearer, let nobody look into the lens, keep "
                    "children out of the beam, and follow the projector's own cautions",
                )
            )
    if beam.touched_max > SHADED:
        found.append(
            Finding(
                "warning",
                "own-shadow",
                where,
                "",
                "has the touched place in the toucher's own shadow in "
                f"{100 * beam.touched_max:.0f} % of the scenes at the worst place "
                f"({100 * beam.touched_mean:.0f} % in the mean); "
                f"{100 * beam.picture_mean:.0f} % of the picture is shaded in the mean",
                "hang the projector higher and nearer to the wall, take a shorter throw, or "
                "project from behind",
            )
        )
    return found


def _projector_place(room: PlanRoom, rig: Rig, file: str) -> list[Finding]:
    """A note where the display is a projector whose place is missing."""
    surface = rig.surfaces[0]
    named = surface.display is not None and surface.display.startswith("projector")
    if room.beam is not None or surface.projector is not None or not named:
        return []
    return [
        Finding(
            "note",
            "projector-place-missing",
            f"{file}: surfaces[0].projector",
            "",
            "is left out, so that shadows on the picture and heads in the beam are not told of",
            'add projector = { position = ["1.2 m", "1.7 m", "1.2 m"] }, the place of its lens',
        )
    ]


def _readers(room: PlanRoom, file: str) -> list[Finding]:
    reading = room.reading
    if reading is None or reading.farthest_m is None or reading.reader_m is None:
        return []
    if reading.reader_m <= reading.farthest_m or reading.needed_m is None:
        return []
    return [
        Finding(
            "warning",
            "readers-too-far",
            f"{file}: surfaces[0].text_height",
            f"{1e3 * (reading.text_height_m or 0.0):.3g} mm",
            f"can be read from {reading.farthest_m:.1f} m (AVIXA V202.01:2016, DISCAS), and the "
            f"farthest reader is {reading.reader_m:.1f} m away",
            f'write with capitals of "{1e3 * reading.needed_m:.0f} mm" or more, or let people sit '
            "nearer",
        )
    ]


def _reach(room: PlanRoom, file: str) -> list[Finding]:
    return [
        Finding(
            "warning" if one.share < 0.5 else "note",
            "beyond-reach-band",
            f"{file}: people ({', '.join(one.people)})",
            f"{100 * (1 - one.share):.0f} % of the surface",
            f"lies outside {one.low_m:.2f} to {one.high_m:.2f} m above the floor, where {one.who} "
            "are to reach (2010 ADA Standards, §308.2 and advisory 308.1; local codes differ)",
            "hang the surface lower, put what they must touch within that band, or let a longer "
            "stylus make up for it",
        )
        for one in room.reach
        if one.people and one.share < 1.0
    ]

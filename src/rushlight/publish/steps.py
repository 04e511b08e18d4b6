"""The steps of the build, in the words of someone who has to do them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rushlight import __version__
from rushlight.physics.cautions import CAUTIONS
from rushlight.publish.aim import Hanging, aim_words, place_words
from rushlight.publish.cautions import caution_text
from rushlight.publish.wiring import Circuit, circuit_text
from rushlight.publish.wording import camera_words, metres, significant, with_unit
from rushlight.records.kit import Step
from rushlight.records.plan import Plan
from rushlight.records.rig import CarriedEmitter, Rig
from rushlight.records.space_plan import SpacePlan
from rushlight.shelf.resolve import lit_emitters

DWELL_S = 0.6
"""How long a beacon asks to be held [s] (the project's own choice)."""


PROGRAM = Step(
    part="register",
    title="Set up the program",
    text=f"The commands in this kit are those of Rushlight {__version__}, an open program "
    "that whoever gave you the kit can pass on. In its folder, with Python and make at "
    "hand, type these two lines; the first takes a minute or two and shows an invented "
    "example. This kit's own folder is then the place to work in.",
    commands=["make demo", ". .venv/bin/activate"],
)
"""Of every kit."""


def steps_of(
    rig: Rig, plan: Plan, circuits: Sequence[Circuit], hangings: Sequence[Hanging]
) -> list[Step]:
    """Every step: wiring, mounting, registering, checking.

    Parameters
    ----------
    rig, plan
        The rig and its plan.
    circuits, hangings
        As `circuits_of` and `hanging_of` tell them.
    """
    places: dict[str, list[str]] = {}
    for carried, light in lit_emitters(rig):
        places.setdefault(light_words(light, "from the tip"), []).append(carried.id)
    placed = " ".join(f"{listed(names)}: {where}." for where, names in places.items())
    return [
        *wire_steps(rig, plan, circuits, placed),
        *_mount(rig, plan, hangings),
        *_register(rig, plan),
        *_check(rig),
    ]


def beside(rig: Rig, *hazards: str) -> list[str]:
    """The cautions to stand beside a step; cells only where there are any."""
    none = set() if any(carried.cell for carried in rig.carried) else {"cell"}
    return [caution_text(hazard) for hazard in hazards if hazard in CAUTIONS and hazard not in none]


def wire_steps(
    rig: Rig, plan: Plan | SpacePlan, circuits: Sequence[Circuit], placed: str
) -> list[Step]:
    """Steps of wiring; `placed` says where each light sits."""
    steps = []
    too_bright = [each for each in plan.findings if each.code == "eye-limit-passed"]
    if too_bright:
        steps.append(
            Step(
                part="wire",
                title="Do not wire this light as it stands",
                text=" ".join(str(each.finding()) for each in too_bright),
                cautions=beside(rig, "eye"),
            )
        )
    for circuit in circuits:
        if circuit.drawable:
            text = (
                f"Build this circuit {_times(circuit.lights)}. {circuit_text(circuit)}. An emitter "
                "works one way round only: its anode goes to the plus side (on most round ones the "
                "longer leg, and the flat of the rim marks the cathode; common practice, no "
                "source). Never "
                "leave the resistor out, and never set emitters side by side on one resistor."
            )
        else:
            text = (
                f"The supply of {listed(circuit.lights)} is not told by this kit, so no resistor "
                "could be chosen and no circuit is drawn. Choose both before you connect anything."
            )
        steps.append(
            Step(part="wire", title=f"Wire the light of {listed(circuit.lights)}", text=text,
                 cautions=beside(rig, "cell", "heat"))
        )  # fmt: skip
    steps.append(
        Step(part="wire", title="Set the light in its place", text=placed
             + " Keep to these lengths: the error in the tables rests on them.")
    )  # fmt: skip
    steps.append(
        Step(
            part="wire",
            title="See whether it shines",
            text="The eye sees nothing. Press the switch and film the light with the rig's camera, "
            "or look for it on the screen of a telephone's camera, many of which show it faintly "
            "(common practice, no source). Look at the screen, never at the emitter.",
            cautions=beside(rig, "eye"),
        )
    )
    return steps


def _times(lights: Sequence[str]) -> str:
    if len(lights) == 1:
        return f"once, for {lights[0]}"
    return f"{len(lights)} times, once for each of {listed(lights)}"


def light_words(light: CarriedEmitter, origin: str) -> str:
    """Where a light sits, counted from what `origin` names, how it faces and what covers it."""
    return ", ".join(part for part in light_parts(light, f" {origin}") if part)


def light_parts(light: CarriedEmitter, origin: str = "") -> tuple[str, str]:
    """Where a light sits; and how it faces and what covers it, which lights may share."""
    if light.distance_from_tip is not None:
        where = (
            f"{_millimetres(light.distance_from_tip.value)} behind the tip, on the stylus's axis"
        )
    elif light.position is not None:
        x, y, z = (_millimetres(step.value) for step in light.position)
        where = f"at x {x}, y {y}, z {z}{origin}"
    else:
        where = "where rig.toml tells"
    facing = _facing(light)
    cap = ""
    if light.reflector is not None:
        size = _millimetres(light.reflector.value)
        where = f"a {light.shape} of {size} covered with retro-reflective sheet, its middle {where}"
        if light.shape == "ball":
            return where, ""
    if light.diffuser is not None:
        cap = (
            f", under a translucent cap that lets {100 * light.diffuser.transmission.value:.0f} % "
            f"through and spreads {100 * light.diffuser.spread.value:.0f} % of it evenly"
        )
    return where, f"{facing}{cap}"


def _facing(light: CarriedEmitter) -> str:
    """Toward the tip of what has one, along an axis by its name, or along numbers."""
    if light.distance_from_tip is not None and light.axis == (0.0, 0.0, -1.0):
        return "facing the tip"
    along = [(sign, name) for sign, name in zip(light.axis, "xyz", strict=True) if sign]
    if len(along) == 1:
        return f"facing along {'−' if along[0][0] < 0.0 else ''}{along[0][1]}"
    return "facing along ({:g}, {:g}, {:g})".format(*light.axis).replace("-", "−")


def _mount(rig: Rig, plan: Plan, hangings: Sequence[Hanging]) -> list[Step]:
    surface, beam = rig.surfaces[0], "beam" in plan.cautions
    steps = [
        Step(
            part="mount",
            title="Set up the surface",
            text=f"{metres(surface.width.value)} wide and {metres(surface.height.value)} high, its "
            f"lower edge {metres(surface.height_above_floor.value)} above the floor, and within "
            f"{_millimetres(surface.flatness.value)} of flat (root-mean-square). The picture has "
            f"{surface.pixels[0]} × {surface.pixels[1]} pixels. Measure what you really get, and "
            "write it into rig.toml.",
            cautions=beside(rig, "mains", "cables", *(["beam"] if beam else [])),
        )
    ]
    for hanging in hangings:
        camera = next(each for each in rig.cameras if each.id == hanging.camera)
        with_filter = f", its filter ({camera.filter}) before the lens" if camera.filter else ""
        steps.append(
            Step(
                part="mount",
                title=f"Hang {camera_words(hanging.camera)}",
                text=f"Hang {place_words(hanging)}{with_filter}.",
                cautions=beside(rig, "height", *(["filter_glass"] if camera.filter else [])),
            )
        )
        steps.append(
            Step(part="mount", title=f"Aim {camera_words(hanging.camera)}", text=_aim_text(hanging))
        )
        steps.append(
            Step(
                part="mount",
                title=f"Set {camera_words(hanging.camera)}",
                text=f"Frame rate {camera.frame_rate.value:g} Hz; exposure "
                f"{exposure_words(plan, hanging.camera)}; gain {camera.gain:g}. Switch automatic "
                f"exposure, gain and focus off, and focus at {_focus(hanging)}.",
            )
        )
    return steps


def _aim_text(hanging: Hanging) -> str:
    words = aim_words(hanging.turn_deg, hanging.tilt_deg, hanging.roll_deg)
    text = f"Begin with the camera level and looking straight at the wall. Then: {words}."
    if np.isfinite(hanging.aim_m).all():
        x, y = (float(step) for step in hanging.aim_m)
        floor = hanging.height_m - float(hanging.lens_m[1])
        text += (
            f" The middle of its picture then looks at a point {metres(x)} from the surface's left "
            f"edge and {metres(y + floor)} above the floor."
        )
    return (
        f"{text} A camera behind an infrared filter does not see the projected picture: have "
        "someone hold a lit stylus in each corner of the surface, and compare with the table of "
        "corners below."
    )


def _register(rig: Rig, plan: Plan) -> list[Step]:
    who = listed(plan.registering) if plan.registering else "one stylus"
    return [
        PROGRAM,
        *_by_camera(rig, _AIMING, "eye", "height"),
        Step(
            part="register",
            title="Survey the picture",
            text="A picture is seldom a true rectangle of its full size: a projector stands askew, "
            "a screen cuts the rim off. The first command writes a file for a few ruler readings, "
            "the second tells the shape from them. Where beacons are shown in the picture, add "
            "--survey survey.json to a command that registers; beacons that are marked by ruler "
            "need none.",
            commands=["rushlight survey rig.toml --template", "rushlight survey rig.toml"],
            cautions=beside(rig, "height"),
        ),
        *_by_camera(rig, _LIVE, "eye", "motion"),
        Step(
            part="register",
            title="Mark the beacons, to register by a film",
            text=f"Beacons are the {len(plan.beacons)} places that are touched so that the camera "
            "learns where the surface is. Mark each with a small cross, by the table of beacons "
            "or on the picture that you show.",
        ),
        Step(
            part="register",
            title="Touch them, one by one",
            text=f"Start filming. With {who}, touch every beacon in the order of its number, and "
            f"hold still on each for {DWELL_S:g} s or a little longer with the light on. {_HOLDING}"
            " With several styli, go round once with each.",
            cautions=beside(rig, "eye", "motion"),
        ),
        Step(
            part="register",
            title="Let the map be computed",
            text=f"Rushlight finds the held touches in the film, fits the map, and {_VOUCHING}",
            commands=[
                "rushlight register --footage FILM --rig rig.toml --plan data/plan.json "
                "--out registration.json"
            ],
        ),
    ]


_OWN_CAMERA = "Put your own camera in: rushlight run --list-cameras names them."
_HOLDING = (
    "Stand to the side, so that your body hides nothing from the camera, hold the stylus as you "
    "will in use, and switch the light off on the way."
)
_VOUCHING = (
    "says whether it vouches for it. If not, it says why: touch again what it names. Register anew "
    "whenever camera or surface has moved."
)
_AIMING = Step(
    part="register",
    title="Let the program help you to aim",
    text="Hold a lit stylus at the places that it names. From them it finds where the camera "
    "really is, and says how far to turn, tilt or move it until enough of the surface is in "
    f"view. {_OWN_CAMERA}",
    commands=["rushlight aim rig.toml --camera camera:0"],
)
_LIVE = Step(
    part="register",
    title="Register with the camera running",
    text="The program names one beacon after the other, says when it was held for long enough, "
    f"and asks again for what was not seen. {_HOLDING} It then fits the map, and {_VOUCHING} "
    f"{_OWN_CAMERA} The second command opens the same in a browser instead, with each beacon "
    "shown on the display itself.",
    commands=[
        "rushlight register --camera camera:0 --rig rig.toml --out registration.json",
        "rushlight bench .",
    ],
)


def _by_camera(rig: Rig, step: Step, *hazards: str) -> list[Step]:
    """A step with the camera running, where one alone sees the surface: it takes no more."""
    if len(rig.cameras) > 1:
        return []
    return [step.model_copy(update={"cautions": beside(rig, *hazards)})]


def _check(rig: Rig) -> list[Step]:
    return [
        Step(
            part="check",
            title="Measure your print and your room",
            text="Print this page at 100 % and lay a ruler on the check lines: 100 mm, give or "
            "take 1 mm (the project's own choice). Then measure surface, camera and people as they "
            "really are, write them into a copy of rig.toml, and let it be checked and planned.",
            commands=["rushlight check rig.toml", "rushlight plan rig.toml --out plan"],
        ),
        Step(
            part="check",
            title="Touch known places",
            text="Mark the places of data/marks.toml on the surface: they are spread over what is "
            "within reach and in view, away from the beacons. Film while the stylus that the list "
            "names is held on each of them, in the order of the list, for 0.6 s or a little "
            "longer, with the light off on the way. Do not climb for a mark: strike it out of "
            "the list instead.",
            commands=["rushlight run --footage FILM --rig rig.toml --registration "
                      "registration.json --out marks.sqlite"],
        ),
        Step(
            part="check",
            title="Compare",
            text="Compare your figures with the table below. What lies within its bound is met; "
            "what you did not measure is not shown, and must not be called met.",
            commands=["rushlight assess marks.sqlite --marks data/marks.toml --rig rig.toml "
                      "--plan plan/plan.json --out assessment"],
        ),
    ]  # fmt: skip


def exposure_words(plan: Plan | SpacePlan, camera: str) -> str:
    """The planned exposure of a camera."""
    exposure_s = plan.exposures_s.get(camera)
    return with_unit(significant(None if exposure_s is None else 1e3 * exposure_s), "ms")


def _focus(hanging: Hanging) -> str:
    return metres(hanging.focus_m) if np.isfinite(hanging.focus_m) else "the surface"


def _millimetres(value_m: float) -> str:
    return f"{1e3 * value_m:g} mm".replace("-", "−")


def listed(names: Sequence[str]) -> str:
    """Names one after another."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"

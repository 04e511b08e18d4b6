"""The steps of building a rig of space, in the words of someone who has to do them."""

from __future__ import annotations

import math
from collections.abc import Sequence

from rushlight.physics.geometry import turn_of_camera
from rushlight.physics.sighting import HELD_STD_M
from rushlight.publish.aim import aim_words
from rushlight.publish.space_views import fixed_words, millimetres, place_words, sight_m
from rushlight.publish.steps import (
    PROGRAM,
    beside,
    exposure_words,
    light_parts,
    listed,
    wire_steps,
)
from rushlight.publish.wiring import Circuit
from rushlight.publish.wording import camera_words, metres
from rushlight.records.kit import Step
from rushlight.records.rig import Rig
from rushlight.records.space import ResolvedSpace, Thing, looking_words
from rushlight.records.space_plan import SpacePlan
from rushlight.shelf.resolve_space import space_lights

HOLD_S = 1.0
"""How long each step of a registration is held [s] (the project's own choice)."""


def _lights_words(of: str, lights: Sequence[str], how: str) -> str:
    """Where the lights of a thing sit that face and are covered alike."""
    words = f"{of}, from its drawing’s 0: {'; '.join(lights)}"
    if not how:
        return f"{words}."
    return f"{words}; each {how}." if len(lights) > 1 else f"{words}, {how}."


def space_steps(
    rig: Rig, plan: SpacePlan, space: ResolvedSpace, circuits: Sequence[Circuit]
) -> list[Step]:
    """Every step: wiring, building, mounting, registering, checking."""
    alike: dict[tuple[str, str], list[str]] = {}
    for carried, light in space_lights(rig):
        where, how = light_parts(light)
        alike.setdefault((carried.id, how), []).append(f"{light.id} {where}")
    placed = " ".join(_lights_words(of, lights, how) for (of, how), lights in alike.items())
    return [
        *wire_steps(rig, plan, circuits, placed),
        *(_thing(rig, each) for each in _things(space)),
        *_mount(rig, plan, space),
        *_register(rig, plan, space),
        *_check(rig, space),
    ]


def _things(space: ResolvedSpace) -> list[Thing]:
    return [*space.things, *([space.scale_bar] if space.scale_bar else [])]


def _thing(rig: Rig, thing: Thing) -> Step:
    points = "; ".join(
        f"{name} at {_places(place)}"
        + (f", known to {millimetres(float(std))}" if std > 0.0 else "")
        for name, place, std in zip(
            thing.point_names, thing.points_m, thing.points_std_m, strict=True
        )
    )
    single = len(thing.light_ids) == 1
    worn = ""
    if thing.kind == "cap":
        worn = (
            " Fasten nothing to the wearer by a cord, keep cells and wires away from skin and "
            "hair, and let nobody wear it who does not want to."
        )
    return Step(
        part="wire",
        title=f"Build {thing.id}",
        text=f"Set its {'light' if single else f'{len(thing.light_ids)} lights'} where the "
        f"drawings of {thing.id} and the table below say, {'' if single else 'each '}to within "
        f"{millimetres(float(thing.lights_std_m.max()))}. Points that count: {points}. Measure "
        f"what you really built, and write it into rig.toml.{worn}",
        cautions=beside(rig, "eye", *(["motion"] if thing.kind == "cap" else [])),
    )


def _places(place: Sequence[float]) -> str:
    return ", ".join(
        f"{axis} {millimetres(float(step))}" for axis, step in zip("xyz", place, strict=True)
    )


def _mount(rig: Rig, plan: SpacePlan, space: ResolvedSpace) -> list[Step]:
    steps = []
    for surface in rig.surfaces:
        steps.append(
            Step(
                part="mount",
                title=f"Set up the screen {surface.id}",
                text=f"{metres(surface.width.value)} wide and {metres(surface.height.value)} high "
                f"(what lights up, without the rim), {surface.pixels[0]} × {surface.pixels[1]} "
                "pixels. The rig's origin is its lower left corner as the user sees it: x to the "
                "right, y up along the glass, z out of it. Measure what you really have, and "
                "write it into rig.toml.",
                cautions=beside(rig, "mains", "cables"),
            )
        )
    for index, camera in enumerate(rig.cameras):
        pose = space.cameras.rig_from_camera[0, index]
        turn, tilt, roll = (math.degrees(float(each)) for each in turn_of_camera(pose))
        toward = "−z, away from the user"
        if abs(turn) > 90.0:
            toward, turn = "z, toward the user", turn - math.copysign(180.0, turn)
        aim = sight_m(space, index)[0]
        with_filter = f", its filter ({camera.filter}) before the lens" if camera.filter else ""
        words = camera_words(camera.id)
        steps.append(
            Step(
                part="mount",
                title=f"Fix {words}",
                text=f"Fix the lens at {fixed_words(pose[:3, 3])} from the rig's origin"
                f"{with_filter}, so that neither a knock nor a door moves it.",
                cautions=beside(
                    rig, "height", "cables", *(["filter_glass"] if camera.filter else [])
                ),
            )
        )
        steps.append(
            Step(
                part="mount",
                title=f"Aim {words}",
                text=f"Begin with the camera looking straight along {toward}, its top toward y. "
                f"Then: {aim_words(turn, tilt, roll)}. The middle of its picture then looks at "
                f"{place_words(aim)}. Frame rate {camera.frame_rate.value:g} Hz; exposure "
                f"{exposure_words(plan, camera.id)}; gain {camera.gain:g}. Switch automatic "
                f"exposure, gain and focus off, and focus at "
                f"{metres(float(space.focus_m[index]))}.",
            )
        )
    return steps


def _register(rig: Rig, plan: SpacePlan, space: ResolvedSpace) -> list[Step]:
    computed = (
        "Rushlight fits where the cameras stand with the doubt that is left, and says whether it "
        "vouches for it. If not, it says why: do again what it names. Register anew whenever a "
        "camera has moved."
    )
    end = "--rig rig.toml --out registration.json"
    if plan.registration.method == "mounting":
        computing = [
            Step(
                part="register",
                title="Let the cameras' doubt be computed",
                text=computed,
                commands=[f"rushlight register {end}"],
            )
        ]
    else:
        cameras = [camera.id for camera in rig.cameras]
        named = [f"{name}=" for name in cameras] if len(cameras) > 1 else [""]
        live = " ".join(f"--camera {name}camera:{i}" for i, name in enumerate(named))
        marked = plan.registration.method != "swing"
        computing = [
            Step(
                part="register",
                title="Register with the cameras running",
                text="The program tells one step after the other in words, and Enter begins it; "
                "what was not held still, or not seen, is asked for again. Put your own cameras "
                f"in: rushlight run --list-cameras names them. {computed}",
                commands=[f"rushlight register {live} {end}"],
            ),
            Step(
                part="register",
                title="Or film it, and register by the films",
                text=f"{_FILMS} {_MARKED if marked else _UNMARKED}",
                commands=[f"rushlight register --footage FILMS {end}"],
            ),
        ]
    return [PROGRAM, *_held(rig, plan, space), *computing]


_FILMS = (
    "FILMS in the commands is a folder that holds one folder with a film for each camera, named "
    "as in rig.toml, and space.json, which is data/space.json of this kit."
)
_MARKED = (
    "Write into it from when to when in the film each mark was held, in nanoseconds, and leave out "
    "what was not held."
)
_UNMARKED = "A swing needs nothing written into it."


def _held(rig: Rig, plan: SpacePlan, space: ResolvedSpace) -> list[Step]:
    how = plan.registration
    if how.method == "looks":
        return [
            Step(
                part="register",
                title="Hang the sight marks",
                text="For each look of the table below a near mark and a far one: beads on "
                "threads, or crosses on the glass. Measure each from the rig's origin to the "
                "millimetre.",
                cautions=beside(rig, "height"),
            ),
            Step(
                part="register",
                title="Look past them, one by one",
                text=f"With {how.carried} on, {looking_words(space.thing(how.carried))}, the nose "
                f"toward both marks, and hold still for {HOLD_S:g} s; then the next, nearer and "
                "farther in turns. Rest between.",
                cautions=beside(rig, "eye", "motion"),
            ),
        ]
    if how.method == "placings":
        return [
            Step(
                part="register",
                title="Show or stick on the marks",
                text="A small cross at each place of the table below, measured from the rig's "
                "origin to the millimetre.",
            ),
            Step(
                part="register",
                title="Place it on them, one by one",
                text=f"Hold the named point of {how.carried} on each mark, to within "
                f"{millimetres(HELD_STD_M)}, for {HOLD_S:g} s, turned differently each time, and "
                "keep hands and sleeves from between lights and camera.",
                cautions=beside(rig, "eye", "cables"),
            ),
        ]
    if how.method == "swing" and space.scale_bar is not None:
        length = float(abs(space.scale_bar.lights_m[-1] - space.scale_bar.lights_m[0]).max())
        return [
            Step(
                part="register",
                title="Swing the scale bar",
                text=f"Measure the distance of its two lights with a steel rule "
                f"({millimetres(length)} as drawn): everything that the rig tells is as right as "
                "this length. Then swing the bar slowly all through the zone for some 20 s, in all "
                "directions, both lights in view of every camera.",
                cautions=beside(rig, "eye", "motion"),
            )
        ]
    return [
        Step(
            part="register",
            title="Measure the mounting",
            text="Nothing is held: measure each camera's place and angles as exactly as you can, "
            "and write them into rig.toml with how exactly they are known.",
        )
    ]


def _seeing(space: ResolvedSpace) -> str:
    """How the picture is looked at by whoever checks it."""
    eyes = [thing.which_eye for thing in space.things if thing.main == "eye"]
    if None in eyes or not eyes:
        return (
            "shut first one eye and then the other, and move: what is drawn must lie as far aside "
            "of the ruler for the one as for the other"
        )
    return (
        f"shut the eye that is not the {eyes[0]} one, and move: what is drawn must stay in line "
        "with the ruler"
    )


def _check(rig: Rig, space: ResolvedSpace) -> list[Step]:
    names = listed([thing.id for thing in space.things])
    run = (
        "rushlight run --footage FILMS --rig rig.toml --registration registration.json "
        "--out rest.sqlite"
    )
    steps = [
        Step(
            part="check",
            title="Measure your print and what you built",
            text="Print this page at 100 % and lay a ruler on the check lines: 100 mm, give or "
            "take 1 mm (the project's own choice). Then measure screens, cameras, lights and "
            "points as they really are, write them into a copy of rig.toml, and let it be checked "
            "and planned.",
            commands=["rushlight check rig.toml", "rushlight plan rig.toml --out plan"],
        ),
        Step(
            part="check",
            title="Let it rest",
            text=f"Film {names} at rest in the middle of the zone for 10 s, switched on, with "
            "nobody touching it: how much the places tremble and wander is told by it.",
            commands=[
                run,
                "rushlight assess rest.sqlite --rig rig.toml --plan plan/plan.json "
                "--registration registration.json --out assessment",
            ],
        ),
    ]
    if "viewpoint" in space.kinds:
        steps.append(
            Step(
                part="check",
                title="Look past a real thing",
                text="Stand a ruler before the screen where the scene draws something of known "
                f"size, {_seeing(space)} from everywhere in the zone. How far off it is, note in "
                "millimetres on the screen, and compare with the picture's error in the table. "
                "Stop at once when it makes anyone dizzy.",
                cautions=beside(rig, "motion", "picture"),
            )
        )
    if "volume" in space.kinds:
        steps.append(
            Step(
                part="check",
                title="Swing the bar once more",
                text="Film another swing of the scale bar, on another day or after other hands "
                'have been at the cameras, with "script": "swing" in its space.json: how far the '
                "bar's length and the dots are found off is told by it, and should lie within what "
                "the plan expects.",
                commands=[
                    "rushlight run --footage SWING --rig rig.toml --registration "
                    "registration.json --out swing.sqlite",
                    "rushlight assess swing.sqlite --rig rig.toml --plan plan/plan.json "
                    "--registration registration.json --out lengths",
                ],
            )
        )
    if "body" in space.kinds:
        steps.append(
            Step(
                part="check",
                title="Place it on a mark again and again",
                text="Place the named point on one mark ten times, lifting it between, and note "
                "what the program tells each time: how far those differ is the repeatability of "
                "placing and rig together.",
            )
        )
    return [
        *steps,
        Step(
            part="check",
            title="Compare",
            text="Compare your figures with the table below. What lies within its bound is met; "
            "what you did not measure is not shown, and must not be called met.",
        ),
    ]

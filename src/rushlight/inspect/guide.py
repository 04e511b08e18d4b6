"""What each step is for, what to do with the hands, and what to beware of."""

from __future__ import annotations

from dataclasses import dataclass

from rushlight.inspect.polarity import REVERSE

EYES = (
    "infrared is invisible, so the eye does not turn away from it: do not look into a lit emitter "
    "from near, nor through a lens, though it looks dark"
)
CELLS = (
    "never short a cell; lithium cells can burn: charge them only with their own charger, and "
    "switch the supply off before you touch the wiring"
)
GLASS = (
    "an infrared-cut filter is thin glass: taking it out can splinter it (eye protection, gloves, "
    "no children), voids the warranty, and the lens must be focused anew"
)
MAINS = "leave mains lamps and their wiring closed; use them as they are"
UNTRIED = (
    "This procedure was tried on computed pictures only, not yet on any camera or emitter; what "
    "it says of yours is an estimate. Simulated pictures are called so in every result."
)


@dataclass(frozen=True)
class Step:
    """One step of the inspection.

    Attributes
    ----------
    name, answers
        Its name, and the question it answers.
    do
        What to do, one act a sentence.
    takes
        How the takes are named.
    cautions
        What to beware of.
    """

    name: str
    answers: str
    do: tuple[str, ...]
    takes: str
    cautions: tuple[str, ...] = ()


STEPS = (
    Step(
        "sees-infrared",
        "Does this camera see infrared at all, or does a filter in it block the light?",
        (
            "Darken the room a little and fix the camera.",
            "Hold any remote control 10 to 20 cm before the lens and keep a key pressed for five "
            "seconds, while you film.",
            "If you have an emitter of the shelf, film it too: pointing at the lens from a "
            "measured distance, at a known exposure.",
        ),
        'one take "remote"; or "emitter 1 m 2 ms" (with --rig, --camera, --emitter); or both',
        (EYES, GLASS),
    ),
    Step(
        "rate",
        "How many frames really come in a second, how evenly, and are any lost or sent twice?",
        (
            "Point the camera at a lit scene in which something moves.",
            "Film for ten seconds at the frame rate that you mean to use.",
        ),
        "one take, with the times of a live camera or a sidecar",
    ),
    Step(
        "exposure",
        "Does the camera obey the exposure it is asked for?",
        (
            "Light a matt white sheet evenly and steadily; switch automatic exposure and gain off.",
            "Film a second each at four or more exposures, none of them white.",
            "Cover the lens and film a second more.",
        ),
        '"1 ms", "2 ms", "4 ms", "8 ms", and "dark"',
        (MAINS,),
    ),
    Step(
        "noise",
        "How many electrons is a grey level, how noisy is a pixel, which pixels are hot or dead?",
        (
            "Light a matt white sheet, out of focus, with daylight or a lamp on direct current; "
            "fix the camera.",
            "Film a second each at four or more exposures, from dim to nearly white.",
            "Cover the lens well and film a second more.",
        ),
        '"dark", and the lit ones by any names, such as "1 ms", "2 ms", "4 ms", "8 ms"',
        (MAINS,),
    ),
    Step(
        "row-time",
        "Is the shutter rolling or global, and how long is it from row to row?",
        (
            "Let a light blink at a known frequency on a matt white sheet that fills the picture: "
            "an emitter on a signal generator, or a mains lamp that flickers (twice the mains "
            "frequency).",
            "Set an exposure shorter than half a period of the light, and film two seconds.",
            "If you can, film the same sheet under steady light too.",
        ),
        'one take, and "steady" if there is one; with --frequency "100 Hz"',
        (EYES, MAINS),
    ),
    Step(
        "compression",
        "Are the pictures compressed with loss on their way?",
        ("Film a second of a scene with things and light in it.",),
        "one take",
    ),
    Step(
        "focus",
        "Are dots as narrow as the lens allows, and which way is the ring to be turned?",
        (
            "Darken the room, and let an emitter stand at the distance of use.",
            "Shorten the exposure until its dot is not white.",
            "Film while you turn the ring slowly through; or film a take for each position.",
        ),
        'one take, such as "far 3 m"; or one for each position of the ring, in order',
        (EYES,),
    ),
    Step(
        "emitters",
        "Is each emitter alive, the right way round, how bright beside the others, how wide?",
        (
            "Darken the room and fix the camera; shorten the exposure until no dot is white.",
            "Stand one emitter after the other at one measured distance, pointing at the lens, "
            "all with the same current, and film a second each.",
            "Turn one of them by known angles to both sides, and film a second at each.",
            "If one stays dark, switch off, change its two leads over, and film it once more.",
        ),
        '"wren 1 m 0 deg", "wren 1 m 15 deg", "dipper 1 m 0 deg"; "dipper swapped 1 m" with its '
        'leads changed over; "reference 1 m" for one of known intensity',
        (EYES, CELLS, REVERSE),
    ),
)

NAMES = tuple(step.name for step in STEPS)

AT_REST = "at-rest"
"""The step for sensors that send dots, which have no pictures to inspect."""

SENSOR_STEP = Step(
    AT_REST,
    "How noisy are the places that a sensor sends, which finds dots itself?",
    (
        "Tell the format of its lines in the rig: a table lines below its camera.",
        "Lay the lights down in its view, lit, and keep off the table.",
        'Listen for ten seconds: --live serial:/dev/ttyUSB0 --rig my-rig --for "10 s".',
    ),
    "none; it listens to the running sensor, or to session:FILE of what it sent before",
    (EYES,),
)


def step_of(name: str) -> Step | None:
    """The step of a name, or None."""
    return next((step for step in (*STEPS, SENSOR_STEP) if step.name == name), None)

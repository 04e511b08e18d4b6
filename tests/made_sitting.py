"""A made-up sitting of one ring of taps by a mouse, as the page of trials sends it."""

TAPS = range(12)


def made_sitting(rig):
    """The sitting, at a rig of that name: an invented hand, whose taps are not quite alike."""
    goals = [
        {"carried": "mouse", "block": "ring", "trial": tap, "width_m": 0.05, "until_ns": 0,
         "place_m": (0.6 + tap % 2, 0.7), "from_ns": tap * 10**9}
        for tap in TAPS
    ]  # fmt: skip
    presses = [
        {"down_ns": tap * 10**9 + 7 * 10**8 + tap**2, "up_ns": tap * 10**9 + 8 * 10**8,
         "place_m": (0.6 + tap % 2 + 0.003 * (tap % 5), 0.7)}
        for tap in TAPS
    ]  # fmt: skip
    for goal, press in zip(goals, presses, strict=True):
        goal["until_ns"] = press["up_ns"]
    run = {"kind": "tap", "block": "ring", "number": 0, "pointer_types": ["mouse"],
           "goals": goals, "presses": presses}  # fmt: skip
    consent = {"taking_part": True, "publish_trials": False, "publish_video": False}
    return {
        "schema": "rushlight/sitting", "version": 1, "id": "0123456789ab", "device": "a-mouse",
        "device_name": "a mouse", "role": "reference", "rig_name": rig,
        "participant": {"id": "a1b2c3d4e5f6", "consent": consent},
        "display_px": (1280, 800), "display_m": (2.4, 1.5), "runs": [run],
    }  # fmt: skip

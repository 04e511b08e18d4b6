"""Compile the numerical kernels during set-up, so that no first run stalls."""

from __future__ import annotations


def warm() -> None:
    """Compile every kernel for the types it is used with; later calls find them cached."""
    from rushlight.plan.warm import warm as warm_plan
    from rushlight.see.warm import warm as warm_see
    from rushlight.simulate.warm import warm as warm_simulate
    from rushlight.track.warm import warm as warm_track

    warm_see()
    warm_simulate()
    warm_track()
    warm_plan()


if __name__ == "__main__":
    warm()

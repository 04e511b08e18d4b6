"""What following needs of a rig: the camera's noise, and where each thing first lights up."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rushlight.records.arrays import Array
from rushlight.records.resolved import ResolvedRig
from rushlight.records.rig import Carried, Rig
from rushlight.see.sensor import SensorNoise


def followed_things(rig: Rig) -> list[Carried]:
    """What a surface rig follows: its styluses, or all that is carried where it has none.

    Parameters
    ----------
    rig
        The document.
    """
    styluses = [thing for thing in rig.carried if thing.kind == "stylus"]
    return styluses or list(rig.carried)


def noise_of(resolved: ResolvedRig, camera: int, full_scale_dn: float | None = None) -> SensorNoise:
    """A camera's noise in grey levels.

    Parameters
    ----------
    resolved
        A batch of one.
    camera
        The camera's place in the rig.
    full_scale_dn
        Of its pictures [DN], where they are of another depth than the rig says.
    """
    cameras = resolved.cameras
    own_dn = float(cameras.levels[0, camera]) - 1.0
    full_scale_dn = own_dn if full_scale_dn is None else full_scale_dn
    finer = full_scale_dn / own_dn
    gain_e_per_dn = float(cameras.gain_e_per_dn[0, camera]) / finer
    return SensorNoise(
        gain_e_per_dn=gain_e_per_dn,
        read_noise_dn=float(cameras.read_noise_e[0, camera]) / gain_e_per_dn,
        offset_dn=float(cameras.black_dn[0, camera]) * finer,
        full_scale_dn=full_scale_dn,
    )


def homes_of(things: Sequence[Carried], rig: Rig, resolved: ResolvedRig) -> list[Array | None]:
    """Where each thing is likely to light first: on the surface, before who holds it.

    Parameters
    ----------
    things
        From `followed_things`.
    rig
        The document, for its people.
    resolved
        The same rig as a batch of one.

    Returns
    -------
    list
        (2,) on the surface [m] for each thing, None where nobody is named to hold it.
    """
    size_m = resolved.surface.size_m[0]
    people = [person.id for person in rig.people]
    homes: list[Array | None] = []
    for thing in things:
        if thing.person not in people:
            homes.append(None)
            continue
        x_m = resolved.people.standing_m[0, people.index(thing.person), 0]
        homes.append(np.array([np.clip(x_m, 0.0, size_m[0]), size_m[1] / 2.0]))
    return homes

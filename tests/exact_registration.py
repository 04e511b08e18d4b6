"""A registration in space that has every camera exactly where it is, of a simulated world."""

import numpy as np

from rushlight.physics.geometry import quaternion_from_matrix
from rushlight.records.registration import Verdict
from rushlight.records.space_registration import SpaceCamera, SpaceRegistration


def registration_of(world, rig):
    """A registration that has the cameras exactly where they are."""
    space = world.space
    count = 15 * len(space.camera_ids)
    return SpaceRegistration(
        rig=rig.content_hash(),
        kinds=list(space.kinds),
        method="mounting",
        cameras=[
            SpaceCamera(
                camera=name,
                size_px=world.size_px(i),
                camera_matrix=world.K[i].tolist(),
                distortion=world.k[i].tolist(),
                translation_m=tuple(world.rig_from_camera[i, :3, 3]),
                quaternion=tuple(quaternion_from_matrix(world.rig_from_camera[i, :3, :3])),
                clock_offset_ns=int(world.clock_offset_ns[i]),
            )
            for i, name in enumerate(space.camera_ids)
        ],
        cov=np.zeros((count, count)).tolist(),
        verdict=Verdict(vouched=True, reasons=[]),
    ).stamped("simulated")

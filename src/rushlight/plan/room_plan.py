"""What the room does to a rig: its light by hour, what else is seen, the beam, readers, reach."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.physics.beam import in_beam
from rushlight.physics.people import (
    METRES_A_TEXT_METRE,
    ada_children_reach_band,
    ada_reach_band,
    farthest_viewer,
)
from rushlight.plan.beam import (
    BeamShadow,
    beam_shadow,
    hidden_behind,
    lens_place,
    throw_of_part,
    throws_from_front,
)
from rushlight.plan.evaluate import Evaluation
from rushlight.plan.grid import Standing
from rushlight.plan.light import full_scale_e
from rushlight.plan.lights_seen import lights_seen
from rushlight.plan.shadow import Scenes
from rushlight.plan.sun import covered_in_sun
from rushlight.records.plan_room import (
    PlanAmbient,
    PlanBeam,
    PlanLight,
    PlanReach,
    PlanReading,
    PlanRoom,
    PlanSeen,
    PlanSun,
)
from rushlight.records.resolved import ResolvedRig
from rushlight.records.rig import Camera, Rig
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.resolve import first_wavelength_m, lit_emitters
from rushlight.shelf.room_light import brightest_told, has_lights, hours_of_sun

Array = NDArray[Any]

AGES = ((3, 4), (5, 8), (9, 12))
"""Bands of age of 2010 ADA Standards, advisory 308.1."""

Layer = tuple[str, str, Array]
"""Name, unit, and values (1, E, G) of a map."""


def room_of_plan(
    rig: Rig,
    shelf: Shelf,
    resolved: ResolvedRig,
    evaluation: Evaluation,
    scenes: Scenes | None,
    standing: Standing,
    registering: Sequence[int],
) -> tuple[PlanRoom, list[Layer]]:
    """All that a plan says of the room, and what of it is told place by place.

    Parameters
    ----------
    rig, shelf, resolved, evaluation
        Of one rig.
    scenes
        Ways of standing at the evaluation's places, None where bodies are not known.
    standing, registering
        As the rig was evaluated with.
    """
    surface = rig.surfaces[0]
    shadow = None
    layers: list[Layer] = []
    lens = lens_place(surface)
    if scenes is not None and lens is not None and throws_from_front(surface):
        shadow = beam_shadow(scenes, lens, evaluation.places_m[0], resolved.surface.size_m[0])
    ambient, sun = _ambient(rig, shelf, resolved, evaluation, standing, registering)
    if shadow is not None:
        layers += [
            ("picture-shaded", "%", 100.0 * shadow.picture[None]),
            ("place-shaded", "%", 100.0 * shadow.touched[None]),
        ]
    if sun is not None:
        each = np.broadcast_to(sun, evaluation.covered.shape)
        layers.append(("sun", "W/m²", each))
    return (
        PlanRoom(
            ambient=ambient,
            seen=[
                PlanSeen(
                    camera=one.camera,
                    id=one.id,
                    kind=one.kind,
                    x_px=one.px[0],
                    y_px=one.px[1],
                    ratio=one.ratio,
                    passes=one.passes,
                    full_share=one.full_share,
                )
                for one in lights_seen(rig, shelf, resolved, evaluation)
            ],
            beam=None
            if shadow is None
            else _beam(rig, shelf, resolved, shadow, evaluation.places_m[0]),
            reading=_reading(rig),
            reach=_reach(rig),
        ),
        layers,
    )


def _ambient(
    rig: Rig,
    shelf: Shelf,
    resolved: ResolvedRig,
    evaluation: Evaluation,
    standing: Standing,
    registering: Sequence[int],
) -> tuple[PlanAmbient | None, Array | None]:
    """The room's light, and with the sun at its worst by place (G,) where it comes in."""
    if not has_lights(rig.room):
        return None, None
    places = evaluation.places_m[0]
    wavelength = first_wavelength_m(rig, shelf)
    light = brightest_told(rig, shelf, wavelength, places)
    index = [camera.id for camera in rig.cameras].index(light.camera)
    used = float(resolved.surface.ambient_w_m2[0])
    told, sun = light.told(), light.sun()
    background = np.nanmax(evaluation.views[index].dot.background_e[0])
    share = float(background / full_scale_e(resolved, index)[0])
    coverage = None
    if np.any(sun > told):
        kept = covered_in_sun(resolved, evaluation, standing, registering, sun - told)
        coverage = float(kept.mean())
    # The sun comes on top of what the plan reckons with, in the same proportion of electrons.
    brightest = used + float((sun - told).max())
    document = PlanAmbient(
        camera=light.camera,
        used_w_m2=used,
        used="estimated" if rig.ambient is None else "given",
        estimated_w_m2=float(told.mean()),
        sun_w_m2=float(sun.mean()),
        sun_greatest_w_m2=float(sun.max()),
        full_share=share,
        sun_full_share=share * brightest / used if used > 0.0 else 0.0,
        coverage=float(evaluation.coverage[0]),
        sun_coverage=coverage,
        thrown=light.thrown,
        lights=[
            PlanLight(
                id=one.id,
                kind=one.kind,
                told_w_m2=float(one.told.mean()),
                sun_w_m2=float(one.sun.mean()),
            )
            for one in light.shares
        ],
        hours=_hours(rig, shelf, rig.cameras[index], wavelength, places),
    )
    return document, used + sun - told if coverage is not None else None


LIT_W_M2 = 1.0
"""Sunlight from which a surface counts as in the sun (our own choice)."""


def _hours(
    rig: Rig, shelf: Shelf, camera: Camera, wavelength_m: float, places: Array
) -> list[PlanSun]:
    """When the sun comes in onto the surface, season by season."""
    found = []
    for season, (hours, light) in hours_of_sun(rig, shelf, camera, wavelength_m, places).items():
        lit = hours[light.max(axis=1, initial=0.0) > LIT_W_M2]
        found.append(
            PlanSun(
                season=season,
                from_h=float(lit[0]) if len(lit) else None,
                to_h=float(lit[-1]) if len(lit) else None,
                greatest_w_m2=float(light.max(initial=0.0)),
                mean_w_m2=float(light.mean(axis=1).max(initial=0.0)),
            )
        )
    return found


def _beam(
    rig: Rig, shelf: Shelf, resolved: ResolvedRig, shadow: BeamShadow, places: Array
) -> PlanBeam:
    size = resolved.surface.size_m[0]
    lenses = resolved.cameras.rig_from_camera[0, :, :3, 3]
    inside = in_beam(shadow.lens_m, lenses, size)
    heads: dict[str, float] = {}
    for (carried, _), share in zip(lit_emitters(rig), shadow.heads, strict=True):
        heads.setdefault(carried.id, float(share))
    x, y, z = (float(step) for step in shadow.lens_m)
    return PlanBeam(
        lens_m=(x, y, z),
        throw_m=throw_of_part(rig, shelf),
        cameras=[one.id for one, hit in zip(rig.cameras, inside, strict=True) if hit],
        hides={
            camera.id: float(hidden_behind(shadow.lens_m, lens, places))
            for camera, lens in zip(rig.cameras, lenses, strict=True)
        },
        picture_mean=float(shadow.picture.mean()),
        picture_max=float(shadow.picture.max()),
        touched_mean=float(shadow.touched.mean()),
        touched_max=float(shadow.touched.max()),
        heads=heads,
    )


def _reading(rig: Rig) -> PlanReading | None:
    """By DISCAS, as `farthest_viewer`; None where neither writing nor readers are told of."""
    surface = rig.surfaces[0]
    reader = rig.room.farthest_reader if rig.room else None
    text, height = surface.text_height, surface.height.value
    if text is None and reader is None:
        return None
    return PlanReading(
        text_height_m=text.value if text else None,
        farthest_m=float(farthest_viewer(height, text.value / height)) if text else None,
        reader_m=reader.value if reader else None,
        needed_m=reader.value / METRES_A_TEXT_METRE if reader else None,
    )


def _reach(rig: Rig) -> list[PlanReach]:
    """Seated adults, and children by band of age: how much of the surface's height is theirs."""
    surface = rig.surfaces[0]
    floor, height = surface.height_above_floor.value, surface.height.value
    seated = [one.id for one in rig.people if one.seated and one.age is None]
    groups = [("seated adults", ada_reach_band("forward"), seated)]
    for youngest, oldest in AGES:
        mine = [
            one.id for one in rig.people if one.age is not None and youngest <= one.age <= oldest
        ]
        groups.append(
            (f"children of {youngest} to {oldest}", ada_children_reach_band(oldest), mine)
        )
    return [
        PlanReach(
            who=who,
            low_m=low,
            high_m=high,
            share=max(0.0, min(high, floor + height) - max(low, floor)) / height,
            people=people,
        )
        for who, (low, high), people in groups
    ]

"""Cautions by hazard: what may hurt people who build or use a rig, in plain words."""

from __future__ import annotations

EYE_CAUTION = (
    "Infrared light cannot be seen, so the eye neither blinks nor turns away. Never look into an "
    "emitter that is switched on, never hold one near an eye, and never look at one through a "
    "magnifier. The figures here are estimates from data-sheet values and from published limits "
    "(IEC/EN 62471, Directive 2006/25/EC), some quoted from memory and meant for adult workers. "
    "Have the finished rig judged by a qualified person against the standard itself, and follow "
    "the local rules, above all where children take part."
)

CAUTIONS: dict[str, str] = {
    "eye": EYE_CAUTION,
    "cell": (
        "Cells can burn, leak or burst. Never short, crush, heat or open one; fit a fuse or a "
        "protected cell where lithium is used; charge only with the charger meant for it; take "
        "cells out for storage. A swallowed button cell is an emergency: keep every cell behind "
        "a screwed lid, out of the reach of children."
    ),
    "mains": (
        "Mains voltage kills. Use only finished, approved power supplies and leave their cases "
        "shut. Wiring, sockets and fixed mounting near mains are work for a licensed electrician "
        "under the local code. Keep cables out of walkways."
    ),
    "height": (
        "Falls and falling things injure. Use a sound ladder on firm ground with a second person "
        "holding it, never a chair; keep people away from beneath; fix camera and projector with "
        "a second tether, and let someone qualified judge what the wall or ceiling carries."
    ),
    "heat": (
        "Emitters, resistors, soldering irons and projectors get hot enough to burn skin and "
        "scorch paper. Keep to the printed current, leave room for air, and let parts cool. Work "
        "with soldering irons only under supervision and with fresh air."
    ),
    "filter_glass": (
        "Filter glass and lenses break into sharp edges. Wear eye protection and gloves when "
        "cutting or fitting them, cover cut edges, and gather splinters with damp paper. An "
        "infrared filter is no protection for the eye."
    ),
    "motion": (
        "People who watch a picture walk backwards, reach and turn without looking. Keep the "
        "floor clear of steps, cables and furniture, mark the standing place, and stop if a "
        "moving picture makes anyone dizzy or unwell. A picture that moves with the head, or "
        "fills the view, brings that on sooner: begin with short turns, and offer a seat and a "
        "still picture."
    ),
    "picture": (
        "Flashing and strongly patterned moving pictures can bring on seizures in people who are "
        "photosensitive, some of whom do not know it. Show nothing that flashes more than three "
        "times in any second (Web Content Accessibility Guidelines 2.2, success criterion 2.3.1, "
        "from memory), warn people before they come in, and have a way to stop the picture at "
        "once. If someone is taken ill, stop it and call for help."
    ),
    "beam": (
        "A projector's lens is bright enough to hurt the eye of whoever looks into it from within "
        "the beam, children above all. Hang it so that nobody looks into the lens, keep the "
        "standing place out of the beam where you can, never leave children before it unwatched, "
        "and follow the marking and the distances on the projector itself (IEC 62471-5). Switch "
        "it off before anyone works near the lens."
    ),
    "cables": (
        "Cables trip people and pull things down from above. Lead them along walls or overhead, "
        "tape or cover them where feet pass, fix both ends against a pull, and keep them off the "
        "ladder. A cord about a neck can strangle: fasten no cable to what is worn or held by "
        "children."
    ),
}
"""Cautions by hazard; shown wherever a rig is planned, built or published."""

DEFER = (
    "Estimates, and no approval: the standards themselves, your local codes, your school's rules "
    "and the advice of licensed and qualified people come first."
)
"""Stands with every estimate of a hazard."""

"""Which exposures, currents, apertures and filters serve a rig's lights: a part of its plan."""

from __future__ import annotations

from typing import Literal

from rushlight.records.document import Record, Slug

Standing = Literal["within", "too short", "too long", "none serves", "sees nothing"]
SpanSetting = Literal["exposure", "current", "aperture", "product"]
SpanEnd = Literal["too weak", "clips", "camera", "part", "looked"]
ChoiceKind = Literal["current", "aperture", "filter", "tip", "emitter", "gain", "marker"]


class LightPlace(Record):
    """One extreme of a camera's view of a light: where, and how the thing is held there.

    Attributes
    ----------
    x_m, y_m
        On the surface [m].
    tilt_deg, lean_deg
        How the thing is held [deg]; the lean anticlockwise from the surface's x axis.
    own_share, glow_share, side_glow_share
        Of the dot's light: from the light itself, from the patch that its beam leaves on the
        surface, and from the patch of what leaves it sideways; they add up to 1.
    off_axis_deg
        Between the camera's axis and the way to the light [deg].
    filter_share
        Of what the filter passes straight on, it passes this at that angle.
    """

    x_m: float
    y_m: float
    tilt_deg: float
    lean_deg: float
    own_share: float
    glow_share: float
    side_glow_share: float
    off_axis_deg: float
    filter_share: float = 1.0


class LightWindow(Record):
    """The exposures that serve one camera for one light, over the surface and all ways of holding.

    Attributes
    ----------
    carried
        Whose light; None for all lights of the camera together.
    least_s
        From here on the weakest dot is strong enough [s]; None where no exposure makes it so.
    fullest_s, greatest_s
        Up to here the brightest pixel stays at the share of full scale that the plan aims at, and
        below full scale [s].
    exposure_s
        The rig's, as stated or as the plan chose it [s].
    shortest_s, period_s
        What the camera can do [s].
    standing
        Where the rig's exposure lies in that range.
    usable_stops
        Width of what both the lights and the camera allow, in factors of two; below 0: none.
    weakest, strongest
        Where and how the two extremes come about; None for all lights together.
    weakest_e_s, strongest_e_s
        Peaks of the weakest and the strongest dot [e-/s].
    background_e_s
        Of the room's light in a pixel beside the weakest dot [e-/s].
    noise_floor_e
        Of reading and rounding [e-].
    full_scale_e
        Electrons at which a pixel reads its highest level [e-].
    ambient_w_m2
        The room's infrared light on the surface, as planned [W/m2]; None where not known.
    ambient_too_weak_w_m2, ambient_clips_w_m2, ambient_none_serves_w_m2
        From which light of the room on, at the rig's exposure, the weakest dot is too weak and the
        strongest clips; and from which on no exposure serves all [W/m2].
    """

    camera: Slug
    carried: Slug | None
    least_s: float | None
    fullest_s: float | None
    greatest_s: float | None
    exposure_s: float
    shortest_s: float
    period_s: float
    standing: Standing
    usable_stops: float | None
    weakest: LightPlace | None = None
    strongest: LightPlace | None = None
    weakest_e_s: float | None
    strongest_e_s: float | None
    background_e_s: float | None
    noise_floor_e: float
    full_scale_e: float
    ambient_w_m2: float | None
    ambient_too_weak_w_m2: float | None
    ambient_clips_w_m2: float | None
    ambient_none_serves_w_m2: float | None


class LightChoice(Record):
    """One other choice, tried by computing the range anew: the narrowest over all cameras.

    Attributes
    ----------
    kind, change
        What is changed, and to what.
    least_s, greatest_s
        As in `LightWindow`, of the camera whose range is narrowest [s].
    usable_stops
        As there; None where a camera sees nothing.
    widens
        Whether the range grows by a quarter of a stop or more.
    note
        What the figure leaves out.
    """

    kind: ChoiceKind
    change: str
    least_s: float | None
    greatest_s: float | None
    usable_stops: float | None
    widens: bool
    note: str = ""


class Strobe(Record):
    """What a light gains that is lit only while the camera exposes.

    Attributes
    ----------
    duty
        Share of the time that it is lit; 0 where the rows of a rolling shutter have no moment in
        common.
    mean_share
        Mean current at the same brightness, as a share of a light that is lit all the time.
    gain
        How much brighter while lit at the same mean current, within what the part bears.
    limited_by
        What ends the gain.
    ambient_too_weak_w_m2
        As in `LightWindow`, for an exposure shorter by that gain [W/m2].
    note
        What it takes.
    """

    camera: Slug
    carried: Slug
    duty: float
    mean_share: float
    gain: float
    limited_by: Literal["duty", "part", "shortest exposure", "rolling shutter"]
    ambient_too_weak_w_m2: float | None
    note: str


class LightSpan(Record):
    """How far one setting may go, the others as planned, and no dot be clipped or too weak.

    Attributes
    ----------
    setting, unit
        "exposure" [s]; "current" through each light, or each lamp of a marker [A], to which its
        light is taken to be proportional; "aperture", the f-number [1]; "product", exposure ×
        current ÷ f-number² [A s], however the three share in it: see `LightTogether`.
    planned
        As the rig has it; None where several lights differ.
    low, high
        Both ends serve; None where nothing does. Of several apertures apart from one another,
        those that hang together with the planned one, or lie nearest to it.
    low_by, high_by
        What is beyond: a dot "too weak" or one that "clips", what the "camera" can do, what the
        "part" bears, or apertures that nobody "looked" at.
    """

    setting: SpanSetting
    unit: Literal["s", "A", "1", "A s"]
    planned: float | None
    low: float | None
    high: float | None
    low_by: SpanEnd | None
    high_by: SpanEnd | None


class FilterSpan(Record):
    """The exposures that serve with one filter, current and aperture as planned.

    Attributes
    ----------
    filter
        Of the shelf; None for none.
    planned
        Whether the rig has it.
    low_s, high_s
        Exposures that serve and that the camera can take [s]; None where none does.
    passes
        Share of the light that lens and filter let through straight on, of the light that they
        pass least of.
    note
        What the figure leaves out, or why there is none.
    """

    filter: Slug | None
    planned: bool
    low_s: float | None
    high_s: float | None
    passes: float | None
    note: str = ""


class LightTogether(Record):
    """Exposure, current, aperture and filter of one camera for one light, solved together.

    Attributes
    ----------
    carried
        Whose light; None for all lights of the camera together, each at one and the same current.
    spans
        One a setting. The product's range holds for every exposure, current and f-number of that
        product, as long as exposure ÷ f-number² is at most `most_room` times the planned (beyond,
        the room's light grows too much beside the dot), the current within what the part bears
        and the dot about as wide as at the planned aperture.
    most_room
        See there [1].
    filters
        One a filter of the shelf, and none.
    """

    camera: Slug
    carried: Slug | None
    spans: list[LightSpan]
    most_room: float
    filters: list[FilterSpan]


class LightRange(Record):
    """Light and exposure solved together.

    Attributes
    ----------
    windows
        One a camera and light, then one a camera for all its lights.
    together
        In the order of `windows`.
    choices
        Tried one at a time, the widest range first.
    strobes
        One a camera and light.
    peak_over_noise
        What counts as strong enough.
    fullest
        Share of full scale that the plan aims at.
    """

    windows: list[LightWindow]
    choices: list[LightChoice]
    strobes: list[Strobe]
    together: list[LightTogether] = []
    peak_over_noise: float
    fullest: float

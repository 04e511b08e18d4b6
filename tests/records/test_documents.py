"""Every document comes back from its file as it went, and its hash stays what it is."""

import json
import math
from pathlib import Path

import pytest
import tomlkit

from rushlight.errors import RushlightError
from rushlight.records.document import Document, Header, read_document
from rushlight.records.figure import Figure, Scope, find_figure
from rushlight.records.kit import (
    Kit,
    KitFile,
    Rebuild,
    RebuildVerdict,
    ResultBundle,
    Step,
    Substitution,
    Tolerance,
)
from rushlight.records.parts import (
    CameraPart,
    CapacityPoint,
    CellPart,
    DisplayPart,
    EmitterPart,
    FilterPart,
    PartMeasured,
    ShelfDocument,
)
from rushlight.records.registration import (
    CameraMap,
    DisplaySurvey,
    LensCalibration,
    Registration,
    Touch,
    Validity,
    Verdict,
)
from rushlight.records.rig import Rig
from rushlight.records.session import Clock, FootageHeader, SessionHeader, ShownGoal
from rushlight.records.sourced import FROM_MEMORY, Price, Sourced
from rushlight.records.study import Block, Consent, Goal, Participant, Study, TaskPlan, Trial
from rushlight.records.trials import AlignTrial, Sitting, TrialRun, TryPlan

ROOT = Path(__file__).resolve().parents[2]
HASH = "ab" * 32
CONSENT = Consent(taking_part=True, publish_trials=True, publish_video=False)


def number(value: float, unit: str = "", std: float | None = None) -> Sourced:
    return Sourced(value=value, std=std, unit=unit, source=FROM_MEMORY)


def example_rig() -> Rig:
    return read_document(Rig, ROOT / "examples" / "records" / "barn-wall-two-cameras.toml")


def example_trial() -> Trial:
    return Trial(
        participant="0123abcd",
        condition="stylus",
        block="first",
        trial=3,
        goal=Goal(shape="disc", parameters_m=[0.4, 0.3, 0.05], dwell_s=0.2),
        device="stylus-wren",
        session=HASH,
        start_ns=1_700_000_000_000_000_001,
        end_ns=1_700_000_001_000_000_003,
        from_m=(0.1, 0.2, math.nan),
        to_m=(0.4, 0.3, math.nan),
        selected_m=(0.41, 0.305, math.nan),
        outcome="hit",
        path=[(1_700_000_000_000_000_001, 0.1, 0.2, math.nan)],
        flags=["lost once"],
    )


def example_figure() -> Figure:
    return Figure(
        name="error",
        cause="all",
        statistic="rms",
        scope=Scope(rig="barn-wall", surface="wall"),
        value=4.2,
        unit="mm",
        low=3.1,
        high=5.6,
        level=0.95,
        n=90,
        method="grid of 15 goals, 6 touches each",
        basis="simulated",
    )


def example_shelf() -> ShelfDocument:
    camera = CameraPart(
        id="test-camera",
        name="640 × 480",
        price=Price(amount=20, currency="EUR", date="2026-05", basis="invented"),
        size_px=(640, 480),
        pixel_pitch=number(6, "µm"),
        focal_length=number(4, "mm", 0.1),
        f_number=number(2),
        lens_transmission=number(90, "%"),
        lens_blur=number(0.5, "px"),
        quantum_efficiency_850=number(20, "%", 5),
        quantum_efficiency_940=number(8, "%", 3),
        read_noise=number(10, "e-"),
        full_well=number(12, "ke-"),
        black_level=number(2),
        bit_depth=8,
        frame_rate=number(60, "Hz"),
        shortest_exposure=number(20, "µs"),
        shutter="rolling",
        row_time=number(30, "µs"),
        delay=number(8, "ms"),
        k1=number(-0.2, std=0.01),
        k2=number(0.05, std=0.02),
    )
    emitter = EmitterPart(
        id="test-emitter",
        name="850 nm",
        wavelength=number(850, "nm"),
        half_angle=number(20, "deg"),
        intensity=number(30, "mW/sr"),
        test_current=number(100, "mA"),
        forward_voltage=number(1.5, "V"),
        greatest_current=number(100, "mA"),
        greatest_power=number(160, "mW"),
        side_share=number(3, "%"),
        apparent_size=number(1.5, "mm"),
    )
    cell = CellPart(
        id="test-cell",
        name="AA",
        chemistry="alkaline",
        voltage=number(1.5, "V"),
        end_voltage=number(0.9, "V"),
        capacity=[CapacityPoint(current=number(25, "mA"), charge=number(2500, "mAh"))],
        greatest_current=number(500, "mA"),
    )
    band = FilterPart(
        id="test-band",
        name="850 nm band",
        passes="band",
        centre=number(850, "nm"),
        width=number(50, "nm"),
        transmission=number(85, "%"),
        leak=number(0.1, "%"),
    )
    display = DisplayPart(
        id="test-projector",
        name="1280 × 800",
        technology="projector",
        size_px=(1280, 800),
        refresh=number(60, "Hz"),
        delay=number(35, "ms"),
    )
    return ShelfDocument(
        title="Test shelf",
        cameras=[camera],
        emitters=[emitter],
        cells=[cell],
        filters=[band],
        displays=[display],
    )


def example_registration() -> Registration:
    unit = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]
    return Registration(
        maps=[
            CameraMap(
                camera="beam",
                camera_matrix=unit,
                distortion=[-0.2, 0.05, 0.0, 0.0, 0.0],
                surface_from_normalised=unit,
                camera_position_m=(1.2, 1.5, 2.9),
            )
        ],
        parameters=["h0", "h1"],
        estimate=[0.1, 0.2],
        cov=[[1e-6, math.nan], [math.nan, 1e-6]],
        lens_std=[0.01, 0.02, 0.001, 0.001, 0.02],
        flatness_rms_m=0.003,
        flatness_m=[0.001],
        mean_height_m=0.012,
        clock_offset_ns=[0],
        touches=[
            Touch(goal_m=(0.1, 0.2), px=(10.25, 20.5), px_cov=[[0.1, 0], [0, 0.1]], frames=30)
        ],
        valid_for=Validity(
            camera="beam", size_px=(640, 480), surface="wall", surface_size_m=(2.4, 1.5)
        ),
        rms_residual_m=0.002,
        expected_rms_m=0.0025,
        misfit=0.9,
        freedom=10,
        touch_std_m=0.0015,
        verdict=Verdict(vouched=False, reasons=["only one beacon was touched"]),
    )


def example_rebuild() -> Rebuild:
    return Rebuild(
        kit=HASH,
        edition=2,
        rig=example_rig(),
        substitutions=[Substitution(part="vga-global-120", by="hd-rolling-60", reason="at hand")],
        state="finished",
        figures=[example_figure()],
        verdicts=[RebuildVerdict(figure=example_figure(), verdict="met")],
    )


def example_kit() -> Kit:
    return Kit(
        name="barn-wall",
        edition=2,
        edition_supersedes=HASH,
        notices=["the second edition names the resistor"],
        rig=example_rig(),
        figures=[example_figure()],
        check_plan=["touch nine beacons"],
        tolerances=[Tolerance(figure="error", statistic="rms", high=8.0, unit="mm")],
        steps=[Step(title="Solder", text="Solder the resistor.", minutes=20, cautions=["Hot."])],
        cautions=["Infrared light cannot be seen; do not look into the emitters."],
        files=[KitFile(path="rig.toml", sha256=HASH, role="rig", licence="MIT", basis="invented")],
        languages=["en"],
    )


DOCUMENTS: dict[str, Document] = {
    "rig": example_rig(),
    "lens": LensCalibration(
        camera="beam",
        params=[640.0, 640.0, 319.5, 239.5, -0.2, 0.05, 0.0, 0.0, math.nan],
        cov=[[math.nan] * 9] * 9,
        size_px=(640, 480),
        view_rms_px=[0.21, 0.19],
    ),
    "survey": DisplaySurvey(
        surface="wall",
        surface_from_display=[[0.001875, 0, 0], [0, -0.001875, 1.5], [0, 0, 1]],
    ),
    "registration": example_registration(),
    "footage": FootageHeader(
        picture="touches.mkv",
        camera="beam",
        size_px=(640, 480),
        capture_ns=[0, 10_000_000, 1_700_000_000_000_000_001],
        exposure_ns=4_000_000,
        simulated=True,
        causes=["centre"],
        goals=[
            ShownGoal(
                carried="stylus", block="first", trial=0, place_m=(0.1, 0.2), from_ns=0, until_ns=9
            )
        ],
    ),
    "session": SessionHeader(
        rig=HASH,
        cameras=["beam"],
        carried=["stylus"],
        clocks=[Clock(id="host", kind="host-monotonic", std_ns=2000.0)],
    ),
    "task-plan": TaskPlan(
        kind="grid",
        blocks=[
            Block(
                id="first",
                condition="stylus",
                device="stylus",
                people=["grower-wren"],
                goals=[Goal(shape="point", parameters_m=[0.1, 0.2])],
                order=[0],
            )
        ],
        seed=7,
    ),
    "sitting": Sitting(
        id="0123456789ab",
        participant=Participant(id="0123abcd", consent=CONSENT),
        device="mouse",
        device_name="the mouse at the desk",
        role="reference",
        rig_name="barn-wall",
        display_px=(1920, 1080),
        display_m=(2.4, 1.5),
        runs=[
            TrialRun(
                kind="align",
                block="align",
                number=0,
                align=[
                    AlignTrial(
                        near_m=(0.0, 0.0, 0.1),
                        far_m=(0.0, 0.0, -0.4),
                        start_m=(0.1, 0.0, 1.0),
                        end_m=(0.0, 0.0, 1.0),
                        shown_ns=0,
                        said_ns=9,
                    )
                ],
            )
        ],
    ),
    "try-plan": TryPlan(
        rig_name="barn-wall",
        task="ring",
        surface_m=(2.4, 1.5),
        carried=["stylus"],
        steps=[],
        cautions=["Mind the step."],
    ),
    "study": Study(
        participants=[Participant(id="0123abcd", hand="left", consent=CONSENT)],
        conditions=["stylus", "mouse"],
        order=[[0, 1], [1, 0]],
        analysis_plan="throughput by condition",
        trials=[example_trial()],
    ),
    "shelf": example_shelf(),
    "part-measured": PartMeasured(
        part="test-emitter", kind="emitter", values={"intensity": number(27.5, "mW/sr", 1.0)}
    ),
    "kit": example_kit(),
    "rebuild": example_rebuild(),
    "result-bundle": ResultBundle(
        rebuild=example_rebuild(),
        trials=[example_trial()],
        figures=[example_figure()],
        consent=CONSENT,
        country="NO",
        month="2026-05",
    ),
}

documents = pytest.mark.parametrize("document", DOCUMENTS.values(), ids=DOCUMENTS.keys())


@documents
def test_json_round_trip(document: Document, tmp_path: Path) -> None:
    stamped = document.stamped("invented", inputs={"rig": HASH}, seed=5)
    stamped.write(tmp_path / "a.json")
    again = read_document(type(document), tmp_path / "a.json")
    assert again.json_text() == stamped.json_text()
    assert again.content_hash() == stamped.content_hash()
    assert again.header == stamped.header
    assert again.header is not None
    assert again.header.content_hash == again.content_hash()


@documents
def test_toml_round_trip(document: Document, tmp_path: Path) -> None:
    stamped = document.stamped("invented")
    content = stamped.model_dump(mode="json", by_alias=True, exclude_none=True)
    (tmp_path / "a.toml").write_text(tomlkit.dumps(content), encoding="utf-8")
    again = read_document(type(document), tmp_path / "a.toml")
    assert again.content_hash() == stamped.content_hash()


@documents
def test_header_is_no_part_of_the_hash(document: Document) -> None:
    first = document.stamped("invented", seed=1)
    second = document.stamped("measured", seed=2, supersedes=HASH)
    assert first.content_hash() == second.content_hash()
    assert first.header != second.header


@documents
def test_documents_are_frozen_and_refuse_unknown_fields(document: Document) -> None:
    with pytest.raises(ValueError, match="frozen"):
        document.version = 2  # type: ignore[misc]
    data = json.loads(document.stamped("invented").json_text())
    with pytest.raises(ValueError, match="extra_forbidden"):
        type(document).model_validate({**data, "surprise": 1})


def test_hash_is_stable() -> None:
    """A hash that changes would part every record from its inputs: this one may never change."""
    survey = DOCUMENTS["survey"].stamped("invented")
    assert survey.content_hash() == (
        "e82e54c44e08057ec06bd8c766b6b5e06aa39ca1717d3155ff7900c3092b2b10"
    )


def test_hash_follows_the_content_and_not_the_order_of_fields() -> None:
    survey = DOCUMENTS["survey"]
    moved = survey.model_copy(update={"surface": "door"})
    assert survey.content_hash() != moved.content_hash()
    data = json.loads(survey.stamped("invented").json_text())
    turned = type(survey).model_validate(dict(reversed(data.items())))
    assert turned.content_hash() == survey.stamped("invented").content_hash()


def test_unknown_numbers_are_null_on_disk_and_nan_in_memory(tmp_path: Path) -> None:
    lens = DOCUMENTS["lens"].stamped("measured")
    lens.write(tmp_path / "lens.json")
    raw = json.loads((tmp_path / "lens.json").read_text(encoding="utf-8"))
    assert raw["params"][8] is None
    assert math.isnan(read_document(LensCalibration, tmp_path / "lens.json").params[8])


def test_an_infinite_number_is_never_written() -> None:
    lens = DOCUMENTS["lens"].model_copy(update={"view_rms_px": [math.inf]})
    with pytest.raises(ValueError, match="not JSON compliant"):
        lens.content_hash()


def test_times_keep_their_last_nanosecond(tmp_path: Path) -> None:
    DOCUMENTS["footage"].stamped("simulated").write(tmp_path / "a.json")
    again = read_document(FootageHeader, tmp_path / "a.json")
    assert again.capture_ns[2] == 1_700_000_000_000_000_001


def test_header_says_when_and_by_what() -> None:
    header = Header(basis="measured")
    assert header.made_by.startswith("rushlight ")
    assert header.made_at.endswith("+00:00")
    assert header.seed is None


def test_wrong_schema_and_version_are_refused(tmp_path: Path) -> None:
    DOCUMENTS["survey"].stamped("invented").write(tmp_path / "survey.json")
    with pytest.raises(RushlightError, match='is not "rushlight/rig"'):
        read_document(Rig, tmp_path / "survey.json")
    newer = DOCUMENTS["survey"].stamped("invented").model_copy(update={"version": 9})
    newer.write(tmp_path / "newer.json")
    with pytest.raises(RushlightError, match="version = 9 cannot be read by this program"):
        read_document(DisplaySurvey, tmp_path / "newer.json")


def test_sourced_numbers_in_si() -> None:
    pitch = number(6, "µm", 0.5)
    assert pitch.si == pytest.approx(6e-6)
    assert pitch.si_std == pytest.approx(5e-7)
    assert pitch.si_word == "m"
    assert math.isnan(number(6, "µm").si_std)
    assert number(2.5).si == 2.5
    assert number(2.5).dimension is None
    with pytest.raises(ValueError, match="unknown unit"):
        number(1, "parsec")


def test_parts_refuse_a_unit_of_the_wrong_kind() -> None:
    emitter = example_shelf().emitters[0]
    data = emitter.model_dump() | {"wavelength": number(850, "ms").model_dump()}
    with pytest.raises(ValueError, match='wavelength has the unit "ms"'):
        EmitterPart.model_validate(data)


def test_a_rolling_shutter_needs_its_row_time() -> None:
    data = example_shelf().cameras[0].model_dump() | {"row_time": None}
    with pytest.raises(ValueError, match="needs a row time"):
        CameraPart.model_validate(data)


def test_filters_need_their_band_or_edge() -> None:
    band = example_shelf().filters[0].model_dump()
    with pytest.raises(ValueError, match="needs its centre and width"):
        FilterPart.model_validate(band | {"width": None})
    with pytest.raises(ValueError, match="needs its edge"):
        FilterPart.model_validate(band | {"passes": "long"})


def test_figures_join_on_name_cause_statistic_and_scope() -> None:
    measured = example_figure()
    predicted = measured.model_copy(update={"value": 4.0, "basis": "predicted", "n": None})
    elsewhere = measured.model_copy(update={"scope": Scope(rig="paper-theatre")})
    assert measured.key == predicted.key
    assert measured.key != elsewhere.key
    assert find_figure([elsewhere, measured], "error", "all", "rms") is elsewhere
    assert find_figure([measured], "delay") is None

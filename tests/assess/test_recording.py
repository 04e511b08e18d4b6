"""Sessions and truths that do not fit are refused in one clear sentence."""

import numpy as np
import pytest

from rushlight.assess.assessing import assess_recordings
from rushlight.assess.recording import Track, read_recordings
from rushlight.errors import RushlightError

FRAMES = np.arange(0, 500_000_000, 10_000_000)


def refused(sessions, truths=()):
    with pytest.raises(RushlightError) as caught:
        assess_recordings(read_recordings(sessions, truths))
    assert len(caught.value.findings) == 1
    return str(caught.value)


def test_no_session():
    assert refused([]) == "assess got no session; name at least one."


def test_a_session_without_a_fix(build, tmp_path):
    path = build.write(tmp_path / "dark.sqlite", build.header(), FRAMES, [])
    assert refused([path]) == (
        f"{path} holds no fix; check that the lights are on and in the camera's view."
    )
    bare = build.write(tmp_path / "bare.sqlite", build.header(registration=None), FRAMES, [])
    assert refused([bare]) == f"{bare} holds no fix; run it with a registration."


def test_a_file_that_is_no_session(tmp_path):
    path = tmp_path / "notes.txt"
    path.write_text("not a session")
    assert refused([path]) == f"{path} is not a session; give a file that was recorded."


def test_the_footage_of_the_registration_itself(build, tmp_path):
    head = build.header(script="registration")
    path = build.write(
        tmp_path / "r.sqlite", head, FRAMES, [build.fix(0, 0, "stylus-wren", (1, 1))]
    )
    assert "would judge itself; assess a grid filmed apart from it." in refused([path])


def test_truth_and_session_are_not_taken_for_each_other(make_grid):
    session, truth = make_grid()
    assert "holds a truth, not a session" in refused([truth])
    assert "holds a session, not a truth" in refused([session], [session])


def test_a_foreign_truth(make_grid):
    session, _ = make_grid()
    _, other = make_grid(truth_footage="e1" * 32)
    assert refused([session], [other]) == (
        f"{other.name} belongs to none of the sessions; "
        "give the truth that was written with the session's footage."
    )


def test_truths_find_their_sessions_in_any_order(make_grid):
    first, true_first = make_grid(head={"footage": "01" * 32}, truth_footage="01" * 32)
    second, true_second = make_grid(
        head={"footage": "02" * 32}, truth_footage="02" * 32, shift_m=(0.001, 0.0)
    )
    third, _ = make_grid(head={"footage": "03" * 32})
    read = read_recordings([first, second, third], [true_second, true_first])
    assert [recording.truth is not None for recording in read] == [True, True, False]


def test_a_truth_of_another_time(build, make_grid, tmp_path):
    session, _ = make_grid()
    later = FRAMES + 10**15
    head = build.header("truth")
    fixes = [build.fix(int(at), n, "stylus-wren", (1, 1)) for n, at in enumerate(later)]
    truth = build.write(tmp_path / "later.sqlite", head, later, fixes)
    assert "speaks of another time than" in refused([session], [truth])


def test_different_rigs(make_grid):
    first, _ = make_grid()
    second, _ = make_grid(head={"rig_name": "attic"})
    said = refused([first, second])
    assert "belong to different rigs; assess each rig apart." in said


def test_the_same_session_twice(make_grid):
    session, _ = make_grid()
    assert refused([session, session]) == (
        "assess got the same session twice; name each session once."
    )


def test_files_of_one_name_are_told_apart(build, tmp_path):
    paths = []
    for folder in ("monday", "tuesday"):
        (tmp_path / folder).mkdir()
        fixes = [build.fix(0, 0, "stylus-wren", (1, 1))]
        paths.append(build.write(tmp_path / folder / "s.sqlite", build.header(), FRAMES, fixes))
    assert [each.name for each in read_recordings(paths, [])] == [
        "monday/s.sqlite",
        "tuesday/s.sqlite",
    ]


def test_nothing_to_assess(build, tmp_path):
    head = build.header(goals=[], footage=None, script=None)
    path = build.write(
        tmp_path / "s.sqlite", head, FRAMES, [build.fix(0, 0, "stylus-wren", (1, 1))]
    )
    assert "shows nothing that can be assessed" in refused([path])


def test_a_session_shorter_than_its_first_mark(build, tmp_path):
    mark = build.goal((1, 1), 10**9, 2 * 10**9)
    head = build.header(goals=[mark], footage=None)
    path = build.write(
        tmp_path / "s.sqlite", head, FRAMES, [build.fix(0, 0, "stylus-wren", (1, 1))]
    )
    assert "no mark was held or tapped with the light on" in refused([path])


def test_kinds_are_told_by_script_or_by_marks(build, tmp_path):
    wide, bare = build.goal((1, 1), 0, 10, width_m=0.1), build.goal((1, 1), 0, 10)
    for number, (script, goals, kind) in enumerate(
        [("strokes", [bare], "strokes"), (None, [wide], "tapping"), (None, [bare], "grid")]
    ):
        head = build.header(script=script, goals=goals)
        path = tmp_path / f"{number}.sqlite"
        build.write(path, head, FRAMES, [build.fix(0, 0, "stylus-wren", (1, 1))])
        assert read_recordings([path], [])[0].kind == kind


def test_a_track_is_silent_in_its_gaps():
    times = np.array([0, 10, 20, 100, 110]) * 1_000_000
    xy = np.stack([times * 1e-9, -times * 1e-9], axis=-1)
    lit = np.array([True, True, False, True, True])
    track = Track(times, times, times, times, xy, lit)
    where, on = track.at(np.array([5, 15, 16, 60, 104, 125, 200]) * 1_000_000)
    assert np.allclose(where[[0, 4], 0], [0.005, 0.104])
    assert np.isnan(where[3]).all() and np.isnan(where[6]).all()
    assert on.tolist() == [True, True, False, False, True, True, False]

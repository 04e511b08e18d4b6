"""Sessions named after the moment: two runs that begin together never share a file."""

from concurrent.futures import ThreadPoolExecutor

import pytest

from rushlight.errors import RushlightError
from rushlight.jobs.following import live_session
from rushlight.keep.session import SessionReader
from rushlight.records.session import SessionHeader

HEADER = SessionHeader(rig_name="wall", cameras=["beam"], carried=[], clocks=[])


def test_runs_that_begin_within_one_second_have_names_of_their_own(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with ThreadPoolExecutor(4) as pool:
        sessions = list(pool.map(lambda _: live_session(None, HEADER, "measured"), range(8)))
    for session in sessions:
        session.close()
    assert len({session.path for session in sessions}) == 8
    for session in sessions:
        with SessionReader(session.path) as reader:
            assert reader.closed


def test_a_folder_that_cannot_be_written_is_told_and_not_tried_for_ever(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    def refuse(*_):
        raise RushlightError.of("here", "", "cannot be written", "free space", "session-write")

    monkeypatch.setattr("rushlight.keep.writer.SessionWriter._create", refuse)
    with pytest.raises(RushlightError, match="cannot be written"):
        live_session(None, HEADER, "measured")

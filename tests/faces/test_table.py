"""Tables on a narrow terminal: names of parts stay legible."""

import re

from rushlight.cli import render

COLUMNS = ["no.", "stands at x y z [m]", "camera", "filter", "light"]
PARTS = ["mono-global-1280x800", "longpass-780-film", "ir850-5mm-17, 100 mA, aa-alkaline"]


def printed(columns, rows, room, monkeypatch, capsys):
    monkeypatch.setenv("COLUMNS", str(room))
    render.table("", columns, rows)
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= room
    return [line.split() for line in lines]


def test_a_name_too_long_for_its_column_breaks_behind_a_hyphen(monkeypatch, capsys):
    for room in (68, 60, 56):
        lines = printed(COLUMNS, [["3 ←", "0.66 1.68 2.81", *PARTS]], room, monkeypatch, capsys)
        whole = {word for part in ["3 ← 0.66 1.68 2.81", *PARTS] for word in part.split()}
        pieces = {piece for word in whole for piece in re.findall(r"[^-]+-?", word)}
        shown = {word for line in lines[3:] for word in line if word[0] != "─"}
        assert any(word.endswith("-") for word in shown), room
        for word in shown:
            assert word in whole or set(re.findall(r"[^-]+-?", word)) <= pieces, (room, word)


def test_where_there_is_room_nothing_breaks(monkeypatch, capsys):
    lines = printed(COLUMNS, [["3 ←", "0.66 1.68 2.81", *PARTS]], 120, monkeypatch, capsys)
    shown = " ".join(word for line in lines for word in line)
    assert all(part in shown for part in PARTS)

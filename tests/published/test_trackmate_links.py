"""Links of 134 real spots over 50 frames, beside those that TrackMate made of them.

SOURCE: laptrack 0.17.1 (BSD-3-Clause), source distribution, tests/data/
trackmate_tracks_without_gap_closing_spots.csv and _edges.csv: the spots of a microscopy sequence
and the links that TrackMate made (squared distance, gate 15 px, no gap closing); fetched at test
time by tests/fetch_real_data.sh.

TrackMate's alternative cost is 1.05 times the greatest cost among the possible links (Jaqaman et
al. 2008, Nature Methods 5, 695–702, from memory). What is checked is the pairing of one frame
with the next, which is the one that the linker uses; the linker's prediction, births, coasting
and crossings are not.
"""

import csv
import runpy
from pathlib import Path

import numpy as np
import pytest

from rushlight.see.assign import assign

REAL_DATA = runpy.run_path(str(Path(__file__).parents[1] / "real_data.py"))
GATE_PX2 = 15.0**2
ALTERNATIVE = 1.05

pytestmark = pytest.mark.real_data


def rows(kind):
    """The lines of one of the tables."""
    path = REAL_DATA["trail_folder"]() / f"trackmate_tracks_without_gap_closing_{kind}.csv"
    with path.open(newline="") as table:
        return list(csv.DictReader(table))


def test_the_pairing_makes_all_links_of_trackmate_and_no_others():
    spots, edges = rows("spots"), rows("edges")
    assert (len(spots), len(edges)) == (134, 127)
    frames = [[spot for spot in spots if int(spot["frame"]) == frame] for frame in range(50)]
    assert all(frames)
    places = [
        np.array([[float(spot[f"position_{axis}"]) for axis in "xy"] for spot in frame])
        for frame in frames
    ]
    made, nearest = set(), set()
    for index in range(49):
        offset = places[index][:, None] - places[index + 1][None]
        squared = (offset**2).sum(axis=-1)
        within = squared[squared < GATE_PX2]
        if within.size == 0:
            continue
        partner = assign(squared, GATE_PX2, ALTERNATIVE * within.max())
        made |= {
            (frames[index][row]["id"], frames[index + 1][column]["id"])
            for row, column in enumerate(partner)
            if column >= 0
        }
        nearest |= {
            (frames[index][row]["id"], frames[index + 1][int(column)]["id"])
            for row, column in enumerate(squared.argmin(axis=1))
            if squared[row, column] < GATE_PX2
        }
    theirs = {(edge["spot_source_id"], edge["spot_target_id"]) for edge in edges}
    # TrackMate writes a link by its ends, in no order of time.
    frame_of = {spot["id"]: int(spot["frame"]) for spot in spots}
    theirs = {tuple(sorted(link, key=frame_of.__getitem__)) for link in theirs}
    assert len(nearest - theirs) == 2  # taking the nearest would not do; computed here
    assert made == theirs

"""Tip angles on the simulated tilt table against the rigid formula."""

from __future__ import annotations

import json
import math
import os
from pathlib import Path

import numpy as np
import pytest

from models.configuration import configure
from models.massprops import contact_places, truck_properties
from models.scenario import builds
from models.sheet import load_sheet
from models.stability import tip_angles
from sim.chart import style
from sim.chart.tip_polar import MOST, tip_polar
from sim.decision import tilt_file
from sim.trial.tilt_table import Tilted, reach, rigid_angle, round_the_truck, tilted
from sim.trial.truck import assemble


def test_directions_go_round_once():
    assert round_the_truck(4) == (0.0, 90.0, 180.0, 270.0)
    assert len(set(round_the_truck())) == 16


def test_reach_of_a_rectangle_by_hand():
    # Half as wide as long, the centre of gravity in the middle: ahead 2, to the left 1, over the corner sqrt(5).
    corners = np.array([[2.0, 1.0], [2.0, -1.0], [-2.0, 1.0], [-2.0, -1.0]])
    directions = np.array([0.0, math.pi / 2.0, math.atan2(1.0, 2.0), math.pi])
    assert reach(corners, np.zeros(3), directions) == pytest.approx([2.0, 1.0, math.sqrt(5.0), 2.0], rel=1e-12)


def test_rigid_angle_agrees_with_the_handbook():
    truck = assemble(configure(load_sheet(builds()[0])))
    sides = tip_angles(truck.model.origins()[[4, 6, 9, 10], :2], truck.model.cg()).in_degrees()
    found = np.degrees(rigid_angle(truck.model, np.radians([0.0, 90.0, 180.0, 270.0])))
    assert found == pytest.approx([sides.front, sides.left, sides.back, sides.right], abs=1e-9)


@pytest.mark.parametrize("text", ["[" * 100_000, "9" * 5000, "%s", "pipe"])
def test_a_tilt_file_that_cannot_be_read_is_none(tmp_path: Path, text: str) -> None:
    file = tmp_path / "tilt.json"
    if text == "pipe":
        os.mkfifo(file)
    else:
        # The last has the right head and an angle of 400 digits.
        trucks = {"a": {"direction_deg": [0.0], "tip_deg": [10**400]}}
        file.write_text(text if text != "%s" else json.dumps({**tilt_file._stamp(), "trucks": trucks}))
    assert tilt_file._read(file) == {}


def test_angles_come_back_from_their_file(tmp_path: Path) -> None:
    seen = Tilted((0.0, 90.0), (50.0, math.nan), ((90.0, math.nan), (0.0, 49.0)))
    tilt_file._write(tmp_path / "tilt.json", {"a": seen})
    (found,) = tilt_file._read(tmp_path / "tilt.json").values()
    assert repr(found) == repr(seen)  # not a number equals nothing
    assert found.scatter == pytest.approx(1.0)  # the one that never tips says nothing
    assert math.isnan(Tilted((0.0,), (50.0,)).scatter)


@pytest.mark.slow
def test_soft_trucks_tip_a_few_degrees_early_to_every_side():
    """A compliant vehicle tips before T / 2h: TRB Special Report 265 (2002), ch. 2, p. 28."""
    truck = assemble(configure(load_sheet(builds()[0])))
    sheet = truck.configuration.sheet
    rigid = tip_angles(contact_places(sheet), truck_properties(sheet).cg).in_degrees()
    seen = tilted(truck.model)
    for side, direction in (("front", 0.0), ("left", 90.0), ("back", 180.0), ("right", 270.0)):
        # 0 to 4 degrees at this scale, weakly supported (derived from tilt tests of small trucks).
        assert 0.0 < getattr(rigid, side) - seen.at(direction) < 5.0
    # Towards a corner it stands on fewer springs, but never longer than the rigid truck.
    early = np.degrees(rigid_angle(truck.model, np.radians(seen.direction))) - np.array(seen.angle)
    assert np.all((early > 0.0) & (early < 7.0))
    # Corners were tilted twice (atan(track / wheelbase) is near 22.5 degrees); measured 0.6 degrees apart.
    assert [direction for direction, _ in seen.again] == [22.5, 157.5, 202.5, 337.5]
    assert 0.0 < seen.scatter < 2.5


def test_the_polar_draws_any_number_of_trucks():
    sheet = load_sheet(builds()[0])
    seen = Tilted(round_the_truck(8), (50.0,) * 8, ((45.0, 50.25), (135.0, 49.5)))
    drawn = tip_polar([("Gundi", 0, sheet)], simulated={"Gundi": seen})
    said = " ".join(" ".join(text.get_text() for text in drawn.texts).split())
    assert "tilt table in 8 directions, shafts braked, no sliding; corners tilted twice differ by up to 0.5°." in said
    many = [(f"truck {k}", k, sheet) for k in range(MOST + 3)]
    drawn = tip_polar(many)
    assert "Grey: 3 more" in " ".join(" ".join(text.get_text().split()) for text in drawn.texts)
    assert sum(note.kind == "key" for note in style.notes(drawn).values()) == 3 * MOST  # line, mark and words

"""Room for a part: boxes by hand, the tyre's reach by plane geometry."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.defaults import resolve
from models.errors import BuildSheetError
from models.room import Blocked, Room, find, lift_needed, room, rubbing
from models.scenario import builds
from models.sheet import load_sheet
from models.tyrereach import STEP_MM, outline_above, tyre_points

GUNDI = resolve(load_sheet(builds()[0]))


def with_parts(**parts):
    """The first truck of the scenario with only these parts on it (name to place, size and more)."""
    made = []
    for name, (at, size, more) in parts.items():
        part = GUNDI.parts[0].model_copy(update={
            "name": name, "body": "chassis", "mass_g": 10.0, "mass_each_g": None, "at_mm": at, "size_mm": size,
            "shape": "box", "bore_mm": 0.0, "lead_mm": None, **more,
        })
        made.append(part)
    return GUNDI.model_copy(update={"parts": tuple(made), "hull": ()})


def test_a_box_stops_where_the_faces_meet():
    sheet = with_parts(pack=((20, 0, 100), (20, 30, 10), {}), block=((80, 0, 100), (10, 30, 10), {}),
                       end=((120, 0, 140), (2, 2, 2), {}))
    there = room(sheet, "pack")
    (stretch,) = there.blocked
    # Faces meet at 80 - 5 - 10 = 65 and 80 + 5 + 10 = 95 mm, less the quarter millimetre of slack.
    assert (stretch.low, stretch.high) == pytest.approx((65.25, 94.75))
    assert stretch.by == "block"
    assert there.at(80.0) == (stretch,)
    assert there.at(60.0) == ()


def test_what_passes_above_is_not_in_the_way():
    sheet = with_parts(pack=((20, 0, 100), (20, 30, 10), {}), block=((80, 0, 115), (10, 30, 10), {}),
                       nose=((160, 0, 30), (2, 2, 2), {}))
    assert room(sheet, "pack").blocked == ()
    assert room(sheet, "pack", by_mm=(0, 0, 6)).blocked[0].by == "block"
    assert lift_needed(sheet, "pack", 80.0) == 0.0


def test_a_part_is_raised_until_it_is_free():
    sheet = with_parts(pack=((20, 0, 100), (20, 30, 10), {}), block=((80, 0, 102), (10, 30, 10), {}),
                       nose=((160, 0, 30), (2, 2, 2), {}))
    # The pack's foot at 95 must rise over 107: 12 mm, less the slack.
    assert lift_needed(sheet, "pack", 80.0) == pytest.approx(12.0)


def test_what_overlaps_already_is_meant():
    sheet = with_parts(pack=((20, 0, 100), (20, 30, 10), {}), frame=((60, 0, 100), (200, 20, 12), {}))
    assert room(sheet, "pack").blocked == ()


def test_a_shell_is_free_inside_and_solid_at_its_walls():
    sheet = with_parts(pack=((20, 0, 100), (20, 30, 10), {}),
                       shell=((50, 0, 110), (160, 80, 60), {"shape": "shell"}),
                       nose=((160, 0, 30), (40, 2, 2), {}))
    there = room(sheet, "pack")
    # The shell reaches from -30 to 130; the pack is 20 long; walls are held to a quarter millimetre.
    assert there.free()[0] == pytest.approx((-20.0, 120.25))


def test_the_lead_reaches_as_far_as_its_length():
    sheet = with_parts(pack=((20, 0, 100), (2, 2, 2), {"lead_mm": 50.0}),
                       plug=((60, 0, 130), (2, 2, 2), {}), nose=((400, 0, 30), (2, 2, 2), {}))
    there = room(sheet, "pack", lead_to="plug")
    # 50 mm over a height of 30 mm leave 40 mm along (3-4-5 triangle).
    assert there.high == pytest.approx(100.0)
    assert "lead" in there.ends[1]


def test_the_lead_of_what_goes_along_counts_and_a_plug_that_goes_along_frees_it():
    sheet = with_parts(tray=((20, 0, 90), (2, 2, 2), {}), pack=((20, 0, 100), (2, 2, 2), {"lead_mm": 50.0}),
                       plug=((60, 0, 130), (2, 2, 2), {}), nose=((400, 0, 30), (2, 2, 2), {}))
    assert room(sheet, "tray", along=["pack"], lead_to="plug").high == pytest.approx(100.0)
    assert room(sheet, "pack", along=["plug"], lead_to="plug").high > 300.0


def test_a_part_stays_within_the_truck():
    sheet = with_parts(pack=((20, 0, 100), (20, 30, 10), {}), nose=((100, 0, 30), (10, 2, 2), {}))
    there = room(sheet, "pack")
    assert (there.low, there.high) == pytest.approx((20.0, 95.0))
    assert there.ends == ("the truck's rear", "the truck's front")


def test_reach_of_a_tyre_at_full_lock():
    axle, tyre = GUNDI.axles.front, GUNDI.tyres.front
    points = tyre_points(axle, tyre, 1.0, 0.0, 0.0)
    # The rear inner edge of the tread stands (-R, y_inner - y_pin) from the kingpin; turned by the lock its y is
    # smallest: inner * cos(lock) - R * sin(lock).
    radius, lock = tyre.outside_diameter_mm / 2.0, math.radians(axle.steer_deg)
    inner = axle.track_mm / 2.0 - tyre.width_mm / 2.0 - axle.kingpin_y_mm
    reach = axle.kingpin_y_mm + inner * math.cos(lock) - radius * math.sin(lock)
    assert points[:, 1].min() == pytest.approx(reach, abs=0.05)


@pytest.mark.parametrize("end", ["front", "rear"])
@pytest.mark.parametrize("height", [5.0, 40.0, 55.0])
def test_outline_above_a_height_is_the_hull_of_the_points_above_it(end, height):
    axle, tyre = getattr(GUNDI.axles, end), getattr(GUNDI.tyres, end)
    up, down = axle.shock.bump_mm, axle.shock.droop_mm
    points = tyre_points(axle, tyre, -1.0, up, down)
    points = points[points[:, 2] > height][:, :2]
    outline = np.array(outline_above(axle, tyre, -1.0, up, height))
    assert len(points)
    # No point beyond an edge of the outline (anticlockwise: its left is inside) ...
    along = np.roll(outline, -1, axis=0) - outline
    inward = np.stack([-along[:, 1], along[:, 0]], axis=1) / np.linalg.norm(along, axis=1)[:, None]
    assert ((points[:, None] - outline) * inward).sum(axis=2).min() > -1e-9
    # ... and every corner close to a point. Near the crown they lie in columns a step apart: dx = step.
    apart = np.linalg.norm(points[:, None] - outline, axis=2).min(axis=0)
    assert apart.max() < STEP_MM


def test_no_outline_above_the_crown():
    axle, tyre = GUNDI.axles.rear, GUNDI.tyres.rear
    top = tyre.outside_diameter_mm + axle.shock.bump_mm
    assert outline_above(axle, tyre, 1.0, axle.shock.bump_mm, top) == ()
    assert len(outline_above(axle, tyre, 1.0, axle.shock.bump_mm, top - 0.1)) == 4


def test_a_box_beside_the_wheel_rubs_only_when_it_turns():
    near = with_parts(box=((112, 12, 30), (10, 8, 10), {}))
    rubs = rubbing(near)
    assert {rub.tyre for rub in rubs} == {"front left tyre"}
    assert rubs[0].by == "box"
    straight = near.model_copy(update={"axles": near.axles.model_copy(
        update={"front": near.axles.front.model_copy(update={"steer_deg": 0.0})})})
    assert rubbing(straight) == ()


def test_the_pack_between_the_front_wheels_is_free_where_a_wider_one_meets_motor_and_tyres():
    there = room(GUNDI, "battery", along=["battery tray"])
    assert there.at(115.0) == ()
    assert there.at(there.now) == ()
    assert {b.by for b in there.at(108.0)} == {"motor"}
    wide = tuple(part.model_copy(update={"size_mm": (30.0, 42.0, 15.0)}) if part.name == "battery" else part
                 for part in GUNDI.parts)
    there = room(GUNDI.model_copy(update={"parts": wide}), "battery", along=["battery tray"])
    assert "front left tyre at full lock and bump" in {b.by for b in there.at(115.0)}


@given(edges=st.lists(st.tuples(st.floats(-50, 150), st.floats(0.1, 40)), max_size=6))
@settings(max_examples=60, deadline=None)
def test_free_and_blocked_share_out_the_whole(edges):
    blocked = tuple(Blocked(low, low + width, "x", "part") for low, width in edges)
    there = Room("p", "x", 0.0, -20.0, 120.0, ("a", "b"), blocked)
    for spot in np.linspace(-19.9, 119.9, 57):
        is_free = any(low <= spot <= high for low, high in there.free())
        edge = any(math.isclose(spot, e, abs_tol=1e-9) for b in blocked for e in (b.low, b.high))
        assert edge or is_free == (not there.at(float(spot)))


def test_faults_name_the_part():
    with pytest.raises(BuildSheetError, match="no such part"):
        find(GUNDI, "flux capacitor")
    with pytest.raises(BuildSheetError, match="called like this"):
        find(GUNDI, "rear")
    with pytest.raises(BuildSheetError, match="pair"):
        room(GUNDI, "front wheel")
    assert find(GUNDI, "steering s").name == "steering servo"


def test_a_word_of_a_name_finds_a_part_and_a_slip_gets_a_hint() -> None:
    assert find(GUNDI, "servo").name == "steering servo"
    assert find(GUNDI, "Battery").name == "battery"  # not its tray
    with pytest.raises(BuildSheetError, match='Did you mean "battery"'):
        find(GUNDI, "batery")

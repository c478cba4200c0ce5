"""The invented scenario: within the usual ranges of its scales, complete, marked, and safe to copy."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from models import scenario
from models.change import load_change
from models.configuration import load_configuration
from models.errors import BuildSheetError
from models.linkage import anti_squat_percent, axle_motion, axle_rods, instant_centre
from models.massprops import truck_properties, wheel_loads
from models.room import room, rubbing
from models.sheet import load_sheet
from models.spec import Sheet
from models.standing import wheel_heights

BUILDS = scenario.builds()

# Usual ranges of ready-to-run trucks by scale: mass (g), front share (%), height of the centre of gravity, wheelbase,
# track, tyre diameter, lower and upper link (mm). Common practice, no source.
RANGES = {
    24: ((300, 360), (48, 54), (44, 52), (133, 155), (76, 84), (50, 56), (43, 62), (33, 50)),
    18: ((650, 1100), (48, 54), (52, 64), (155, 165), (98, 112), (55, 65), (62, 85), (48, 65)),
    10: ((2200, 3300), (48, 56), (95, 125), (285, 325), (180, 205), (90, 120), (95, 130), (75, 110)),
}


@pytest.fixture(scope="module", params=BUILDS, ids=lambda path: path.stem)
def truck(request: pytest.FixtureRequest) -> Sheet:
    return load_sheet(request.param)


def test_one_build_for_each_scale() -> None:
    assert [load_sheet(path).scale for path in BUILDS] == [24, 18, 10]


def test_within_the_usual_ranges(truck: Sheet) -> None:
    whole = truck_properties(truck)
    lengths = [math.dist(link.chassis_mm, link.axle_mm) for link in truck.axles.rear.links]
    found = (
        1000 * whole.mass,
        wheel_loads(truck).front_percent,
        1000 * whole.cg[2],
        truck.wheelbase_mm,
        truck.axles.front.track_mm,
        truck.tyres.front.outside_diameter_mm,
        max(lengths),
        min(lengths),
    )
    for value, (low, high) in zip(found, RANGES[int(truck.scale)], strict=True):
        assert low <= value <= high


def test_sheets_are_complete_and_marked(truck: Sheet) -> None:
    assert truck.invented
    assert truck.truck_price is not None
    assert 15 <= len(truck.parts) <= 24
    assert all(math.prod(part.size_mm) > 0 for part in truck.parts)
    assert truck.tyres.front.squish is not None
    assert {"skid", "front axle housing", "rear axle housing", "front bumper"} <= {shape.name for shape in truck.hull}
    names = {part.name for part in truck.parts}
    assert {"battery", "battery tray", "motor", "steering servo", "body shell"} <= names
    tray = next(part for part in truck.parts if part.name == "battery tray")
    assert len(tray.holes) == 4


def test_battery_starts_behind_the_middle_and_goes_ahead_of_it(truck: Sheet) -> None:
    battery = next(part for part in truck.parts if part.name == "battery")
    moved = load_configuration(
        scenario.DATA / f"{truck.name.lower()}.toml", [scenario.change(truck.name, "battery-forward")]
    )
    after = next(part for part in moved.sheet.parts if part.name == "battery")
    assert battery.at_mm[0] < truck.wheelbase_mm / 2 < after.at_mm[0]
    assert battery.at_mm[2] == after.at_mm[2]
    gain = wheel_loads(moved.sheet).front_percent - wheel_loads(truck).front_percent
    assert 2 < gain < 9


def test_nothing_is_in_the_way(truck: Sheet) -> None:
    """No tyre rubs at full lock and bump, with any change, and the forward place of the battery is free."""
    assert rubbing(truck) == ()
    build = scenario.DATA / f"{truck.name.lower()}.toml"
    for path in scenario.changes(build):
        assert rubbing(load_configuration(build, [path]).sheet) == (), path.stem
    moved = load_configuration(build, [scenario.change(build, "battery-forward")]).sheet
    after = next(part for part in moved.parts if part.name == "battery")
    assert room(truck, "battery", along=["battery tray"]).at(after.at_mm[0]) == ()


def test_wheels_stand_at_their_loaded_radius(truck: Sheet) -> None:
    assert wheel_heights(truck) == ()
    build = scenario.DATA / f"{truck.name.lower()}.toml"
    for path in scenario.changes(build):
        assert wheel_heights(load_configuration(build, [path]).sheet) == (), path.stem


def test_links_make_sense(truck: Sheet) -> None:
    # Side view: the rear axle's instant centre ahead of it, the front's behind, and anti-squat of a rear-driven truck
    # between a half and a full cancelling of the load transfer, where most builders end up (common practice).
    height = truck_properties(truck).cg[2]
    for axle, tyre, rear in (
        (truck.axles.rear, truck.tyres.rear, True),
        (truck.axles.front, truck.tyres.front, False),
    ):
        motion = axle_motion(axle_rods(axle, tyre.outside_diameter_mm / 2000))
        centre = instant_centre(motion)
        assert centre is not None
        assert (centre[0] > axle.x_mm / 1000) == rear
        assert 50 <= anti_squat_percent(motion, height, truck.wheelbase_mm / 1000, 1.0, rear) <= 110


def test_changes_of_the_scenario() -> None:
    names = {path.stem for path in scenario.changes("gundi")}
    assert names >= {
        "battery-forward",
        "front-wheel-rings",
        "knuckle-weights",
        "cut-front-foams",
        "front-overdrive",
        "wide-hubs",
        "brass-hub-covers",
        "stronger-servo",
    }
    assert scenario.changes() == sorted(path for build in BUILDS for path in scenario.changes(build))


@pytest.mark.parametrize("path", scenario.changes(), ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_each_change_makes_another_truck(path: Path) -> None:
    build = scenario.DATA / f"{path.parent.name}.toml"
    change = load_change(path)
    assert change.invented
    assert change.cost is not None
    changed = load_configuration(build, [path])
    assert changed.hash != load_configuration(build).hash


def test_what_the_changes_are_for() -> None:
    base = load_configuration(BUILDS[0])
    front, height = wheel_loads(base.sheet).front_percent, truck_properties(base.sheet).cg[2]

    def after(name: str) -> Sheet:
        return load_configuration(BUILDS[0], [scenario.change("gundi", name)]).sheet

    for name in ("front-wheel-rings", "knuckle-weights", "brass-hub-covers"):
        assert wheel_loads(after(name)).front_percent > front + 1
        assert truck_properties(after(name)).cg[2] < height
    assert truck_properties(after("light-shell")).cg[2] < height - 0.003
    assert after("wide-hubs").axles.front.track_mm == base.sheet.axles.front.track_mm + 10
    (driving, driven), (rear_driving, rear_driven) = (
        after("front-overdrive").driveline.front_teeth[0],
        base.sheet.driveline.rear_teeth[0],
    )
    faster = (rear_driven / rear_driving) / (driven / driving) - 1
    assert faster == pytest.approx(0.17, abs=0.005)  # the change says 17 %


def test_no_such_change() -> None:
    with pytest.raises(BuildSheetError, match='change = "winch": the scenario has no such change for gundi'):
        scenario.change("gundi", "winch")


def test_copy_to_a_folder(tmp_path: Path) -> None:
    target = tmp_path / "my trucks"
    files = scenario.copy_to(target)
    assert target / "gundi.toml" in files
    assert len(files) == len(BUILDS) + len(scenario.changes()) + len(scenario.records())
    assert target / "readings" / "gundi.toml" in files
    copied = load_configuration(target / "gundi.toml", [target / "changes" / "gundi" / "battery-forward.toml"])
    assert copied.hash == load_configuration(BUILDS[0], [scenario.change("gundi", "battery-forward")]).hash
    assert scenario.copy_to(target) == files  # again: nothing edited, nothing lost


def test_copy_never_overwrites_an_edited_file(tmp_path: Path) -> None:
    (tmp_path / "dassie.toml").write_text("mine")
    with pytest.raises(BuildSheetError) as fault:
        scenario.copy_to(tmp_path)
    assert str(fault.value) == (
        f"dassie.toml: is there already in {tmp_path} and differs from the scenario's.\n"
        "  Name another folder, or move that file away; nothing was copied."
    )
    assert [path.name for path in tmp_path.iterdir()] == ["dassie.toml"]
    assert (tmp_path / "dassie.toml").read_text() == "mine"


def test_copy_to_where_a_file_stands(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("")
    with pytest.raises(BuildSheetError, match="cannot be written"):
        scenario.copy_to(tmp_path / "taken")

"""Bad readings: every one tells its field and the likely cause."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tomlkit
from bench_truck import KITCHEN, parsed, small_truck, truth

from models.bench.intake import standing_radii, weighing
from models.bench.readings import load_readings
from models.bench.session import part_masses
from models.bench.simulate_readings import simulate_readings
from models.errors import BuildSheetError
from models.massprops import wheel_loads
from models.stance import stances


@pytest.fixture
def good() -> dict[str, Any]:
    return simulate_readings(truth(), KITCHEN, np.random.default_rng(3))


def fault(data: dict[str, Any], with_sheet: bool = True) -> str:
    with pytest.raises(BuildSheetError) as caught:
        weighing(parsed(data), small_truck() if with_sheet else None)
    text = str(caught.value)
    assert len(text.splitlines()) == 2, text
    return text


def test_a_good_file_passes(good: dict[str, Any]) -> None:
    weighing(parsed(good), small_truck())


def test_whole_truck_in_the_wrong_unit(good: dict[str, Any]) -> None:
    good["whole"] = ["11.8 g", "11.8 g", "11.9 g"]
    del good["wheels"], good["lift"]
    text = fault(good)
    assert "ounces" in text
    assert "28.35" in text


def test_one_wheel_in_ounces(good: dict[str, Any]) -> None:
    good["wheels"]["rear_left"] = ["2.8 g", "2.8 g", "2.8 g"]
    text = fault(good)
    assert "wheels.rear_left" in text
    assert "ounces" in text


def test_one_repeat_in_ounces(good: dict[str, Any]) -> None:
    good["wheels"]["rear_left"] = ["80 g", "2.8 g", "80 g"]
    text = fault(good)
    assert "wheels.rear_left.2" in text
    assert "28.35" in text


def test_a_wheel_read_twice(good: dict[str, Any]) -> None:
    good["wheels"]["rear_left"] = ["160 g"]
    assert "about one wheel" in fault(good)


def test_half_the_loads(good: dict[str, Any]) -> None:
    for wheel in good["wheels"]:
        good["wheels"][wheel] = [f"{float(v.split()[0]) / 2:.0f} g" for v in good["wheels"][wheel]]
    assert "half" in fault(good)


def test_battery_out_for_the_wheels(good: dict[str, Any]) -> None:
    # 30 g of battery missing from the rear wheels.
    for wheel in ("rear_left", "rear_right"):
        good["wheels"][wheel] = [f"{float(v.split()[0]) - 15:.0f} g" for v in good["wheels"][wheel]]
    assert '"battery" weighs' in fault(good)


def test_impossible_lift(good: dict[str, Any]) -> None:
    good["lift"][0]["height"] = "150 mm"
    text = fault(good)
    assert "lift.1.height" in text
    assert "cannot be 150 mm higher" in text
    good["lift"][0] = {"raised": "rear", "angle": "75 deg", "load": ["180 g"]}
    assert "no lift that can be weighed" in fault(good)
    good["lift"][0] = {"raised": "rear", "height": "-20 mm", "load": ["180 g"]}
    assert "no lift" in fault(good)


def test_a_lift_with_both_height_and_angle(good: dict[str, Any]) -> None:
    good["lift"][0]["angle"] = "15 deg"
    assert "a height or an angle" in fault(good)


def test_an_axle_heavier_than_the_truck(good: dict[str, Any]) -> None:
    good["lift"][0]["load"] = ["5.4 kg"]
    text = fault(good)
    assert "one axle cannot carry" in text
    assert "28.35" in text


def test_wheelbase_in_inches(good: dict[str, Any]) -> None:
    good["wheelbase"] = "5.28 mm"
    assert "inches written as millimetres" in fault(good)


def test_lengths_nobody_gave(good: dict[str, Any]) -> None:
    del good["track_front"]
    assert "name the build sheet" in fault(good, with_sheet=False)


def test_nothing_weighed_and_no_scale(good: dict[str, Any]) -> None:
    bare = copy.deepcopy(good)
    del bare["whole"], bare["wheels"]
    assert "nothing was weighed" in fault(bare)
    del good["scale"]
    assert 'step = "1 g"' in fault(good)


def test_zero_and_negative_readings(good: dict[str, Any]) -> None:
    good["whole"] = ["0 g"]
    assert "not more than nothing" in fault(good)


def test_units_of_the_file(good: dict[str, Any]) -> None:
    good["units"] = {"mass": "g"}
    good["whole"] = [332, 332.0, "333 g"]
    assert weighing(parsed(good), small_truck()).whole == pytest.approx([0.332, 0.332, 0.333])
    good["units"] = {"weight": "g"}
    assert "no such kind" in fault(good)
    good["units"] = {"mass": "stone"}
    assert "units.mass" in fault(good)


def test_parts_weighed_twice_over_or_in_ounces() -> None:
    scale = {"schema": 1, "truck": "Gundi", "scale": {"step": "0.1 g"}}
    sheet = small_truck()

    def told(**part: Any) -> str:
        with pytest.raises(BuildSheetError) as caught:
            part_masses(parsed({**scale, "part": [part]}), sheet)
        return str(caught.value)

    assert "twice what the sheet has for one" in told(name="front wheel", mass=["10.1 g"])
    assert "ounces" in told(name="battery", mass=["1.06 g"])
    assert "more than a whole truck" in told(name="sliders", mass=["800 g"])
    assert "by itself or by difference" in told(name="battery")
    assert "heavier reading" in told(name="battery", with_it=["300 g"], without_it=["330 g"])
    found = part_masses(parsed({**scale, "part": [{"name": "battery", "with_it": ["332.1 g"],
                                                   "without_it": ["302.0 g"]}]}), sheet)
    assert found["battery"][0] == pytest.approx(0.0301)


def test_radii_are_those_of_the_statics() -> None:
    front, rear = stances(small_truck(), wheel_loads(small_truck()))
    assert standing_radii(small_truck()) == pytest.approx((front.height, rear.height), abs=1e-6)


def test_a_file_is_named_in_its_fault(tmp_path: Path, good: dict[str, Any]) -> None:
    good["whol"] = good.pop("whole")
    file = tmp_path / "readings.toml"
    file.write_text(tomlkit.dumps(good), encoding="utf-8")
    with pytest.raises(BuildSheetError, match=r"readings.toml.*whol"):
        load_readings(file)


@pytest.mark.parametrize("step", ["0 g", "-1 g", "100 g"])
def test_a_scale_that_cannot_be(good: dict[str, Any], step: str) -> None:
    good["scale"]["step"] = step
    assert "scale.step" in fault(good)


def test_lengths_and_limits_that_cannot_be(good: dict[str, Any]) -> None:
    good["rulers"] = {"length": "-0.5 mm"}
    assert "plus or minus" in fault(good)
    good["rulers"] = {}
    good["axle_height_front"] = "0 mm"
    assert "is no length" in fault(good)

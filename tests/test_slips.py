"""Slips of a builder: each caught, each named, and none seen on sheets without."""

from __future__ import annotations

from pathlib import Path

import pytest

from models import scenario
from models.errors import BuildSheetError
from models.nearest import nearest
from models.sheet import load_sheet
from models.slips import slips

BUILD = next(b for b in scenario.builds() if b.stem == "gundi")
GOOD = BUILD.read_text(encoding="utf-8")
BATTERY = '''name = "battery"
mass_g = 30
at_mm = [17, 0, 55.5]'''


def sheet(tmp_path: Path, *changes: tuple[str, str]):
    text = GOOD
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    file = tmp_path / "truck.toml"
    file.write_text(text, encoding="utf-8")
    return load_sheet(file)


@pytest.mark.parametrize("build", scenario.builds(), ids=lambda b: b.stem)
def test_no_slip_is_seen_where_none_is(build: Path) -> None:
    assert slips(load_sheet(build)) == ()


@pytest.mark.parametrize(("old", "new", "says"), [
    (BATTERY, BATTERY.replace("mass_g", 'body = "front_axle"\nmass_g').replace("17", "-26"),
     'rides on front_axle but is 160 mm away from it.\n  What is screwed to the frame has body = "chassis"'),
    ("rate_n_per_mm = 0.14", "rate_n_per_mm = 140", "If that is in N/m, write 0.14."),
    ("rate_n_per_mm = 0.14", "rate_n_per_mm = 250", "have 0.08 to 0.2 N/mm.\n  If that is in N/m, write 0.25."),
    ("rate_n_per_mm = 0.14", "rate_n_per_mm = 0.025", "have 0.08 to 0.2 N/mm.\n  If that is in kg/mm, write 0.245."),
    ("stall_kgcm = 1.2", "stall_kgcm = 30", "If it is in oz·in, write 2.2, or in N·cm, write 3.1."),
    ("scale = 24", "scale = 1/24", "1/24 is no number.\n  Write scale = 24."),
    ("scale = 24", 'scale = "1/24"', "must be a number.\n  Write scale = 24."),
    ("mass_g = 30", 'mass_g = "30,5"', "must be a number.\n  Write mass_g = 30.5."),
    ("[[parts]]", "[[part]]", "there is no such key.\n  Did you mean [[parts]]?"),
    ("mass_g = 30", "mass_g = 75 g", "75 g has its unit behind it.\n  Write mass_g = 75: the bare number"),
    ("mass_g = 30", "mass_g = 30,5", "30,5 has a decimal comma.\n  Write mass_g = 30.5."),
    ('name = "Gundi"', "name = \u201cGundi\u201d", "these are typographic quotes."),
    ("at_mm = [17, 0, 55.5]", "at_mm = [17,5, 0, 55]", "17,5 in a list are two numbers"),
])
def test_slips_that_are_refused(tmp_path: Path, old: str, new: str, says: str) -> None:
    with pytest.raises(BuildSheetError) as fault:
        sheet(tmp_path, (old, new))
    assert says in str(fault.value)


@pytest.mark.parametrize(("old", "new", "says"), [
    (BATTERY, BATTERY.replace("mass_g = 30", "mass_g = 1.06"), "in ounces it would be 30.1 g"),
    (BATTERY, BATTERY.replace("[17, 0, 55.5]", "[62, 0, 40]"), "lies inside"),
    (BATTERY, BATTERY.replace("[17, 0, 55.5]", "[190, 0, 55.5]"), "battery reaches 40 mm beyond the front bumper"),
    (BATTERY, BATTERY.replace("[17, 0, 55.5]", "[-60, 0, 55.5]"), "beyond the rear bumper"),
    ("track_mm = 80\nsteer", "track_mm = 90\nsteer", "half of axles.front.track_mm is 45"),
])
def test_slips_that_are_warned_of(tmp_path: Path, old: str, new: str, says: str) -> None:
    assert any(says in text for text in slips(sheet(tmp_path, (old, new))))


def test_a_truck_without_a_hull_is_told(tmp_path: Path) -> None:
    start = GOOD.index("# --- what can touch the ground")
    text = GOOD[:start].replace("schema = 1", "schema = 1\nhull = []", 1)
    file = tmp_path / "truck.toml"
    file.write_text(text, encoding="utf-8")
    assert any("no hull shape rides on the chassis" in said for said in slips(load_sheet(file)))
    # Left out, a typical one is filled in.
    file.write_text(GOOD[:start], encoding="utf-8")
    assert slips(load_sheet(file)) == ()


def test_all_problems_at_once_in_the_order_of_the_file(tmp_path: Path) -> None:
    with pytest.raises(BuildSheetError) as fault:
        sheet(tmp_path, ("voltage_v = 7.4", "voltage_v = -1"), ("mass_g = 30", "mass_g = -30"),
              ("kv_rpm_per_v = 2700", 'kv_rpm_per_v = "fast"'), ("scale = 24", "scale = 99"))
    told = [line.split(": ")[1].split(" = ")[0] for line in str(fault.value).splitlines() if line.startswith("truck")]
    assert told == ["scale", "parts.battery.mass_g", "motor.kv_rpm_per_v", "battery.voltage_v"]
    with pytest.raises(BuildSheetError) as fault:
        sheet(tmp_path, ("stall_kgcm = 1.2", "stall_kgcm = 30"), ("kv_rpm_per_v = 2700", "kv_rpm_per_v = 80"),
              (BATTERY, BATTERY.replace("[17", "[900")))
    told = [line.split(": ")[1].split(" = ")[0] for line in str(fault.value).splitlines() if line.startswith("truck")]
    assert told == ["parts.battery.at_mm.x", "motor.kv_rpm_per_v", "servo.stall_kgcm"]


def test_what_else_is_wrong_is_told_beside_a_key_that_is(tmp_path: Path) -> None:
    with pytest.raises(BuildSheetError) as fault:
        sheet(tmp_path, ("voltage_v = 7.4", "voltage_volt = 7.4"), ("stall_kgcm = 1.2", "stall_kgcm = 30"),
              (BATTERY, BATTERY.replace("[17", "[900")), ("kv_rpm_per_v = 2700", 'kv_rpm_per_v = "fast"'))
    told = [line.split(": ")[1].split(" = ")[0] for line in str(fault.value).splitlines() if line.startswith("truck")]
    assert told == ["parts.battery.at_mm.x", "motor.kv_rpm_per_v", "battery.voltage_volt", "servo.stall_kgcm"]


def test_all_lines_that_are_no_toml_at_once(tmp_path: Path) -> None:
    with pytest.raises(BuildSheetError) as fault:
        sheet(tmp_path, ('name = "Gundi"', "name = \u201cGundi\u201d"),
              ("scale = 24", "scale = 1/24  # \u201csmall\u201d"),
              ("mass_g = 30", "mass_g = 30,5"), ("voltage_v = 7.4", "voltage_v = 7.4 V"))
    said = str(fault.value)
    words = ("typographic quotes", "1/24 is no number", "30,5 has a decimal comma", "7.4 V has its unit behind it")
    assert [said.index(word) for word in words] == sorted(said.index(word) for word in words)
    assert said.count("line ") == 4


def test_hints_only_when_near() -> None:
    assert nearest("batery", ["battery", "motor"]) == "battery"
    assert nearest("to", ["part", "to_mm", "by_mm"]) == "to_mm"
    assert nearest("sliders", ["skid", "servo"]) is None
    assert nearest("winch mount", ["motor", "gearbox"]) is None


def test_lists_are_shown_as_lists(tmp_path: Path) -> None:
    file = tmp_path / "truck.toml"
    file.write_text("schema = 1\nname = 'x'\nscale = 24\n", encoding="utf-8")
    with pytest.raises(BuildSheetError, match=r"\[\[parts\]\]"):
        load_sheet(file)

"""Changes: what each kind does to a truck, and that their order does not count."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models import scenario
from models.change import Change, load_change
from models.configuration import configure
from models.edit import apply
from models.errors import BuildSheetError
from models.massprops import truck_properties, wheel_loads
from models.sheet import load_sheet
from models.spec import Part, Sheet

SHEET = load_sheet(scenario.builds()[0])
HEAD = 'schema = 1\nname = "{}"\n'


def _change(tmp_path: Path, text: str, name: str = "trial") -> Change:
    file = tmp_path / f"{name}.toml"
    file.write_text(HEAD.format(name) + text, encoding="utf-8")
    return load_change(file)


def _part(sheet: Sheet, name: str) -> Part:
    return next(part for part in sheet.parts if part.name == name)


def test_move_to_a_place(tmp_path: Path) -> None:
    moved = apply(SHEET, [_change(tmp_path, '[[move]]\npart = "battery"\nto_mm = [117, 0, 55.5]\n')])
    assert _part(moved, "battery").at_mm == (117, 0, 55.5)
    # 30 g moved by 100 mm: the centre of gravity moves by their share of the whole.
    shift = truck_properties(moved).cg[0] - truck_properties(SHEET).cg[0]
    assert shift == pytest.approx(0.030 * 0.100 / truck_properties(SHEET).mass, rel=1e-9)


def test_a_parts_skin_moves_and_goes_with_it(tmp_path: Path) -> None:
    moved = apply(SHEET, [_change(tmp_path, '[[move]]\npart = "front bumper"\nby_mm = [-4, 0, 3]\n')])
    assert next(s for s in moved.hull if s.name == "front bumper").at_mm == (158, 0, 45)
    gone = apply(SHEET, [_change(tmp_path, 'remove = ["front bumper"]\n')])
    assert "front bumper" not in [shape.name for shape in gone.hull]
    assert "front bumper" not in [part.name for part in gone.parts]


def test_moving_a_body_moves_all_that_rides_on_it(tmp_path: Path) -> None:
    text = '[set]\n"axles.front.track_mm" = 90\n[[move]]\nbody = "front_wheels"\nby_mm = [0, 5, 0]\n'
    wide = apply(SHEET, [_change(tmp_path, text)])
    assert [p.at_mm[1] for p in wide.parts if p.body == "front_wheels"] == [45, 45]
    assert [p.at_mm[1] for p in wide.parts if p.body == "rear_wheels"] == [40, 40]


def test_replace_keeps_what_is_not_given(tmp_path: Path) -> None:
    text = (
        '[[replace]]\npart = "knuckle and hub"\nname = "brass knuckle"\nmass_each_g = 12\nprice = 9\ncurrency = "USD"\n'
    )
    heavy = apply(SHEET, [_change(tmp_path, text)])
    old, new = _part(SHEET, "knuckle and hub"), _part(heavy, "brass knuckle")
    assert (new.at_mm, new.size_mm, new.body) == (old.at_mm, old.size_mm, old.body)
    assert (new.mass_each_g, new.price) == (12, 9)
    plain = apply(SHEET, [_change(tmp_path, '[[replace]]\npart = "knuckle and hub"\nmass_each_g = 12\n')])
    assert _part(plain, "knuckle and hub").price is None  # what the old one cost says nothing about the new one


def test_add_and_remove(tmp_path: Path) -> None:
    text = (
        'remove = ["sliders"]\n[[add]]\nname = "roof rack"\nmass_g = 12\nat_mm = [60, 0, 105]\nsize_mm = [60, 60, 8]\n'
    )
    changed = apply(SHEET, [_change(tmp_path, text)])
    assert truck_properties(changed).mass == pytest.approx(truck_properties(SHEET).mass + 0.012 - 0.004, rel=1e-12)


def test_add_a_hull_shape(tmp_path: Path) -> None:
    text = '[[add_hull]]\nname = "roof rack"\nat_mm = [60, 0, 105]\nsize_mm = [60, 60, 8]\n'
    assert apply(SHEET, [_change(tmp_path, text)]).hull[-1].name == "roof rack"


def test_set_quoted_or_as_tables_is_the_same(tmp_path: Path) -> None:
    quoted = _change(tmp_path, '[set]\n"tyres.front.grip" = 1.1\n"parts.\'front bumper\'.mass_g" = 8\n')
    tables = _change(tmp_path, '[set]\ntyres.front.grip = 1.1\nparts."front bumper".mass_g = 8\n')
    assert apply(SHEET, [quoted]) == apply(SHEET, [tables])
    assert apply(SHEET, [quoted]).tyres.front.grip == 1.1
    assert _part(apply(SHEET, [quoted]), "front bumper").mass_g == 8


def test_set_one_coordinate_and_one_link_and_one_row(tmp_path: Path) -> None:
    text = '[set]\n"parts.battery.at_mm.z" = 60\n"axles.rear.links.\'upper left\'.mass_g" = 2\n'
    text += '"tyres.rear.squish.5.2" = 4.6\n'
    changed = apply(SHEET, [_change(tmp_path, text)])
    assert _part(changed, "battery").at_mm == (17, 0, 60)
    assert changed.axles.rear.links[2].mass_g == 2
    assert changed.tyres.rear.squish is not None
    assert changed.tyres.rear.squish[-1] == (260, 4.6)


def test_unset_opens_a_key_again(tmp_path: Path) -> None:
    text = 'unset = ["tyres.front.squish", "tyres.front.foam_gap_mm"]\n[set]\n"tyres.front.stiffness_n_per_mm" = 0.3\n'
    changed = apply(SHEET, [_change(tmp_path, text)])
    assert changed.tyres.front.squish is None
    assert changed.tyres.front.stiffness_n_per_mm == 0.3


def test_setting_what_the_sheet_called_assumed_makes_it_known(tmp_path: Path) -> None:
    guessed = SHEET.model_copy(update={"assumed": ("servo.stall_kgcm", "motor.kv_rpm_per_v")})
    changed = apply(guessed, [_change(tmp_path, '[set]\n"servo.stall_kgcm" = 2\n')])
    assert changed.assumed == ("motor.kv_rpm_per_v",)


def test_a_replaced_part_is_still_found_by_its_old_name(tmp_path: Path) -> None:
    swap = _change(tmp_path, '[[replace]]\npart = "sliders"\nname = "bars"\nmass_g = 2\n', "a swap")
    lift = _change(tmp_path, '[[move]]\npart = "sliders"\nby_mm = [0, 0, 5]\n', "b lift")
    both = apply(SHEET, [lift, swap])
    assert _part(both, "bars").at_mm[2] == 41
    assert next(shape for shape in both.hull if shape.name == "bars").at_mm[2] == 41


def test_no_change_is_the_sheet_itself() -> None:
    assert apply(SHEET, []) is SHEET


_ALL = [load_change(path) for path in scenario.changes("gundi") if path.stem != "brass-hub-covers"]


@given(st.permutations(_ALL).flatmap(lambda order: st.integers(1, len(order)).map(lambda n: order[:n])))
def test_order_does_not_count(some: list[Change]) -> None:
    one, other = configure(SHEET, some), configure(SHEET, some[::-1])
    assert one.hash == other.hash
    assert one.sheet == other.sheet


def test_the_sheet_given_is_not_touched() -> None:
    before = SHEET.model_dump_json()
    apply(SHEET, _ALL)
    assert SHEET.model_dump_json() == before


def test_forward_battery_puts_weight_on_the_front(tmp_path: Path) -> None:
    forward = apply(SHEET, [load_change(scenario.change("gundi", "battery-forward"))])
    assert wheel_loads(forward).front_percent > wheel_loads(SHEET).front_percent + 5
    assert truck_properties(forward).cg[2] == pytest.approx(truck_properties(SHEET).cg[2], rel=1e-12)


def test_a_change_may_bring_a_mesh_along(tmp_path: Path) -> None:
    (tmp_path / "cage.stl").write_text("solid cage\nendsolid\n")
    text = '[[add_hull]]\nname = "cage"\nshape = "mesh"\nfile = "cage.stl"\nat_mm = [60, 0, 90]\n'
    change = _change(tmp_path, text)
    assert change.add_hull[0].file == str(tmp_path / "cage.stl")
    with pytest.raises(BuildSheetError, match="there is no such mesh file"):
        _change(tmp_path, text.replace("cage.stl", "other.stl"))

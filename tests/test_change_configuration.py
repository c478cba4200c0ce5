"""Configurations: name, price, and a hash that follows the physics and nothing else."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from models import scenario
from models.change import Change, load_change
from models.configuration import configure, content_hash, load_configuration
from models.defaults import resolve
from models.errors import BuildSheetError
from models.sheet import load_sheet
from models.spec import HullShape, Money, Part, Sheet

SHEET = load_sheet(scenario.builds()[0])
BASE = configure(SHEET)


def _with_part(name: str, /, **update: object) -> Sheet:
    parts = tuple(part.model_copy(update=update) if part.name == name else part for part in SHEET.parts)
    return SHEET.model_copy(update={"parts": parts})


def test_name_and_sheet() -> None:
    forward = load_change(scenario.change("gundi", "battery-forward"))
    configuration = configure(SHEET, [forward])
    assert configuration.name == "Gundi + battery forward"
    assert configure(SHEET, [forward], name="mine").name == "mine"
    assert "driveline.efficiency" in configuration.sheet.assumed
    assert configuration.hash != BASE.hash
    assert len(BASE.hash) == 64


@pytest.mark.parametrize(
    "same",
    [
        SHEET.model_copy(update={"name": "other", "note": "n", "photo": "p.jpg", "invented": False}),
        SHEET.model_copy(update={"truck_price": Money(price=1, currency="EUR"), "assumed": ("motor.kv_rpm_per_v",)}),
        _with_part(
            "battery", name="pack", note="n", price=1.0, currency="EUR", source="measured", holes=(), lead_mm=7.0
        ),
        _with_part("battery", at_mm=(17.0, -0.0, 55.5)),
        resolve(SHEET),
    ],
    ids=["names", "prices", "part", "negative zero", "resolved"],
)
def test_hash_ignores_what_moves_nothing(same: Sheet) -> None:
    assert configure(same).hash == BASE.hash


@pytest.mark.parametrize(
    "other",
    [
        _with_part("battery", mass_g=30.001),
        _with_part("battery", at_mm=(17.0, 0.0, 55.500001)),
        _with_part("battery", body="rear_axle"),
        SHEET.model_copy(update={"servo": SHEET.servo.model_copy(update={"stall_kgcm": 1.21})}),
        SHEET.model_copy(update={"hull": SHEET.hull[:-1]}),
        SHEET.model_copy(update={"parts": SHEET.parts[::-1]}),
        SHEET.model_copy(update={"scale": 22.0}),
    ],
    ids=["mass", "place", "body", "servo", "hull", "order", "scale"],
)
def test_hash_follows_what_moves(other: Sheet) -> None:
    assert configure(other).hash != BASE.hash


def test_writing_a_default_out_is_the_same_truck() -> None:
    driveline = SHEET.driveline.model_copy(update={"drag_brake": 1.0})
    assert configure(SHEET.model_copy(update={"driveline": driveline})).hash == BASE.hash


def test_hash_is_alike_in_another_process() -> None:
    code = (
        "from models import scenario; from models.configuration import load_configuration; "
        "print(load_configuration(scenario.builds()[0]).hash)"
    )
    root = Path(__file__).parent.parent
    for seed in ("1", "2"):
        environment = {**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": str(root)}
        run = subprocess.run(
            [sys.executable, "-c", code], env=environment, cwd=root, capture_output=True, text=True, check=True
        )
        assert run.stdout.strip() == BASE.hash


def test_hash_follows_the_content_of_a_mesh(tmp_path: Path) -> None:
    def hashed(folder: str, content: str) -> str:
        file = tmp_path / folder / "cage.stl"
        file.parent.mkdir(exist_ok=True)
        file.write_text(content)
        cage = HullShape(name="cage", shape="mesh", at_mm=(60, 0, 90), file=str(file), grip=0.4)
        return content_hash(resolve(SHEET.model_copy(update={"hull": (*SHEET.hull, cage)})))

    assert hashed("a", "one") == hashed("b", "one")
    assert hashed("a", "one") != hashed("a", "two")


def test_mesh_gone_since(tmp_path: Path) -> None:
    cage = HullShape(name="cage", shape="mesh", at_mm=(60, 0, 90), file=str(tmp_path / "gone.stl"))
    with pytest.raises(BuildSheetError, match=r"hull\.cage\.file = .*: the mesh cannot be read: No such file"):
        configure(SHEET.model_copy(update={"hull": (*SHEET.hull, cage)}))


def test_prices() -> None:
    paths = [scenario.change("gundi", name) for name in ("knuckle-weights", "stronger-servo", "battery-forward")]
    configuration = load_configuration(scenario.builds()[0], paths)
    assert configuration.price == (Money(price=40, currency="USD"),)
    assert configuration.unpriced == ()


def _priced(name: str, **fields: object) -> Change:
    return Change.model_validate({"schema": 1, "name": name, **fields})


def test_price_of_a_change_is_its_own_or_that_of_its_parts() -> None:
    part = {"name": "rack", "mass_g": 3.0, "at_mm": (60, 0, 100), "price": 4.0, "currency": "USD"}
    assert _priced("own", price=3.0, currency="EUR", add=(part,)).cost == Money(price=3, currency="EUR")
    assert _priced("parts", add=(part, {**part, "name": "b"})).cost == Money(price=8, currency="USD")
    assert _priced("open", add=(part, {**part, "price": None})).cost is None
    assert _priced("mixed", add=(part, {**part, "currency": "EUR"})).cost is None
    assert _priced("moved", move=({"part": "battery", "by_mm": (1, 0, 0)},)).cost is None
    several = [_priced("a", price=3.0, currency="EUR", remove=("sliders",)), _priced("b", remove=("front bumper",))]
    several.append(_priced("c", price=2.5, currency="USD", remove=("rear bumper",)))
    configuration = configure(SHEET, several)
    assert configuration.price == (Money(price=3, currency="EUR"), Money(price=2.5, currency="USD"))
    assert configuration.unpriced == ("b",)


def test_part_record_keeps_every_key_out_of_the_hash_or_in_it() -> None:
    # A key added to parts later must be sorted into one of the two on purpose.
    assert set(Part.model_fields) == {
        *("name", "price", "currency", "source", "place_source", "holes", "lead_mm", "note"),
        *("body", "mass_g", "mass_each_g", "at_mm", "size_mm", "shape", "bore_mm"),
    }

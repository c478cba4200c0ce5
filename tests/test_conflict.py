"""The quick look at one place agrees with the sweep along the whole axis."""

from __future__ import annotations

import pytest

from models.configuration import load_configuration
from models.conflict import Surroundings
from models.errors import BuildSheetError
from models.room import room
from models.scenario import builds
from models.spec import Sheet


@pytest.fixture(scope="module", params=builds(), ids=lambda path: path.stem)
def sheet(request: pytest.FixtureRequest) -> Sheet:
    return load_configuration(request.param).sheet


@pytest.mark.parametrize("axis", ["x", "y", "z"])
def test_agrees_with_the_sweep(sheet: Sheet, axis: str) -> None:
    # Both start from the same boxes and tyre points; on a stretch's own end a rounding may decide, so half millimetres
    # away from it are looked at.
    k = "xyz".index(axis)
    swept = room(sheet, "battery", axis)  # type: ignore[arg-type]
    around = Surroundings(sheet, ["battery"])
    looked = 0
    for step in range(-40, 41):
        to = swept.now + 2.0 * step
        if any(abs(to - end) < 0.5 for one in swept.blocked for end in (one.low, one.high)):
            continue
        offset = [0.0, 0.0, 0.0]
        offset[k] = 2.0 * step
        wanted = {one.by.removesuffix(" at full lock and bump").removesuffix(" at bump") for one in swept.at(to)}
        found = {one.by for one in around.at(offset)}
        # The sweep takes a tyre's points as one stretch from first to last, which may bridge a gap between them.
        tyres = {name for name in wanted | found if name.endswith("tyre")}
        assert found - tyres == wanted - tyres
        assert found & tyres <= wanted & tyres
        looked += 1
    assert looked > 40


def test_depth_is_what_two_boxes_share(sheet: Sheet) -> None:
    # Lifted by one millimetre less than both heights, a tray under a pack is in it by the millimetre left over.
    tray = next(part for part in sheet.parts if part.name == "battery tray")
    pack = next(part for part in sheet.parts if part.name == "battery")
    up = (pack.at_mm[2] - pack.size_mm[2] / 2) - (tray.at_mm[2] + tray.size_mm[2] / 2)
    found = Surroundings(sheet, ["battery tray"]).at((0.0, 0.0, up + 1.0))
    assert {one.by: one.depth for one in found}["battery"] == pytest.approx(1.0)


def test_what_was_put_on_has_no_place_that_is_meant(sheet: Sheet) -> None:
    pack = next(part for part in sheet.parts if part.name == "battery")
    weight = pack.model_copy(update={"name": "weight", "size_mm": (6.0, 6.0, 6.0)})
    with_it = sheet.model_copy(update={"parts": (*sheet.parts, weight)})
    assert "battery" not in {one.by for one in Surroundings(with_it, ["weight"]).at((0.0, 0.0, 0.0))}
    found = Surroundings(with_it, ["weight"], meant=False).at((0.0, 0.0, 0.0))
    assert "battery" in {one.by for one in found}


def test_parts_on_different_bodies_do_not_move_together(sheet: Sheet) -> None:
    with pytest.raises(BuildSheetError, match="cannot be moved together"):
        Surroundings(sheet, ["battery", "steering servo", "front wheel"])

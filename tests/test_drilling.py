"""The drilling sheet: its geometry measured on the printed page, its checks by hand."""

from __future__ import annotations

import re
from functools import cache
from itertools import pairwise
from xml.etree import ElementTree

import numpy as np
import pdfplumber
import pytest

from models.behind import BEHIND_MM, KeepOut, rod_outline
from models.change import Change, load_change
from models.edit import apply
from models.scenario import builds, change
from models.sheet import load_sheet
from sim.chart import PAPERS, style
from sim.chart.drilling import drilling
from sim.decision.drilling import CAUTIONS, edge_distance, template
from sim.errors import SimError

GUNDI = load_sheet(builds()[0])
MM_PER_PT = 25.4 / 72.0


@cache
def forward():
    return template(GUNDI, apply(GUNDI, [load_change(change("gundi", "battery-forward"))]), "battery forward")


def test_old_and_new_holes_are_those_of_the_sheet():
    made = forward()
    # The tray goes from x = 17 to 115; its holes lie 9 mm ahead and behind, 4.5 mm aside of its middle.
    assert {hole.at for hole in made.new} == {(115 + x, y) for x in (-9, 9) for y in (-4.5, 4.5)}
    assert {hole.at for hole in made.old} == {(17 + x, y) for x in (-9, 9) for y in (-4.5, 4.5)}
    assert {hole.diameter for hole in made.new} == {2.1}
    assert min(gap for *_, gap in made.spacing) == 9.0


@pytest.mark.parametrize("build", builds(), ids=lambda path: path.stem)
def test_the_scenarios_own_move_can_be_drilled(build):
    truck = load_sheet(build)
    made = template(truck, apply(truck, [load_change(change(build, "battery-forward"))]), "battery forward")
    assert made.faults == ()
    assert made.plate is not None


def test_what_lies_behind_the_drill_is_named():
    names = {area.name for area in forward().keep_out}
    assert {"motor", "front left tyre", "front axle housing and gears"} <= names
    assert "battery" not in {area.name for area in forward().keep_out if area.name == "battery tray"}


def wide():
    """The 1/24 with its tray's holes 9 mm aside instead of 4.5."""
    parts = [part if not part.holes else part.model_copy(update={"holes": tuple(
        hole.model_copy(update={"at_mm": (hole.at_mm[0], 2.0 * hole.at_mm[1])}) for hole in part.holes)})
        for part in GUNDI.parts]
    return GUNDI.model_copy(update={"parts": tuple(parts)})


def test_a_rod_under_a_hole_is_a_fault():
    # At x = 124 the upper links of the 1/24 are 8 mm off the middle, 4 mm under the tray: holes 9 mm off lie over them.
    made = template(wide(), apply(wide(), [load_change(change("gundi", "battery-forward"))]), "battery forward")
    assert [text.split(":")[0] for text in made.faults] == [
        "hole 1 lies over front link, upper left", "hole 2 lies over front link, upper right"]
    assert forward().faults == ()


def test_what_is_free_to_go_to_can_be_drilled_and_the_other_way_round():
    """Room and drilling sheet say the same of links, motor, shafts, axles and tyres, millimetre by millimetre."""
    from models.room import room

    for truck in (GUNDI, wide(), *(load_sheet(build) for build in builds()[1:])):
        tray = next(part for part in truck.parts if part.holes)
        there = room(truck, tray.name, "x", by_mm=(0.0, 0.0, 6.0))
        told = 0
        for position in range(round(there.low) + 1, round(there.high)):
            if abs(position - there.now) < 40:  # where old holes and what lies under them come into it
                continue
            # A millimetre's tenth off the whole ones: no outline's edge lies there.
            x = position + 0.137
            under = {b.by.removesuffix(" behind a hole") for b in there.at(x) if b.by.endswith(" behind a hole")}
            moved = Change.model_validate({"schema": 1, "name": "t", "move": [
                {"part": tray.name, "by_mm": [x - there.now, 0.0, 6.0]}]})
            faults = template(truck, apply(truck, [moved]), "t").faults
            over = {text.split(" lies over ")[1].split(":")[0] for text in faults if " lies over " in text}
            old = {area.name for area in _under_now(truck, tray)}
            assert under == over - old, (truck.name, x)
            told += bool(under)
        assert told > 10


def _under_now(truck, tray):
    from models.behind import behind
    from models.room import part_box

    holes = [(tray.at_mm[0] + hole.at_mm[0], tray.at_mm[1] + hole.at_mm[1]) for hole in tray.holes]
    return [area for area in behind(truck, {tray.name}, float(part_box(tray).low[2]) + 6.0)
            if any(area.holds(hole) for hole in holes)]


def test_the_moves_that_come_along_are_free_and_those_over_a_link_are_not():
    from models.room import room

    spots = {"gundi": 115.0, "dassie": 137.0, "takin": 282.0}
    for build in builds():
        truck = load_sheet(build)
        assert room(truck, "battery", "x", along=("battery tray",)).at(spots[build.stem]) == ()
    named = {blocked.by for blocked in room(wide(), "battery", "x", along=("battery tray",)).at(115.0)}
    assert named == {"front link, upper left behind a hole", "front link, upper right behind a hole"}


def test_a_line_through_an_outline_enters_and_leaves():
    square = KeepOut("diamond", ((0.0, -10.0), (10.0, 0.0), (0.0, 10.0), (-10.0, 0.0)))
    assert square.along((99.0, 4.0), 0) == pytest.approx((-6.0, 6.0))
    assert square.along((-3.0, 99.0), 1) == pytest.approx((-7.0, 7.0))
    assert square.along((0.0, 11.0), 0) is None
    assert square.holds((5.0, 4.9))
    assert not square.holds((5.0, 5.1))


def test_a_rod_is_in_the_way_where_it_comes_up_to_the_plate():
    # From 20 mm high to 60 over 100 mm of length: it lies as deep as a drill comes up to x = 75, where it is 50 high.
    corners = np.array(rod_outline((0.0, 5.0, 20.0), (100.0, 5.0, 60.0), 50.0, 4.0))
    deep = 50.0 - BEHIND_MM
    assert corners[:, 0].min() == pytest.approx((deep - 20.0) / 0.4 - 2.0)
    assert corners[:, 0].max() == pytest.approx(75.0 + 2.0)
    assert sorted(set(corners[:, 1].round(9))) == [3.0, 7.0]
    assert rod_outline((0.0, 5.0, 20.0), (100.0, 5.0, 30.0), 90.0, 4.0) == ()


def test_distance_to_an_edge():
    assert edge_distance((3.0, 5.0), (0.0, 0.0, 0.0), (10.0, 20.0, 1.0)) == 3.0
    assert edge_distance((-1.0, 5.0), (0.0, 0.0, 0.0), (10.0, 20.0, 1.0)) == -1.0


def test_holes_at_an_edge_are_told_with_their_numbers():
    # Rails are 28 mm wide and the holes lie at y = 4.5: pushed out by 8.5 they have 1 mm left; twice 2.1 mm is usual.
    move = {"part": "battery tray", "by_mm": [98, 8.5, 0]}
    moved = Change.model_validate({"schema": 1, "name": "out", "move": [move]})
    faults = template(GUNDI, apply(GUNDI, [moved]), "out").faults
    assert "hole 1 is 1.0 mm from the edge of rails and crossmembers, at least 4.2 is usual" in faults


def test_crowded_holes_and_old_holes_are_told():
    move = {"part": "battery tray", "by_mm": [3, 0, 0]}
    moved = Change.model_validate({"schema": 1, "name": "a bit", "move": [move]})
    told = " ".join(template(GUNDI, apply(GUNDI, [moved]), "a bit").faults)
    assert "3.0 mm from a hole that is there, at least 6.3 is usual" in told


def test_nothing_to_drill_is_said():
    rings = load_change(change("gundi", "front-wheel-rings"))
    with pytest.raises(SimError, match="nothing to drill"):
        template(GUNDI, apply(GUNDI, [rings]), "rings")
    with pytest.raises(SimError, match="no such part to drill"):
        template(GUNDI, apply(GUNDI, [load_change(change("gundi", "battery-forward"))]), "x", into="roof")


@pytest.fixture(scope="module", params=sorted(PAPERS))
def sheet(request, tmp_path_factory):
    folder = tmp_path_factory.mktemp("drilling")
    return request.param, style.save(drilling(forward(), request.param), folder / "sheet", ["pdf", "svg"])


def test_the_pdf_is_true_to_scale(sheet):
    paper, (file, _) = sheet
    with pdfplumber.open(file) as document:
        (page,) = document.pages
        assert (float(page.width) * MM_PER_PT, float(page.height) * MM_PER_PT) == pytest.approx(PAPERS[paper], abs=0.05)
        spans = [((l["x1"] - l["x0"]) * MM_PER_PT, (l["bottom"] - l["top"]) * MM_PER_PT) for l in page.lines]
        # Both check bars, to a hundredth of a millimetre.
        assert any(w == pytest.approx(100.0, abs=0.01) and h < 0.01 for w, h in spans)
        assert any(h == pytest.approx(100.0, abs=0.01) and w < 0.01 for w, h in spans)
        rings = [c for c in page.curves if (c["x1"] - c["x0"]) * MM_PER_PT == pytest.approx(2.1, abs=0.01)]
        assert len(rings) == 8
        middle = [((c["x0"] + c["x1"]) / 2 * MM_PER_PT, (c["top"] + c["bottom"]) / 2 * MM_PER_PT) for c in rings]
    across = sorted({round(x, 2) for x, _ in middle})
    down = sorted({round(y, 2) for _, y in middle})
    assert across[1] - across[0] == pytest.approx(9.0, abs=0.02)
    # From the front: 18 within a pattern, 80 between them, 18 again.
    assert [b - a for a, b in pairwise(down)] == pytest.approx([18.0, 80.0, 18.0], abs=0.03)


def test_the_datum_line_is_the_rear_axle(sheet):
    _, (file, _) = sheet
    with pdfplumber.open(file) as document:
        (page,) = document.pages
        wide = [l for l in page.lines if (l["x1"] - l["x0"]) * MM_PER_PT > 150.0 and l["bottom"] - l["top"] < 0.1]
        rings = [c for c in page.curves if (c["x1"] - c["x0"]) * MM_PER_PT == pytest.approx(2.1, abs=0.01)]
        nearest = max((c["top"] + c["bottom"]) / 2 for c in rings)
        # The rearmost old holes are 17 - 9 mm ahead of the axle.
        assert (wide[0]["top"] - nearest) * MM_PER_PT == pytest.approx(8.0, abs=0.02)


def test_the_svg_is_true_to_scale(sheet):
    paper, (_, file) = sheet
    root = ElementTree.parse(file).getroot()
    width, height = (float(root.get(key).removesuffix("pt")) * MM_PER_PT for key in ("width", "height"))
    assert (width, height) == pytest.approx(PAPERS[paper], abs=0.05)
    for gid, index in (("bar-across", 0), ("bar-up", 1)):
        path = root.find(f".//*[@id='{gid}']//*[@d]").get("d")
        numbers = [float(x) for x in re.findall(r"-?\d+(?:\.\d+)?", path)]
        assert abs(numbers[index + 2] - numbers[index]) * MM_PER_PT == pytest.approx(100.0, abs=0.01)


def test_every_caution_is_on_the_page(sheet):
    _, (file, _) = sheet
    with pdfplumber.open(file) as document:
        text = " ".join((document.pages[0].extract_text() or "").split())
    for caution in CAUTIONS:
        assert caution.split(",")[0].split(".")[0][:30] in text


def test_a_long_truck_gets_a_datum_line_of_its_own():
    takin = load_sheet(builds()[2])
    holes = next(part for part in takin.parts if part.holes)
    by = [30.0, 0, 0]
    moved = Change.model_validate({"schema": 1, "name": "on", "move": [{"part": holes.name, "by_mm": by}]})
    made = template(takin, apply(takin, [moved]), "on")
    drawn = drilling(made, "letter")
    words = [text.get_text() for text in drawn.axes[0].texts]
    assert any("datum line" in word for word in words)


def test_the_terminal_says_what_is_drilled_and_where_to_lay_the_ruler(tmp_path, capsys):
    from sim.cli.main import main

    with pytest.raises(SystemExit) as end:
        main(["drilling", str(builds()[0]), "--change", str(change("gundi", "battery-forward")), "--paper", "a4",
              "--formats", "svg", "--out", str(tmp_path)])
    assert end.value.code == 0
    said = capsys.readouterr().out
    assert "4 new holes in rails and crossmembers." in said
    assert f"  {' '.join(text.strip() for text in forward().from_edge)}\n" in said
    assert "edge of rails and crossmembers" in said


def test_unknown_paper():
    with pytest.raises(SimError, match="a4"):
        drilling(forward(), "a5")


def test_where_a_drill_would_meet_the_motor_is_not_free() -> None:
    from models.room import room

    sheet = load_sheet(next(b for b in builds() if b.stem == "gundi"))
    # The tray's holes are 9 mm ahead and behind, 4.5 aside of its middle; the motor reaches x 74 to 98, y -10 to 6.
    alone = room(sheet, "battery tray", "x", by_mm=(0.0, 0.0, 14.0))
    assert any("motor behind a hole" in found.by for found in alone.at(86.0))
    drilled = template(sheet, apply(sheet, [Change.model_validate({
        "schema": 1, "name": "t", "move": [{"part": "battery tray", "by_mm": [69.0, 0.0, 14.0]}]})]), "t")
    assert any("lies over motor" in fault for fault in drilled.faults)


def test_brass_and_lead_dust_are_warned_of() -> None:
    assert any("Brass and lead" in caution for caution in CAUTIONS)

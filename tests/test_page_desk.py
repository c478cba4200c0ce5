"""A sheet on the page: steps back and forth, drafts, files that keep their comments, numbers as people type them."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from models.configuration import content_hash, load_configuration
from models.defaults import resolve
from models.errors import BuildSheetError
from models.scenario import builds
from models.statics import statics
from sim.errors import SimError
from sim.page.bench_view import Looker, companions
from sim.page.desk import Desk
from sim.page.drawing import movable
from sim.page.edits import Edits
from sim.page.findings import of_decision
from sim.page.folder import Folder
from sim.page.numbers import rows, standing
from sim.page.run_state import RunState
from sim.page.saving import save_change, save_sheet
from sim.page.typed import number

FORWARD = {"battery": (115.0, 0.0, 55.5), "battery tray": (115.0, 0.0, 47.0)}


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    shutil.copy(builds()[0], tmp_path / "gundi.toml")
    return Folder(tmp_path)


@pytest.fixture
def desk(folder: Folder) -> Desk:
    return Desk(folder, "gundi.toml")


def moved(desk: Desk) -> None:
    desk.do(lambda edits: edits.moved(desk.opened, FORWARD))


def test_steps_go_back_and_forth(desk: Desk) -> None:
    moved(desk)
    desk.do(lambda edits: edits.valued("tyres.front.grip", 0.9))
    assert desk.can == (True, False)
    desk.undo()
    assert desk.edits.values == {}
    assert dict(desk.edits.places) == FORWARD
    desk.redo()
    assert desk.edits.values == {"tyres.front.grip": 0.9}
    desk.undo()
    desk.undo()
    desk.undo()
    assert not desk.edits
    assert not desk.unsaved


def test_a_part_put_back_is_no_edit(desk: Desk) -> None:
    moved(desk)
    desk.do(lambda edits: edits.moved(desk.opened, {name: next(p.at_mm for p in desk.opened.parts if p.name == name)
                                                    for name in FORWARD}))
    assert not desk.edits


def test_what_makes_no_truck_is_not_done(desk: Desk) -> None:
    with pytest.raises(BuildSheetError):
        desk.do(lambda edits: edits.valued("parts.battery.mass_g", -3))
    assert not desk.edits
    with pytest.raises(BuildSheetError):
        desk.do(lambda edits: edits.valued("no.such.key", 1))


def test_two_windows_share_their_steps(desk: Desk) -> None:
    # Each window sends what to do and not what it thinks the truck is, so neither takes back the other's work.
    before = desk.revision
    moved(desk)
    desk.do(lambda edits: edits.valued("parts.motor.mass_g", 18.0))
    assert dict(desk.edits.places) == FORWARD
    assert desk.edits.values == {"parts.motor.mass_g": 18.0}
    assert desk.revision == before + 2


def test_unsaved_work_is_there_after_a_kill(desk: Desk, folder: Folder) -> None:
    moved(desk)
    again = Desk(folder, "gundi.toml")
    assert again.kept_draft
    assert dict(again.edits.places) == FORWARD
    assert again.can == (True, False)


def test_a_draft_of_another_version_of_the_file_is_not_taken(desk: Desk, folder: Folder) -> None:
    moved(desk)
    desk.file.write_text(desk.file.read_text(encoding="utf-8").replace("mass_g = 30", "mass_g = 31"), encoding="utf-8")
    assert not Desk(folder, "gundi.toml").edits


def test_a_damaged_draft_is_left_alone(desk: Desk, folder: Folder) -> None:
    moved(desk)
    for file in folder.own().glob("draft-*"):
        file.write_text('{"edits": 3', encoding="utf-8")
    assert not Desk(folder, "gundi.toml").edits


def test_saved_sheet_keeps_comments_and_is_the_same_truck(desk: Desk, folder: Folder) -> None:
    moved(desk)
    wanted = content_hash(resolve(desk.sheet()))
    original = desk.file.read_text(encoding="utf-8")
    save_sheet(desk, folder.path("forward.toml"))
    text = (folder.root / "forward.toml").read_text(encoding="utf-8")
    assert load_configuration(folder.root / "forward.toml").hash == wanted
    assert [line for line in text.splitlines() if line.startswith("#")] == \
        [line for line in original.splitlines() if line.startswith("#")]
    assert "at_mm = [115, 0, 55.5] # set: moved on the page (was [17, 0, 55.5])" in text
    assert desk.file.read_text(encoding="utf-8") == original
    assert not desk.unsaved


def test_saved_change_is_the_same_truck(desk: Desk, folder: Folder) -> None:
    moved(desk)
    desk.do(lambda edits: edits.valued("tyres.front.grip", 0.9))
    desk.do(lambda edits: edits.with_part({"name": "weight", "body": "front_axle", "mass_g": 12.0,
                                           "at_mm": [134.0, 0.0, 32.0], "size_mm": [11.0, 11.0, 11.0]}))
    desk.do(lambda edits: edits.without("rear bumper"))
    save_change(desk, folder.path("changes/mine.toml"), "mine")
    made = load_configuration(desk.file, [folder.root / "changes" / "mine.toml"])
    assert made.hash == content_hash(resolve(desk.sheet()))
    with pytest.raises(SimError, match="is there already"):
        save_change(desk, folder.path("changes/mine.toml"), "mine")


def test_nothing_is_replaced_unasked(desk: Desk) -> None:
    moved(desk)
    before = desk.file.read_bytes()
    with pytest.raises(SimError, match="is there already"):
        save_sheet(desk, desk.file)
    assert desk.file.read_bytes() == before
    kept = save_sheet(desk, desk.file, replace=True)
    assert kept is not None
    assert kept.read_bytes() == before
    assert load_configuration(desk.file).sheet.parts[16].at_mm != (17.0, 0.0, 55.5)
    assert not desk.unsaved


def test_a_file_that_somebody_else_changed_is_not_replaced(desk: Desk) -> None:
    moved(desk)
    desk.file.write_text("# by hand\n" + desk.file.read_text(encoding="utf-8"), encoding="utf-8")
    with pytest.raises(SimError, match="changed by another program"):
        save_sheet(desk, desk.file, replace=True)
    assert desk.file.read_text(encoding="utf-8").startswith("# by hand")


def test_hull_of_the_same_name_goes_along_into_the_file(desk: Desk, folder: Folder) -> None:
    desk.do(lambda edits: edits.moved(desk.opened, {"front bumper": (160.0, 0.0, 42.0)}))
    save_sheet(desk, folder.path("short.toml"))
    skin = next(shape for shape in load_configuration(folder.root / "short.toml").sheet.hull
                if shape.name == "front bumper")
    assert skin.at_mm[0] == 160.0


def test_numbers_are_those_of_the_handbook(desk: Desk) -> None:
    moved(desk)
    sheet = resolve(desk.sheet())
    now, whole = standing(sheet), statics(sheet)
    for key, value in now.angles.items():
        assert value == getattr(whole, key)


def test_conflicts_and_holes_are_seen_and_others_stay_while_one_is_held(desk: Desk) -> None:
    looker = Looker(desk)
    assert looker.look(Edits()).conflicts == ()
    into = {"battery": (80.0, 0.0, 55.5), "battery tray": (80.0, 0.0, 47.0)}
    desk.do(lambda edits: edits.moved(desk.opened, into))
    seen = looker.look(desk.edits, "battery")
    assert any("motor" in text for text in seen.conflicts)
    assert seen.drills == 4
    assert any("motor: keep out" in text for text in seen.holes)
    other = desk.edits.moved(desk.opened, {"front bumper": (163.0, 0.0, 42.0)})
    assert any("motor" in text for text in looker.hold(other, ["front bumper"]).conflicts)
    free = desk.edits.moved(desk.opened, {"battery": (17.0, 0.0, 55.5), "battery tray": (17.0, 0.0, 47.0)})
    assert looker.hold(free, ["battery", "battery tray"]).conflicts == ()


@pytest.mark.parametrize("truck", range(len(builds())))
def test_what_is_shown_while_parts_are_pulled_is_what_letting_go_gives(tmp_path: Path, truck: int) -> None:
    # The quick way moves parts in the sheet that is there; letting go makes the change, checks and fills in anew.
    shutil.copy(builds()[truck], tmp_path / "truck.toml")
    desk = Desk(Folder(tmp_path), "truck.toml")
    for name in [part.name for part in desk.opened.parts if movable(part)][:6]:
        part = next(part for part in desk.opened.parts if part.name == name)
        pulled = desk.edits.moved(desk.opened, {name: (part.at_mm[0] + 3.0, part.at_mm[1] + 1.0, part.at_mm[2] + 2.0)})
        _, quick = desk.carried(pulled, [name])
        slow = resolve(desk.sheet(pulled))
        assert [(one.name, one.at_mm) for one in quick.parts] == [(one.name, one.at_mm) for one in slow.parts]
        assert [one.at_mm for one in quick.hull] == [one.at_mm for one in slow.hull]
        assert rows(standing(quick), standing(slow)) == rows(standing(slow), standing(slow))


def test_the_tray_goes_along_with_the_pack(desk: Desk) -> None:
    assert companions(desk.opened, "battery") == ["battery tray"]


@pytest.mark.parametrize(("text", "key", "value"), [
    ("30", "mass_g", 30.0),
    ("30,5", "mass_g", 30.5),
    ("30.5 g", "mass_g", 30.5),
    ("1 oz", "mass_g", 28.349523125),  # international avoirdupois ounce, NIST Handbook 44 (2023), appendix C
    ("0,5 in", "at_mm", 12.7),
    ("1,2 cm", "at_mm", 12.0),
    ("140 N/m", "axles.front.shock.rate_n_per_mm", 0.14),
    ("0,14", "axles.front.shock.rate_n_per_mm", 0.14),
    ("0,140", "axles.front.shock.rate_n_per_mm", 0.14),
    ("−3", "y_mm", -3.0),
    ("1,3", "tyres.front.grip", 1.3),
])
def test_numbers_as_people_type_them(text: str, key: str, value: float) -> None:
    assert number(text, key) == pytest.approx(value, rel=1e-9)


@pytest.mark.parametrize(("text", "key"), [
    ("1,250", "mass_g"), ("1,2,3", "mass_g"), ("1.250,5", "mass_g"), ("heavy", "mass_g"), ("3 mm", "mass_g"),
    ("", "mass_g"), ("1e999", "mass_g"), ("__import__('os')", "tyres.front.grip"), ("nan", "tyres.front.grip"),
])
def test_what_is_no_number_is_asked_about(text: str, key: str) -> None:
    with pytest.raises(BuildSheetError):
        number(text, key)


@pytest.mark.parametrize("name", ["../x.toml", "/etc/passwd", ".hidden.toml", "a/../../x.toml", "", "a\\b.toml",
                                  "a/.x/b.toml", "a\n.toml"])
def test_no_way_out_of_the_folder(folder: Folder, name: str) -> None:
    with pytest.raises(SimError):
        folder.path(name)


def test_a_link_out_of_the_folder_is_not_followed(folder: Folder, tmp_path_factory: pytest.TempPathFactory) -> None:
    elsewhere = tmp_path_factory.mktemp("elsewhere") / "secret.toml"
    elsewhere.write_text("a = 1", encoding="utf-8")
    (folder.root / "link.toml").symlink_to(elsewhere)
    with pytest.raises(SimError, match="outside"):
        folder.existing("link.toml")
    assert "link.toml" not in [one.name for one in folder.files()]


def test_answers_of_decisions_are_tables_to_sort() -> None:
    # A real answer of 360 trials, recorded; the file says by which command. The page runs the same one.
    told = json.loads((Path(__file__).parent / "doubt_answer.json").read_text(encoding="utf-8"))
    found = of_decision(RunState("d", "doubt", {}, "done", result=told))
    assert found is not None
    assert found.sentences[0].startswith("As on the sheet: not worth it.")
    assert [row[0][0] for row in found.rows] == [one["name"] for one in told["influences"]]
    name, low, high, decides, minutes, measure = (text for text, _ in found.rows[0])
    assert (name, low[:4], high[:5], decides, minutes) == ("grip", "+0.0", "-100.", "59", "20")
    assert measure.startswith("Slip board")
    assert [row[3][1] for row in found.rows] == [one["decides"] for one in told["influences"]]  # what is sorted by
    # A free change has no gain per unit of money: it says so, and comes first of those that gain.
    priced = json.loads((Path(__file__).parent / "worth_answer.json").read_text(encoding="utf-8"))
    worth = of_decision(RunState("w", "worth", {}, "done", result=priced))
    assert worth is not None
    assert worth.rows[0][5][0] == "free"
    assert worth.rows[0][5][1] == max(row[5][1] for row in worth.rows)
    assert [row[5][0] for row in worth.rows[1:]] == [f"{one['per_money']:.2f}" for one in priced["changes"][1:]]
    family = {"family": "ledge", "lines": 2, "tries": 9, "predicted": 0.5, "seen": 2 / 3}
    real = of_decision(RunState("r", "reality", {}, "done", result={"conclusions": ["As foretold."], "families": [
        family]}))
    assert real is not None
    assert [text for text, _ in real.rows[0]] == ["ledge", "2", "9", "50", "67"]
    assert of_decision(RunState("w", "worth", {}, "working")) is None


def test_a_log_of_tries_is_no_plan() -> None:
    """It names configurations as a plan does; run as one it could only fail."""
    from sim.page.folder import _kind_of

    assert _kind_of({"schema": 1, "date": 1, "configuration": []}) == "log"
    assert _kind_of({"schema": 1, "name": "a night", "configuration": [], "obstacle": []}) == "plan"

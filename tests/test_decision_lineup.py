"""Trucks of a comparison side by side: sheets from the store, cautions against the baseline, tilt results kept."""

from __future__ import annotations

import json
import math
from pathlib import Path

import made_store
import numpy as np
import pytest

from models.massprops import contact_places, truck_properties
from models.stability import tip_angles
from sim.compare.comparison import compare
from sim.decision import tilt_file
from sim.decision.caution import Exertion
from sim.decision.configurations import lineup, warned
from sim.decision.stored_trials import Shots
from sim.errors import SimError
from sim.store.store import Store
from sim.trial.tilt_table import Tilted, round_the_truck


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return made_store.make(tmp_path_factory.mktemp("lineup") / "s.sqlite", traces=0,
                           places=(("ledge", 20.0), ("descent", 60.0)))


def test_the_line_up_knows_the_sheets_of_the_store(file: Path) -> None:
    with Store(file) as store:
        comparison = compare(store)
        members = lineup(comparison, store.configurations())
    assert [(one.name, one.series) for one in members] == [("as it is", 0), ("battery forward", 1)]
    sheet = made_store.truck().configuration.sheet
    want = tip_angles(contact_places(sheet), truck_properties(sheet).cg).in_degrees()
    assert members[0].tips == want
    assert members[1].tips.back > want.back


def test_without_sheets_there_is_no_line_up(tmp_path: Path) -> None:
    with Store(made_store.make(tmp_path / "old.sqlite", traces=0, sheets=False)) as store:
        assert lineup(compare(store), store.configurations()) == ()


def test_what_the_baseline_has_is_told_once_and_what_a_change_worsens_again(file: Path) -> None:
    with Store(file) as store:
        comparison = compare(store)
        members = lineup(comparison, store.configurations())
        told = dict(warned(members, comparison, Shots(store, comparison).exertion()))
    # Both nose over on a descent of 60 degrees, the forward battery a few degrees sooner.
    (base,), (forward,) = told["as it is"], told["battery forward"]
    assert (base.kind, forward.kind) == ("nose-over", "nose-over")
    assert forward.value < base.value < 60.0


def test_current_and_servo_of_the_trials_are_read_from_the_store(file: Path) -> None:
    with Store(file) as store:
        comparison = compare(store)
        members = lineup(comparison, store.configurations())
        found = Shots(store, comparison).exertion()
        assert {config: len(one.current_a) for config, one in found.items()} == {m.config: 24 for m in members}
        assert set(found[members[0].config].current_a) == {3.0}
        limit = made_store.truck().model.drive.current_limit
        hard = {members[1].config: Exertion(np.full(24, limit), np.full(24, 0.5))}
        told = dict(warned(members, comparison, found | hard))
    assert {"current", "servo"} <= {one.kind for one in told["battery forward"]}
    assert "current" not in {one.kind for one in told["as it is"]}


def test_tilt_results_are_kept_until_the_physics_changes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[int] = []

    def fake(model: object, directions: tuple[float, ...]) -> Tilted:
        asked.append(len(directions))
        return Tilted(tuple(directions), (40.0, math.nan, *[41.0] * (len(directions) - 2)))

    monkeypatch.setattr(tilt_file, "tilted", fake)
    sheet, file = made_store.truck().configuration.sheet, tmp_path / "x-tilt.json"
    first = tilt_file.tilted_trucks({"a": sheet}, 8, file)
    again = tilt_file.tilted_trucks({"a": sheet, "b": sheet}, 8, file)
    assert asked == [8, 8]
    assert again["a"].direction == first["a"].direction == round_the_truck(8)
    assert math.isnan(again["a"].angle[1])
    tilt_file.tilted_trucks({"a": sheet}, 4, file)
    assert asked == [8, 8, 4]
    data = json.loads(file.read_text())
    file.write_text(json.dumps(data | {"code": "another"}))
    tilt_file.tilted_trucks({"a": sheet}, 4, file)
    file.write_text("not JSON")
    tilt_file.tilted_trucks({"a": sheet}, 4, file)
    assert asked == [8, 8, 4, 4, 4]


@pytest.mark.parametrize("count", [2, 6, 400])
def test_directions_come_in_fours(tmp_path: Path, count: int) -> None:
    with pytest.raises(SimError, match="multiple of 4"):
        tilt_file.tilted_trucks({}, count, tmp_path / "x.json")

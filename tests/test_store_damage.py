"""Check values of a store: what is not as it was written is named, left out, and left behind by a rescue."""

from __future__ import annotations

import sqlite3
from dataclasses import replace
from pathlib import Path

import fake_trial
import numpy as np
import pytest
from fake_trial import VERSIONS
from test_store import report

from sim.compare.comparison import compare
from sim.errors import StoreError
from sim.store.rescue import inspect
from sim.store.store import Store, StoredTruck


def _flipped(path: Path, column: str, value: object) -> None:
    connection = sqlite3.connect(path)
    connection.execute(f"UPDATE trial SET {column} = ? WHERE repeat = 5", (value,))  # noqa: S608
    connection.commit()
    connection.close()


@pytest.mark.parametrize(
    ("column", "value", "why"),
    [
        ("outcome", "rolled", "not what was written"),
        ("outcome", "flew", "not what was written"),
        ("min_margin_deg", 12.345, "not what was written"),
        ("level", 31.0, "not what was written"),
        ("model", "x", "not what was written"),
        ("wall_s", 1.0, "not what was written"),
        ("checksum", "", ""),
    ],
)
def test_a_row_that_is_not_as_written_is_named_and_left_out(
    tmp_path: Path, column: str, value: object, why: str
) -> None:
    path = tmp_path / "s.sqlite"
    with Store(path, write=True) as store:
        good = [one for one in map(report, range(11)) if one.record.outcome != "invalid"]
        store.add([replace(one, record=replace(one.record, outcome="cleared")) for one in good], VERSIONS)
    _flipped(path, column, value)
    with Store(path) as store:
        found = list(store.damaged.values())
        assert [one.why for one in found] == (["is " + why] if why else [])
        assert len(store.done()) == (9 if why else 10)
        assert len(list(store.trials())) == (9 if why else 10)
        if why and column != "level":
            assert found[0].trial == "ledge, level 30, steady, repeat 5, truck a"


def test_empty_numbers_from_somewhere_else_are_told(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    with Store(path, write=True) as store:
        store.add([report(5)], VERSIONS)
    _flipped(path, "checksum", "")
    _flipped(path, "slip", None)
    with Store(path) as store:
        assert [one.why for one in store.damaged.values()] == ["has no slip"]


def test_a_motion_that_is_not_as_written_is_told(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    one = report()
    traced = replace(one, trace=fake_trial._trace())
    with Store(path, write=True) as store:
        store.add([traced], VERSIONS)
        store.insert("UPDATE trace SET npz = ?", [(b"x",)])
    key = one.task.key(VERSIONS)
    with Store(path) as store:
        assert store.damaged_traces() == [key]
        with pytest.raises(StoreError, match=f"{key}.*not what was written|not what was written.*{key}"):
            store.trace(key)


@pytest.mark.parametrize(
    ("column", "value"),
    [("name", "someone else"), ("facts", '{"mass_g": 9.0}'), ("facts", "{"), ("facts", "[" * 100_000)],
)
def test_a_truck_whose_description_is_damaged_is_shown_by_its_hash(
    tmp_path: Path, column: str, value: str
) -> None:
    path, new = tmp_path / "s.sqlite", tmp_path / "new.sqlite"
    with Store(path, write=True) as store:
        store.add_configurations([StoredTruck("a", "first", {"mass_g": 8.0}), StoredTruck("b", "second", {})])
        store.add([report()], VERSIONS)
        store.insert(f"UPDATE configuration SET {column} = ? WHERE hash = 'a'", [(value,)])  # noqa: S608
    with Store(path) as store:
        assert list(store.configurations()) == ["b"]
        assert compare(store).baseline.name == "a"
    found = inspect(path, new)
    assert found.bad
    assert len(found.descriptions) == 1
    with Store(new) as store:
        assert list(store.configurations()) == ["b"]
        assert store.count() == 1


@pytest.mark.parametrize("text", ["database disk image is malformed", "file is not a database"])
def test_damage_is_not_taken_for_a_full_disk(tmp_path: Path, text: str) -> None:
    with Store(tmp_path / "s.sqlite", write=True) as store:
        said = str(store._failed(sqlite3.DatabaseError(text)))
    assert "damaged" in said
    assert "Free some space" not in said


def test_what_is_good_of_a_damaged_store_is_copied(tmp_path: Path) -> None:
    path, new = tmp_path / "s.sqlite", tmp_path / "new.sqlite"
    with Store(path, write=True) as store:
        store.add_configurations([StoredTruck("a", "first", {})])
        store.add_plan("p", "plan", "text")
        store.add([report(r) for r in range(10)], VERSIONS)
    _flipped(path, "distance_mm", 1.0)
    found = inspect(path, new)
    assert (found.trials, len(found.damaged), found.rescued, found.undescribed) == (9, 1, 9, ())
    with Store(new) as store:
        assert store.count() == 9
        assert store.plans() == [("p", "plan", "text")]
        assert "first" in {truck.name for truck in store.configurations().values()}
    assert not inspect(new).bad
    with pytest.raises(StoreError, match="there already"):
        inspect(path, new)


def test_every_flipped_byte_of_the_rows_is_noticed(tmp_path: Path) -> None:
    """No byte of a stored trial can change without a word: every trial is as written, or named, or the file is."""
    path = tmp_path / "s.sqlite"
    with Store(path, write=True) as store:
        store.add([report(r) for r in range(12)], VERSIONS)
        whole = list(store.table())
    data = path.read_bytes()
    start = data.find(report().task.draw.text().encode())
    rng = np.random.default_rng(1)
    silent = 0
    for at in rng.integers(start - 200, len(data), 60):
        broken = bytearray(data)
        broken[at] ^= 1 << int(rng.integers(8))
        copy = tmp_path / "broken.sqlite"
        copy.write_bytes(broken)
        try:
            found = inspect(copy)
            if not found.bad:
                with Store(copy) as store:
                    silent += list(store.table()) != whole
        except StoreError:
            continue
    assert silent == 0

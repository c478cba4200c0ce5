"""The store: durable, resumable, and polite to files that are not its own."""

from __future__ import annotations

import math
import sqlite3
import subprocess
import sys
import threading
from dataclasses import astuple
from pathlib import Path

import fake_trial
import numpy as np
import pytest
from fake_trial import VERSIONS, FakeStudy, FakeTruck

from sim.errors import StoreError
from sim.store import schema
from sim.store.claims import Claims
from sim.store.store import Store, StoredTruck
from sim.trial.luck import Draw
from sim.trial.task import Report, Versions, record

STUDY = FakeStudy({"a": FakeTruck(30.0), "b": FakeTruck(33.0)}, bad=frozenset({3}))


def report(repeat: int = 0, config: str = "a", trace: bool = False) -> Report:
    task = fake_trial.task(config, repeat=repeat)
    task = task.__class__(**{**task.__dict__, "keep_trace": trace})
    result = fake_trial.perform(STUDY, task)
    return Report(task, record(result), result.trace, 0.5)


def test_what_is_added_is_found_again(tmp_path: Path) -> None:
    wanted = [report(r, c) for r in range(4) for c in "ab"]
    with Store(tmp_path / "s.sqlite", write=True) as store:
        assert store.add(wanted, VERSIONS) == 8
        assert store.add(wanted, VERSIONS) == 0
    with Store(tmp_path / "s.sqlite") as store:
        assert store.count() == 8
        got = {trial.key: trial for trial in store.trials()}
        for one in wanted:
            trial = got[one.task.key(VERSIONS)]
            assert trial.task == one.task
            assert str(trial.record) == str(one.record)  # text, because NaN is not equal to itself
        assert store.seconds_per_trial() == pytest.approx(0.5)


def test_not_finite_is_invalid_and_survives(tmp_path: Path) -> None:
    one = report(3)
    assert (one.record.outcome, one.record.reason) == ("invalid", "not a finite number")
    with Store(tmp_path / "s.sqlite", write=True) as store:
        store.add([one], VERSIONS)
        found = store.find(one.task.key(VERSIONS))
    assert found is not None
    assert math.isnan(found.min_margin_deg)
    assert found.time_s == one.record.time_s


def test_everything_that_matters_is_in_the_key() -> None:
    task = fake_trial.task()
    base = task.key(VERSIONS)
    others = [
        task.key(Versions("new code", "none")),
        task.key(Versions("fake", "new engine")),
        *(
            task.__class__(**{**task.__dict__, name: value}).key(VERSIONS)
            for name, value in {
                "config": "b",
                "obstacle": "climb",
                "level": 31.0,
                "yard": "200x40@10",
                "driver": "bold",
                "study_seed": 2,
                "repeat": 1,
                "draw": Draw(1, 2, 1, 1, None, (0, 0, 0), 1, 1),
            }.items()
        ),
    ]
    assert len({base, *others}) == len(others) + 1
    assert task.__class__(**{**task.__dict__, "level": 30}).key(VERSIONS) == base
    assert task.__class__(**{**task.__dict__, "keep_trace": True}).key(VERSIONS) == base


def test_traces_come_back_to_single_precision(tmp_path: Path) -> None:
    one = report(trace=True)
    with Store(tmp_path / "s.sqlite", write=True) as store:
        store.add([one, report(1)], VERSIONS)
        assert store.traced() == {one.task.key(VERSIONS)}
        back = store.trace(one.task.key(VERSIONS))
        assert store.trace("no such key") is None
    assert back is not None
    assert one.trace is not None
    assert back.interval == one.trace.interval
    np.testing.assert_allclose(back.margin, one.trace.margin, rtol=2**-23)


def test_configurations_and_plans_are_remembered(tmp_path: Path) -> None:
    nasty = 'x"; DROP TABLE trial; --<script>'
    with Store(tmp_path / "s.sqlite", write=True) as store:
        store.add_configurations([StoredTruck("h", "first", {}), StoredTruck("h", nasty, {"mass_g": 436.0})])
        store.add_plan("p", nasty, "text")
    with Store(tmp_path / "s.sqlite") as store:
        assert store.configurations() == {"h": StoredTruck("h", nasty, {"mass_g": 436.0})}
        assert store.plans() == [("p", nasty, "text")]


def test_settings_that_make_it_durable(tmp_path: Path) -> None:
    with Store(tmp_path / "s.sqlite", write=True) as store:
        ask = store._connection.execute
        assert ask("PRAGMA journal_mode").fetchone() == ("wal",)
        assert ask("PRAGMA synchronous").fetchone() == (2,)  # FULL


def _newer(path: Path) -> None:
    Store(path, write=True).close()
    connection = sqlite3.connect(path)
    connection.execute(f"PRAGMA user_version = {schema.VERSION + 1}")
    connection.execute("PRAGMA journal_mode = DELETE")
    connection.close()


def _cut(path: Path) -> None:
    with Store(path, write=True) as store:
        store.add([report(r) for r in range(50)], VERSIONS)
    path.write_bytes(path.read_bytes()[:-5000])


def _foreign(path: Path) -> None:
    connection = sqlite3.connect(path)
    connection.execute("CREATE TABLE mine (x)")
    connection.close()


@pytest.mark.parametrize(
    ("spoil", "message"),
    [
        (_newer, "newer"),
        (_cut, "cut short"),
        (_foreign, "not a store of"),
        (lambda path: path.write_text("a,b\n1,2\n"), "not a store"),
        (lambda path: path.write_bytes(b"SQLite format 3\0" + b"\0" * 20), "not a store"),
    ],
)
@pytest.mark.parametrize("write", [True, False])
def test_other_files_are_refused_and_untouched(tmp_path: Path, spoil, message: str, write: bool) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "s.sqlite"
    spoil(path)
    before = path.read_bytes()
    with pytest.raises(StoreError, match=message) as caught:
        Store(path, write=write)
    assert "s.sqlite" in str(caught.value)
    assert path.read_bytes() == before


def test_a_reader_that_leaves_early_is_silent(tmp_path: Path) -> None:
    store = Store(tmp_path / "s.sqlite", write=True)
    rows = store.select("SELECT 1 UNION SELECT 2")
    assert next(rows) == (1,)
    store.close()
    rows.close()  # type: ignore[attr-defined]


def test_damage_inside_is_told(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    with Store(path, write=True) as store:
        store.add([report(r) for r in range(200)], VERSIONS)
    data = bytearray(path.read_bytes())
    data[4096:] = b"\xff" * (len(data) - 4096)
    path.write_bytes(data)
    with pytest.raises(StoreError, match=r"malformed|not a database|corrupt|damaged"), Store(path) as store:
        list(store.trials())


def test_missing_store_and_folder(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="no such store"):
        Store(tmp_path / "none.sqlite")
    with pytest.raises(StoreError, match="not a place"):
        Store(tmp_path / "no" / "s.sqlite", write=True)
    with pytest.raises(StoreError, match="not a place"):
        Store(tmp_path, write=True)


@pytest.mark.parametrize("write", [True, False])
def test_older_store_is_brought_up_to_date(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, write: bool) -> None:
    path = tmp_path / "s.sqlite"
    with monkeypatch.context() as patch:
        patch.setattr(schema, "MIGRATIONS", schema.MIGRATIONS[:1])
        patch.setattr(schema, "VERSION", 1)
        with Store(path, write=True) as store:
            one = report()
            where = (one.task.obstacle, one.task.level, one.task.yard, one.task.driver, 1, one.task.repeat)
            row = ("key", one.task.config, *where, one.task.draw.text(), "code", "engine", *astuple(one.record), 1.0,
                   2.0)
            store.insert(f"INSERT INTO trial VALUES ({', '.join('?' * len(row))})", [row])  # noqa: S608
    with Store(path, write=write) as store:
        assert store.count() == 1
        assert not store.damaged
        assert [trial.key for trial in store.trials()] == ["key"]
        assert store.plans() == []


def test_a_failed_upgrade_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "s.sqlite"
    with Store(path, write=True) as store:
        store.add([report()], VERSIONS)
    with monkeypatch.context() as patch:
        patch.setattr(schema, "MIGRATIONS", (*schema.MIGRATIONS, ("CREATE TABLE extra (x)", "nonsense")))
        patch.setattr(schema, "VERSION", schema.VERSION + 1)
        with pytest.raises(StoreError, match="nonsense"):
            Store(path, write=True)
    with Store(path) as store:
        assert store.count() == 1


def test_two_writers_at_once(tmp_path: Path) -> None:
    """Two batches over overlapping tasks: every trial once, none lost, creation included."""
    path = tmp_path / "s.sqlite"
    failures: list[Exception] = []

    def write(start: int) -> None:
        try:
            with Store(path, write=True) as store:
                for repeat in range(start, start + 40):
                    store.add([report(repeat)], VERSIONS)
        except Exception as error:
            failures.append(error)

    threads = [threading.Thread(target=write, args=(start,)) for start in (0, 20, 10)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not failures
    with Store(path) as store:
        assert sorted(trial.task.repeat for trial in store.trials()) == list(range(60))


def test_unknown_column(tmp_path: Path) -> None:
    with Store(tmp_path / "s.sqlite", write=True) as store, pytest.raises(StoreError, match="no such column"):
        list(store.table(["key", "1; DROP TABLE trial"]))


def test_claims_keep_two_batches_apart_and_end(tmp_path: Path) -> None:
    with Store(tmp_path / "s.sqlite", write=True) as store:
        first, second = Claims(store), Claims(store, lease_s=-1.0)
        assert first.take(["x", "y"]) == {"x", "y"}
        assert second.take(["x", "z"]) == {"z"}
        assert first.take(["z"]) == {"z"}  # the second's lease ran out at once
        first.release(["x"])
        assert second.take(["x"]) == {"x"}
        one = report()
        key = one.task.key(VERSIONS)
        store.add([one], VERSIONS)
        assert first.take([key]) == set()  # it is stored: there is nothing to claim
        first.close()
        second.close()
        assert not list(store.select("SELECT * FROM claim"))


def test_a_claim_of_a_process_that_is_gone_is_void(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    code = (
        "import sys\nfrom sim.store.store import Store\nfrom sim.store.claims import Claims\n"
        "store = Store(sys.argv[1], write=True)\nClaims(store).take(['x'])\n"
    )
    subprocess.run([sys.executable, "-c", code, str(path)], check=True)
    with Store(path, write=True) as store:
        assert len(list(store.select("SELECT * FROM claim"))) == 1
        assert Claims(store).take(["x"]) == {"x"}

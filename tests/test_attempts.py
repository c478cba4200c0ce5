"""Logs of real attempts: TOML and CSV in, checks with causes, the store, and how little few tries say."""

from __future__ import annotations

import datetime
import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from models import scenario
from models.errors import BuildSheetError
from sim.errors import SimError
from sim.reality.attempt_file import STARTER, LogError
from sim.reality.attempt_log import Attempt, add_attempts, logged, read_log
from sim.reality.observed import how_little, tried, tries_for
from sim.store.store import Store

HEAD = """\
schema = 1
date = 2026-11-22
driver = "me"
[[configuration]]
name = "as it is"
build = "x.toml"
[[line]]
name = "step"
obstacle = "ledge-on-slope:24,slope=15"
surface = "Slate,  dry"
"""


def log_of(tmp_path: Path, text: str, name: str = "day.toml") -> Path:
    file = tmp_path / name
    file.write_text(text, encoding="utf-8")
    return file


def fault(tmp_path: Path, attempt: str, head: str = HEAD) -> str:
    with pytest.raises((LogError, ValueError)) as caught:
        read_log(log_of(tmp_path, f"{head}[[attempt]]\n{attempt}\n"))
    return str(caught.value)


GOOD = 'line = "step"\nconfiguration = "as it is"\n'


def test_a_day_reads_as_written(tmp_path: Path) -> None:
    tries = 'tries = ["cleared", "stuck: tyres slipped", "void: servo broke"]\nvideo = "3:12"\n'
    text = f"{HEAD}[[attempt]]\n{GOOD}{tries}"
    log = read_log(log_of(tmp_path, text))
    first, second, third = log.attempts
    assert (first.obstacle, first.level, first.surface) == ("ledge-on-slope,slope_deg=15", 24.0, "slate, dry")
    assert first.cleared
    assert (second.outcome, second.reason, second.day, second.video) == ("stuck", "tyres slipped", "2026-11-22", "3:12")
    assert not third.counts


def test_free_reasons_are_kept(tmp_path: Path) -> None:
    log = read_log(log_of(tmp_path, HEAD + f'[[attempt]]\n{GOOD}outcome = "slid"\nreason = "sand on the slab"\n'))
    assert log.attempts[0].reason == "sand on the slab"


@pytest.mark.parametrize(
    ("attempt", "told"),
    [
        ('line = "stepp"\nconfiguration = "as it is"\noutcome = "cleared"', 'Did you mean "step"'),
        ('line = "step"\nconfiguration = "as is"\noutcome = "cleared"', 'Did you mean "as it is"'),
        ('line = "step"\nconfiguration = "brass"\noutcome = "cleared"', "Known: as it is"),
        (GOOD + 'outcome = "clear"', 'Did you mean "cleared"'),
        (GOOD + 'outcome = "tipped back"', 'write "rolled: tipped back"'),
        (GOOD + 'outcome = "stuck: tipped back"', 'reason for "rolled"'),
        (GOOD, "tries = ["),
        (GOOD + 'outcome = "cleared"\nvideo = "3m12"', "minutes:seconds"),
        (GOOD + 'outcome = "cleared"\ndate = "22.11.2026"', "year-month-day"),
        (GOOD + 'outcome = "cleared"\nwether = "dry"', "weather"),
        (GOOD + "outcome = 3", "outcome"),
    ],
)
def test_bad_tries_tell_their_cause(tmp_path: Path, attempt: str, told: str) -> None:
    text = fault(tmp_path, attempt)
    assert told in text
    assert "day.toml" in text


def test_lines_and_files_that_cannot_be(tmp_path: Path) -> None:
    good = GOOD + 'outcome = "cleared"'
    assert "no such obstacle family" in fault(tmp_path, good, HEAD.replace("ledge-on-slope", "legde-on-slope"))
    twice = HEAD + '[[line]]\nname = "step"\nobstacle = "ledge:20"\nsurface = "rock"\n'
    assert "same name" in fault(tmp_path, good, twice)
    with pytest.raises(LogError, match="no tries"):
        read_log(log_of(tmp_path, HEAD))


def test_csv_from_a_phone(tmp_path: Path) -> None:
    text = (
        "# notes above the header are skipped\n"
        "Line;Obstacle;Surface;Configuration;Outcome;Video\r\n"
        "step;ledge:24;slate, dry;as it is;cleared;0:42\r\n"
        "step;;;as it is;stuck: tyres slipped;\r\n"
        "\r\n"
    )
    log = read_log(log_of(tmp_path, "\ufeff" + text, "day.csv"), known=["as it is"])
    assert [a.outcome for a in log.attempts] == ["cleared", "stuck"]
    assert log.attempts[0].surface == "slate, dry"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "is empty"),
        ("line,config,outcome\n", "Did you mean configuration"),
        ("line,outcome\n", "no column configuration"),
        ("line,configuration,outcome\nstep,a\n", "row 2: has no outcome"),
        ("line,configuration,outcome\nstep,a,cleared,more\n", "more cells"),
        ("line,configuration,outcome\nstep,a,cleared\n", "Describe it under"),
        ("line,obstacle,configuration,outcome\ns,ledge:20,a,cleared\ns,ledge:30,a,cleared\n", "another obstacle"),
    ],
)
def test_bad_csv(tmp_path: Path, text: str, told: str) -> None:
    with pytest.raises(LogError, match=told):
        read_log(log_of(tmp_path, text, "day.csv"), known=["a"])


def test_csv_that_is_no_text(tmp_path: Path) -> None:
    file = tmp_path / "day.csv"
    file.write_bytes(b"\xff\xfe\x00line")
    with pytest.raises(LogError, match="UTF-8"):
        read_log(file)


def test_csv_beside_a_day_file(tmp_path: Path) -> None:
    day = log_of(tmp_path, HEAD)
    rows = log_of(tmp_path, "line,configuration,outcome\nstep,as it is,cleared\n", "runs.csv")
    log = read_log(rows, day)
    assert log.attempts[0].driver == "me"
    assert [truck.name for truck in log.trucks] == ["as it is"]


def test_the_store_keeps_each_try_once(tmp_path: Path) -> None:
    one = Attempt("2026-11-22", "step", "ledge", 24.0, "slate", "a", "me", "cleared", "")
    other = Attempt("2026-11-22", "step", "ledge", 24.0, "slate", "a", "me", "stuck", "tyres slipped")
    path = tmp_path / "s.sqlite"
    with Store(path, write=True) as store:
        # Three equal tries are three tries; the same file again is none.
        assert add_attempts(store, [one, one, other, one], {"a": "hash"}) == 4
        assert add_attempts(store, [one, one, other, one], {"a": "hash"}) == 0
    with Store(path) as store:
        cells = tried(logged(store))
    assert [(c.successes, c.tries, c.config) for c in cells] == [(3, 4, "hash")]


def test_an_older_store_gains_the_table(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from sim.store import schema

    path = tmp_path / "old.sqlite"
    with monkeypatch.context() as patch:
        patch.setattr(schema, "MIGRATIONS", schema.MIGRATIONS[:2])
        patch.setattr(schema, "VERSION", 2)
        Store(path, write=True).close()
    with Store(path, write=True) as store:
        assert logged(store) == []


def test_several_people_must_be_told_apart() -> None:
    from sim.reality.attempt_log import Logged

    tries = [Logged("h", Attempt("", "step", "ledge", 24.0, "slate", "a", who, "cleared", "")) for who in ("x", "y")]
    with pytest.raises(SimError, match="Choose one of: x, y"):
        tried(tries)
    assert len(tried(tries, "x")) == 1
    with pytest.raises(SimError, match="nobody of that name"):
        tried(tries, "z")


def test_how_little_three_tries_say() -> None:
    from sim.statistics.interval import wilson

    # Wilson 3 of 3: 3 / (3 + 1.96^2) = .4385 to 1.
    assert how_little(wilson(3, 3)) == "3 of 3 says next to nothing: anything from 44 % to 100 % of tries would fit"
    assert "little" in how_little(wilson(4, 5))
    assert "well known" in how_little(wilson(480, 500))
    # n = z^2 / (4 d^2): 96 for 10 points, 24 for 20 (any textbook).
    assert (tries_for(0.1), tries_for(0.2)) == (96, 24)


def test_the_starter_reads_once_its_build_is_there(tmp_path: Path) -> None:
    log = read_log(log_of(tmp_path, STARTER))
    assert [a.outcome for a in log.attempts] == ["cleared", "stuck", "cleared"]


def test_the_starter_table_reads(tmp_path: Path) -> None:
    from sim.reality.attempt_file import STARTER_ROWS

    log = read_log(log_of(tmp_path, STARTER_ROWS, "day.csv"), known=["as it is"])
    assert [(a.outcome, a.level) for a in log.attempts] == [("cleared", 24.0), ("stuck", 24.0)]


def test_the_invented_day_is_marked(tmp_path: Path) -> None:
    log = read_log(scenario.DATA / "runs" / "gundi.toml")
    assert all(a.simulated for a in log.attempts)
    assert len(log.attempts) == 72


CELLS = st.sampled_from([
    "step", "ledge:24", "as it is", "cleared", "stuck: tyres slipped", "x" * 300,
    '"', ",", ";", "\n", "line", "outcome",
    "configuration", "obstacle", "\x00", "#", "3:12", "\t",
])  # fmt: skip


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=st.lists(st.lists(CELLS, max_size=5), max_size=5), head=st.booleans())
def test_no_table_breaks_the_reader(tmp_path: Path, rows: list[list[str]], head: bool) -> None:
    text = "\n".join(",".join(row) for row in rows)
    file = tmp_path / "day.csv"
    file.write_text(("line,configuration,outcome,obstacle\n" if head else "") + text, encoding="utf-8")
    try:
        log = read_log(file, known=["as it is"])
    except (SimError, BuildSheetError):
        return
    assert log.attempts


@pytest.mark.parametrize("name", ["day.toml", "day.csv"])
def test_a_new_log_is_of_today(tmp_path: Path, name: str) -> None:
    from sim.cli.main import main

    file = tmp_path / name
    before = datetime.date.today().isoformat()
    with pytest.raises(SystemExit) as end:
        main(["log", "new", str(file)])
    assert end.value.code == 0
    days = set(re.findall(r"20\d\d-\d\d-\d\d", file.read_text(encoding="utf-8")))
    assert len(days) == 1
    assert before <= days.pop() <= datetime.date.today().isoformat()

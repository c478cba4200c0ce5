"""Decisions asked on the page: begun, watched half way, answered in the command's words, tables sorted by click."""

from __future__ import annotations

import json
import re
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import made_store
import pytest
from page_hand import Hand, no_faults, wait_long
from page_server import Served, served
from PIL import Image
from stand_in import path_of
from test_browser import pytestmark as pytestmark
from test_browser import wait
from test_page_browser import axe, with_truck

from sim.chart.share import SIZES
from sim.page.run_state import RunState

POLL_S = 2.0
"""Between two looks of the page at a run."""
CHANGES = ("battery-forward", "front-wheel-rings")


@dataclass
class Bench:
    """A served folder whose trials are stand-ins."""

    page: Served
    folder: Path
    gate: Path


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    folder, own = with_truck(tmp_path_factory.mktemp("decision")), tmp_path_factory.mktemp("path")
    with served(folder, environment=path_of(own)) as running:
        yield Bench(running, folder, own / "gate")


def ask(hand: Hand, bench: Bench, kind: str) -> None:
    """Tick two changes and a kind of ground, and press the question's button."""
    changes = "&".join(f"change=changes/gundi/{one}.toml" for one in CHANGES)
    hand.driver.get(f"{bench.page.link}question?sheet=gundi.toml&family=climb&{changes}")
    hand.click("details summary")
    hand.click(f"button[value={kind}]")
    wait(lambda: hand.count("#standing"))


def answered(hand: Hand) -> str:
    """Wait for the end; returns what is said first."""
    stage = wait_long(lambda: hand.value("#standing", "data-running") == "no" and hand.value("#standing", "data-stage"))
    assert stage == "done", hand.text("#run")
    return wait(lambda: hand.text(".verdict"))  # type: ignore[no-any-return]


def column(hand: Hand, number: int) -> list[Any]:
    """What a column is sorted by, from top to bottom."""
    found = hand.ask("[...document.querySelectorAll('.sortable tbody tr')].map((row) => row.cells[arguments[0]])"
                     ".map((cell) => cell.dataset.value ?? cell.textContent.trim())", number)
    try:
        return [float(one) for one in found]
    except ValueError:
        return list(found)


def sort_by(hand: Hand, number: int) -> str:
    """Press a column's head; returns what the head says of its order."""
    hand.click(f".sortable thead th:nth-child({number + 1}) button")
    return hand.value(f".sortable thead th:nth-child({number + 1})", "aria-sort")


def sorts(hand: Hand, number: int) -> None:
    """A column's head sorts the rows down, then up, as numbers where they are numbers; no row is lost."""
    before = column(hand, number)
    assert sort_by(hand, number) == "descending"
    key = (lambda one: one) if isinstance(before[0], float) else str.lower
    assert column(hand, number) == sorted(before, key=key, reverse=True)
    assert hand.count(".sortable thead [aria-sort]") == 1
    assert sort_by(hand, number) == "ascending"
    assert column(hand, number) == sorted(before, key=key)


def test_doubt_is_begun_watched_and_answered(hand: Hand, bench: Bench) -> None:
    bench.gate.touch()
    ask(hand, bench, "doubt")
    wait(lambda: re.search(r"At work: [1-9]\d* trials so far", hand.text("#where")))
    assert hand.value("#standing", "data-running") == "yes"
    hand.driver.get("about:blank")  # closing the page stops nothing
    bench.gate.unlink()
    hand.driver.get(bench.page.link + "question")
    hand.click("li a[href*='gundi-doubt']")
    said = answered(hand)
    assert hand.text("h1") == "gundi: could what is not known flip it? battery forward, weighted front wheel rings"
    state = json.loads((bench.folder / ".cragbench-page" / "run-gundi-doubt.json").read_text(encoding="utf-8"))
    assert said == state["result"]["sentence"]
    # All that the command says under its table: the finding, its intervals, what being wrong costs.
    shown = hand.ask("[...document.querySelectorAll('.verdict')].map((one) => one.textContent)")
    assert shown == state["result"]["sentences"]
    assert len(shown) == 3
    assert "Expected regret of doing it" in shown[2]
    assert state["done"] == state["result"]["trials"] > 100
    assert column(hand, 0) == [one["name"] for one in state["result"]["influences"]]
    sorts(hand, 3)  # decides
    sorts(hand, 0)
    assert axe(hand) == []
    no_faults(hand)


def recorded(bench: Bench, kind: str) -> RunState:
    """A finished run with an answer on record; the file says by which command."""
    told = json.loads((Path(__file__).parent / f"{kind}_answer.json").read_text(encoding="utf-8"))
    state = RunState(f"gundi-{kind}", kind, {"build": "gundi.toml"}, "done", result=told)  # type: ignore[arg-type]
    (bench.folder / ".cragbench-page").mkdir(exist_ok=True)
    state.write(bench.folder / ".cragbench-page" / f"run-gundi-{kind}.json")
    return state


@pytest.mark.parametrize("kind", ["worth", "budget"])
def test_tables_are_sorted_by_click_and_stay_so(hand: Hand, bench: Bench, kind: str) -> None:
    hand.driver.get(f"{bench.page.link}question/run?run={recorded(bench, kind).name}")
    assert answered(hand)
    heads = hand.ask("[...document.querySelectorAll('.sortable thead th')].map((one) => one.textContent.trim())")
    assert hand.count(".sortable tbody tr") >= 2
    for number in range(len(heads)):
        sorts(hand, number)
    gain = heads.index("alone" if kind == "worth" else "gain")
    sort_by(hand, gain)
    down = column(hand, gain)
    assert down == sorted(down, reverse=True)
    time.sleep(2.5 * POLL_S)  # the page looks at its run again: neither the order nor the focus is lost
    assert column(hand, gain) == down
    assert hand.ask("document.activeElement.closest('th')?.getAttribute('aria-sort')") == "descending"
    hand.press("\ue007")  # Enter: the head is a button
    wait(lambda: column(hand, gain) == down[::-1])
    no_faults(hand)


def test_the_picture_to_share_is_the_reports_own(bench: Bench) -> None:
    made_store.make(bench.folder / "s.sqlite", repeats=3, places=[("ledge", 20.0)])
    for shape, size in SIZES.items():
        status, headers, _ = bench.page.ask(f"/answer/share.png?store=s.sqlite&shape={shape}")
        assert (status, headers["content-type"]) == (200, "image/png")
        with Image.open(bench.folder / "s-data" / f"share-{shape}.png") as picture:
            assert picture.size == size
            assert int(headers["content-length"]) == (bench.folder / "s-data" / f"share-{shape}.png").stat().st_size
    assert "wide, square" in bench.page.ask("/answer/share.png?store=s.sqlite&shape=round")[2]

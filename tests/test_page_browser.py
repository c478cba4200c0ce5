"""The page in a real browser: every screen on small and large displays, by mouse, finger and keyboard, offline."""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from page_hand import Hand, no_faults, wait_long
from page_server import Served, served
from test_browser import pytestmark, requests, wait  # noqa: F401  (the marks hold here too)

from models.scenario import DATA, builds
from models.scenario import changes as scenario_changes

SCREENS = {
    "bench": "", "truck": "truck?sheet=gundi.toml", "question": "question?sheet=gundi.toml", "answer": "answer",
    "log": "log", "ground": "ground",
    "scale": "scale?sheet=gundi.toml", "fit": "scale/fit?sheet=gundi.toml&readings=readings/gundi.toml",
    "drilling": "answer/drilling?sheet=gundi.toml&change=changes/gundi/battery-forward.toml",
}
WIDTHS = (1280, 768, 360)


def with_truck(folder: Path) -> Path:
    (folder / "changes" / "gundi").mkdir(parents=True)
    (folder / "readings").mkdir()
    shutil.copy(builds()[0], folder / "gundi.toml")
    shutil.copy(DATA / "readings" / "gundi.toml", folder / "readings" / "gundi.toml")
    for file in scenario_changes(builds()[0]):
        shutil.copy(file, folder / "changes" / "gundi" / file.name)
    return folder


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return with_truck(tmp_path_factory.mktemp("page"))


@pytest.fixture(scope="module")
def page(folder: Path) -> Iterator[Served]:
    with served(folder) as running:
        yield running


@pytest.fixture
def sheet(folder: Path, page: Served, request: pytest.FixtureRequest) -> str:
    """Address of a truck that nobody else works on."""
    name = f"{request.node.name}.toml"
    shutil.copy(builds()[0], folder / name)
    return f"{page.link}truck?sheet={name}"


def axe(hand: Hand, rules: str = "{}") -> list[Any]:
    """What the accessibility rules find in the page as it is."""
    from axe_core_python.selenium import Axe

    if not hand.ask("Boolean(window.axe)"):
        hand.driver.execute_script(Axe().axe_script)
    found = hand.driver.execute_async_script(
        f"const done = arguments[0]; axe.run(document, {rules}).then((told) => done(told.violations))")
    return [(one["id"], [node["target"] for node in one["nodes"]][:3]) for one in found]


def test_moves_by_keyboard_alone(hand: Hand, sheet: str) -> None:
    from selenium.webdriver.common.keys import Keys

    hand.driver.get(sheet)
    start = hand.place()
    hand.tab_to("#side-battery")
    pressed = (((Keys.ARROW_RIGHT,), (1, 0)), ((Keys.ARROW_UP,), (0, 1)), ((Keys.SHIFT, Keys.ARROW_LEFT), (-10, 0)))
    for keys, by in pressed:
        was = hand.place()
        hand.press(*keys)
        wait(lambda was=was: hand.place() != was)
        assert hand.place()[0] - was[0] == pytest.approx(by[0])
        assert hand.place()[2] - was[2] == pytest.approx(by[1], abs=0.51)  # snaps from 55.5 to a whole millimetre
        assert hand.ask("document.activeElement.id") == "side-battery"
    for _ in range(3):
        was = hand.place()
        hand.driver.execute_script("document.getElementById('undo').focus()")
        hand.press(Keys.ENTER)
        wait(lambda was=was: hand.place() != was)
    assert hand.place() == start
    no_faults(hand)


def test_moves_by_touch(hand: Hand, sheet: str) -> None:
    hand.screen(360, 740)
    hand.driver.get(sheet)
    start = hand.place()
    hand.driver.execute_script("document.getElementById('side-battery').scrollIntoView({block: 'center'})")
    x, y = hand.ask("(({x, y, width, height}) => [x + width / 2, y + height / 2])"
                    "(document.getElementById('side-battery').getBoundingClientRect())")
    touch = [("touchStart", 0), *(("touchMove", step) for step in range(3, 31, 3)), ("touchEnd", None)]
    for kind, step in touch:
        points = [] if step is None else [{"x": x + step, "y": y}]
        hand.driver.execute_cdp_cmd("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    wait(lambda: hand.place()[0] > start[0] + 5)


def test_two_windows_do_not_lose_work(hand: Hand, page: Served, sheet: str) -> None:
    name = sheet.rpartition("=")[2]
    hand.driver.get(sheet)
    start = hand.place()
    page.ask("/truck/move", {"sheet": name, "part": "battery", "by_x": "3", "by_y": "0", "by_z": "0",
                             "keep": "yes"})  # the other window
    wait(lambda: hand.place()[0] == start[0] + 3)  # this one follows


def test_leaving_unsaved_work_warns(hand: Hand, page: Served, sheet: str) -> None:
    # The driver answers the browser's own question by itself; whether the page has it asked is seen at the event.
    asks = ("(() => { const e = new Event('beforeunload', {cancelable: true}); dispatchEvent(e); "
            "return e.defaultPrevented; })()")
    hand.driver.get(sheet)
    assert not hand.ask(asks)
    hand.pull("#side-battery", (20, 0))
    hand.says("#saved-state", "Not saved")
    assert hand.ask(asks)
    page.ask("/truck/history", {"sheet": sheet.rpartition("=")[2], "way": "undo"})
    hand.says("#saved-state", "As in the file")
    assert not hand.ask(asks)


@pytest.mark.parametrize("screen", SCREENS)
def test_every_screen_fits_and_can_be_used_by_everybody(hand: Hand, page: Served, screen: str) -> None:
    hand.driver.get(page.link + SCREENS[screen])
    if screen == "truck":
        hand.driver.execute_script("document.getElementById('known').open = true")
        wait(lambda: hand.count("#known-list table"))
    for width in WIDTHS:
        hand.screen(width)
        wide, seen = hand.ask("[document.documentElement.scrollWidth, innerWidth]")
        assert wide <= seen == width
        assert axe(hand) == [], width
        hand.scheme("dark")  # other colours, else the same page
        assert axe(hand, "{runOnly: ['color-contrast']}") == [], width
        hand.scheme("light")
    no_faults(hand)


def test_a_truck_is_weighed_on_the_page(hand: Hand, folder: Path, page: Served) -> None:
    hand.driver.get(page.link + "scale?sheet=gundi.toml")
    for key, text in (("whole", "338 g, 337 g"), ("axle-front", "176 g"), ("axle-rear", "16 blobs")):
        hand.find(f"#r-{key}").send_keys(text)
    hand.click("#fit")
    hand.says("#message", "blobs")
    assert hand.ask("document.getElementById('r-whole').value") == "338 g, 337 g"  # nothing typed is lost
    found = hand.find("#r-axle-rear")
    found.clear()
    found.send_keys("161 g")
    hand.click("#fit")
    hand.says("#known-now", "Now known")
    hand.click("#write")
    hand.says("h1", "Gundi, fitted")
    assert (folder / "gundi-fitted.toml").exists()
    no_faults(hand)


def test_a_scan_is_sent_and_asked_about(hand: Hand, folder: Path, page: Served, tmp_path: Path) -> None:
    import trimesh

    scan, rubbish = tmp_path / "step.stl", tmp_path / "rock.stl"
    trimesh.creation.box((900.0, 400.0, 30.0)).export(scan)
    rubbish.write_bytes(b"solid rubbish")
    hand.driver.get(page.link + "ground")
    hand.find("#g-scan").send_keys(str(rubbish))
    hand.find("#g-name").send_keys("step")
    hand.click("form[action$='ground/bring'] button.main")
    hand.says("#message", "rock.stl")
    assert hand.ask("document.getElementById('g-name').value") == "step"
    hand.find("#g-scan").send_keys(str(scan))
    hand.click("form[action$='ground/bring'] button.main")
    hand.says("#told", "triangles: 12")
    hand.click(".cards .button")
    assert hand.ask("document.querySelector(arguments[0]).checked", "input[value='ground/step.ground.npz']")
    no_faults(hand)


def test_asks_nobody_but_its_own_server(hand: Hand, page: Served) -> None:
    for screen in SCREENS.values():
        hand.driver.get(page.link + screen)
    assert [url for url in requests(hand.driver)
            if not url.startswith((page.link, "data:", "chrome:", "about:"))] == []


def test_says_so_when_the_server_is_gone(hand: Hand, tmp_path: Path) -> None:
    folder = with_truck(tmp_path)
    with served(folder) as running:
        hand.driver.get(running.link + "truck?sheet=gundi.toml")
        hand.pull("#side-battery", (20, 0))
        hand.says("#saved-state", "Not saved")
        moved = hand.place()
        running.kill()
        hand.pull("#side-battery", (20, 0))
        hand.says("#message", "cragbench page")
    with served(folder) as running:
        hand.driver.execute_script("document.getElementById('headline').dataset.unsaved = 'no'")
        hand.driver.get(running.link + "truck?sheet=gundi.toml")
        assert hand.place() == moved
        assert "earlier session" in hand.text(".notice")


def test_tries_are_entered_on_a_phone(hand: Hand, folder: Path, page: Served, tmp_path: Path) -> None:
    from PIL import Image

    from sim.reality.attempt_log import read_log

    photo = tmp_path / "photo.jpg"
    Image.new("RGB", (900, 600), "tan").save(photo)
    hand.screen(360, 740)
    hand.driver.get(page.link + "log")
    hand.click("form[action$='log/truck'] button")
    wait(lambda: hand.count("#t-name[value='']"))  # the page that knows the truck
    hand.find("#n-name").send_keys("step by the oak")
    hand.find("#n-level").send_keys("24,5")
    hand.click("form[action$='log/line'] button")
    hand.find("#l-photo").send_keys(str(photo))
    hand.click("button[value=stuck]")
    wait(lambda: hand.count("ol li") == 1)
    hand.click("button[value=cleared]")
    wait(lambda: hand.count("ol li") == 2)
    hand.click("form[action$='log/store'] button")
    # Said by the page that comes after it is done: a file alone would be seen while the browser still loads.
    hand.says(".notice", "log/rock.sqlite")
    assert (folder / "log" / "rock.sqlite").exists()
    log = read_log(next((folder / "log").glob("2*.toml")))
    assert [one.outcome for one in log.attempts] == ["stuck", "cleared"]
    assert [one.level for one in log.attempts] == [24.5, 24.5]
    kept = list((folder / "log" / "photos").glob("*.jpg"))
    assert len(kept) == 1
    assert kept[0].name in log.attempts[0].note
    hand.click("#reality")
    assert wait_long(lambda: hand.value("#standing", "data-running") == "no" and
                     hand.value("#standing", "data-stage")) == "done", hand.text("#run")
    assert len(hand.text(".verdict")) > 20
    row = hand.ask("[...document.querySelector('tbody tr').cells].map((cell) => cell.textContent)")
    assert [row[0], *row[1:3], row[4]] == ["ledge", "1", "2", "50"]
    assert 0 <= float(row[3]) <= 100  # what trials foretell of a ledge of 24.5 mm
    no_faults(hand)


def test_a_run_is_stopped_and_gone_on_with(hand: Hand, folder: Path, page: Served) -> None:
    (folder / "plan.toml").write_text(
        'schema = 1\nname = "a night"\nrepeats = 400\n[[configuration]]\nname = "as it is"\nbuild = "gundi.toml"\n'
        '[[obstacle]]\nfamily = "ledge"\nlevels = [20]\n', encoding="utf-8")
    hand.driver.get(page.link + "question")
    hand.click("form:has(input[name=plan][value='plan.toml']) button")
    wait_long(lambda: re.match(r"[1-9]\d* of 400", hand.text("#where")))
    hand.click("#stop")
    wait_long(lambda: hand.value("#standing", "data-stage") == "stopped")
    state = _state(folder)
    assert 0 < state["done"] < 400
    hand.click("#go-on")
    wait_long(lambda: _state(folder)["known"] >= state["done"])
    wait_long(lambda: re.match(r"\d+ of 400", hand.text("#where")))
    hand.click("#stop")
    wait_long(lambda: hand.value("#standing", "data-stage") == "stopped")
    with pytest.raises(ProcessLookupError):
        os.kill(int(state["pid"]), signal.SIG_DFL)


def _state(folder: Path) -> Any:
    return json.loads(next((folder / ".cragbench-page").glob("run-plan*.json")).read_text(encoding="utf-8"))

"""The page in a real browser: the whole story, by mouse and by keyboard alone, on small and large screens, offline."""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from page_server import Served, served
from test_browser import BROWSER, DRIVER, browser, requests, wait

from models.scenario import builds
from models.scenario import changes as scenario_changes

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(
        BROWSER is None or DRIVER is None,
        reason="needs the programs chromium and chromedriver (Debian: apt-get install chromium chromium-driver)",
    ),
    # The driver's own connections are closed when it quits, some after the test that used them.
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
    pytest.mark.filterwarnings("ignore::ResourceWarning"),
]
LONG = 900.0
"""s for a run that takes one on an idle machine: the first compiles, and the machine may be busy."""
SCREENS = ("", "truck?sheet=gundi.toml", "question?sheet=gundi.toml", "answer", "log",
           "answer/drilling?sheet=gundi.toml&change=changes/gundi/battery-forward.toml")


class Hand:
    """A browser that counts how often it clicks."""

    def __init__(self, driver: Any) -> None:
        self.driver, self.clicks = driver, 0

    def find(self, selector: str) -> Any:
        return wait(lambda: (self.driver.find_elements("css selector", selector) or [None])[0])

    def click(self, selector: str) -> None:
        found = self.find(selector)
        self.driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", found)
        wait(lambda: _clicked(found))
        self.clicks += 1

    def pull(self, selector: str, by: tuple[int, int]) -> None:
        from selenium.webdriver import ActionChains

        found = self.find(selector)
        self.driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", found)
        chain = ActionChains(self.driver, duration=30).click_and_hold(found)
        for _ in range(10):
            chain = chain.move_by_offset(by[0] / 10, by[1] / 10)
        chain.release().perform()
        self.clicks += 1

    def place(self) -> tuple[float, float, float]:
        found = self.find("#side-battery")
        return tuple(float(found.get_attribute(f"data-{axis}")) for axis in "xyz")  # type: ignore[return-value]


def _clicked(found: Any) -> bool:
    from selenium.common.exceptions import WebDriverException

    try:
        found.click()
    except WebDriverException:
        return False
    return True


def with_truck(folder: Path) -> Path:
    (folder / "changes" / "gundi").mkdir(parents=True)
    shutil.copy(builds()[0], folder / "gundi.toml")
    for file in scenario_changes(builds()[0]):
        shutil.copy(file, folder / "changes" / "gundi" / file.name)
    return folder


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(with_truck(tmp_path_factory.mktemp("page"))) as running:
        yield running


@pytest.fixture
def hand(tmp_path: Path) -> Iterator[Hand]:
    driver = browser(tmp_path / "profile")
    driver.set_script_timeout(240)
    requests(driver)
    yield Hand(driver)
    driver.quit()


def no_faults(driver: Any) -> None:
    """No error, and nothing refused by the content security policy, was written to the console."""
    assert [entry["message"] for entry in driver.get_log("browser") if entry["level"] == "SEVERE"] == []


def axe(driver: Any) -> list[Any]:
    from axe_core_python.selenium import Axe

    found: list[Any] = Axe().run(driver)["violations"]
    return [(one["id"], [node["target"] for node in one["nodes"]][:3]) for one in found]


def test_story_from_an_empty_folder_to_a_verdict_and_a_drilling_sheet(hand: Hand, tmp_path: Path) -> None:
    folder = tmp_path / "empty"
    driver = hand.driver
    with served(folder) as running:
        driver.get(running.link)
        hand.click("button[value=gundi]")
        assert hand.find("#clash").text == "Nothing in the way."
        before = hand.place()
        pull = float(hand.find(".view").get_attribute("data-mm")) * hand.find(".view").size["width"] / 1000
        hand.pull("#side-battery", (round(98 * pull), 0))
        wait(lambda: hand.place()[0] > before[0] + 90)
        assert hand.place()[0] == round(hand.place()[0])
        assert "Not saved" in hand.find("#saved-state").text
        hand.click("#save-change button")
        wait(lambda: "Saved as the change" in hand.find("#said").text)
        assert (folder / "changes" / "battery-moved.toml").exists()
        hand.click("#to-question")
        hand.click("input[value='changes/battery-moved.toml']")
        for family in ("climb", "side-hill", "descent"):
            hand.click(f"input[name=family][value={family}]")
        hand.click("#ask")
        wait(lambda: hand.find("#standing").get_attribute("data-running") == "yes")
        driver.get("about:blank")  # closing the page stops nothing
        running.kill()  # nor does the end of its server
    deadline = time.monotonic() + LONG
    with served(folder) as running:
        driver.get(running.link + "question")
        hand.click("li a[href*='question/run']")
        while hand.find("#standing").get_attribute("data-stage") != "done":
            assert time.monotonic() < deadline, hand.find("#run").text
            assert hand.find("#standing").get_attribute("data-stage") not in ("failed", "stopped")
            time.sleep(0.5)
        verdict = wait(lambda: hand.find(".verdict").text)
        assert "battery moved against as it is" in verdict.lower()
        hand.click("#to-answer")
        hand.click("a.drilling[href*='battery-moved']")
        assert "Pack OUT of the truck" in hand.find("#content").text
        link = hand.find("#pdf-a4").get_attribute("href")
        hand.clicks += 1
        path = "/" + link.removeprefix(running.link)
        status, headers, text = running.ask(path)
        assert status == 200
        assert headers["content-type"] == "application/pdf"
        assert text.startswith("%PDF")
        store = next(folder.glob("questions/*.sqlite")).name
        status, headers, text = running.ask(f"/answer/report?store=questions/{store}")
        assert status == 303
        name = headers["location"].rpartition("/file/")[2]
        status, headers, text = running.ask(f"/file/{name}")
        assert "sandbox" in headers["content-security-policy"]
        assert "battery moved" in text
    no_faults(driver)
    print(f"clicks of the story: {hand.clicks}")
    assert hand.clicks <= 15


def test_moves_by_keyboard_alone(hand: Hand, page: Served) -> None:
    from selenium.webdriver import ActionChains
    from selenium.webdriver.common.keys import Keys

    hand.driver.get(page.link + "truck?sheet=gundi.toml")
    start = hand.place()
    # Tab from the top of the page until the battery in the side view has the focus.
    for _ in range(60):
        ActionChains(hand.driver).send_keys(Keys.TAB).perform()
        if hand.driver.switch_to.active_element.get_attribute("id") == "side-battery":
            break
    else:
        pytest.fail("the battery cannot be reached by Tab")
    pressed = (((Keys.ARROW_RIGHT,), (1, 0)), ((Keys.ARROW_UP,), (0, 1)), ((Keys.SHIFT, Keys.ARROW_LEFT), (-10, 0)))
    for keys, by in pressed:
        was = hand.place()
        chain = ActionChains(hand.driver)
        for key in keys[:-1]:
            chain = chain.key_down(key)
        chain = chain.send_keys(keys[-1])
        for key in keys[:-1]:
            chain = chain.key_up(key)
        chain.perform()
        wait(lambda was=was: hand.place() != was)
        assert hand.place()[0] - was[0] == pytest.approx(by[0])
        assert hand.place()[2] - was[2] == pytest.approx(by[1], abs=0.51)  # snaps from 55.5 to a whole millimetre
        assert hand.driver.switch_to.active_element.get_attribute("id") == "side-battery"
    for _ in range(3):
        was = hand.place()
        undo = hand.find("#undo")
        hand.driver.execute_script("arguments[0].focus()", undo)
        ActionChains(hand.driver).send_keys(Keys.ENTER).perform()
        wait(lambda was=was: hand.place() != was)
    assert hand.place() == start
    no_faults(hand.driver)


def test_moves_by_touch(tmp_path: Path, page: Served) -> None:
    driver = browser(tmp_path / "profile", 360, 740)
    try:
        driver.get(page.link + "truck?sheet=gundi.toml")
        hand = Hand(driver)
        start = hand.place()
        driver.execute_script("document.getElementById('side-battery').scrollIntoView({block: 'center'})")
        box = driver.execute_script("const r = document.getElementById('side-battery').getBoundingClientRect();"
                                    "return [r.x + r.width / 2, r.y + r.height / 2]")
        touch = [("touchStart", 0), *(("touchMove", step) for step in range(3, 31, 3)), ("touchEnd", None)]
        for kind, step in touch:
            points = [] if step is None else [{"x": box[0] + step, "y": box[1]}]
            driver.execute_cdp_cmd("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
        wait(lambda: hand.place()[0] > start[0] + 5)
        page.ask("/truck/history", {"sheet": "gundi.toml", "way": "undo"})
    finally:
        driver.quit()


def test_two_windows_do_not_lose_work(hand: Hand, page: Served) -> None:
    driver = hand.driver
    driver.get(page.link + "truck?sheet=gundi.toml")
    start = hand.place()
    page.ask("/truck/move", {"sheet": "gundi.toml", "part": "battery", "by_x": "3", "by_y": "0", "by_z": "0",
                             "keep": "yes"})  # the other window
    wait(lambda: hand.place()[0] == start[0] + 3)  # this one follows
    page.ask("/truck/history", {"sheet": "gundi.toml", "way": "undo"})
    wait(lambda: hand.place() == start)


def test_leaving_unsaved_work_warns(hand: Hand, page: Served) -> None:
    # The driver answers the browser's own question by itself; whether the page has it asked is seen at the event.
    asks = "const e = new Event('beforeunload', {cancelable: true}); dispatchEvent(e); return e.defaultPrevented"
    driver = hand.driver
    driver.get(page.link + "truck?sheet=gundi.toml")
    hand.pull("#side-battery", (20, 0))
    wait(lambda: "Not saved" in hand.find("#saved-state").text)
    assert driver.execute_script(asks)
    page.ask("/truck/history", {"sheet": "gundi.toml", "way": "undo"})
    wait(lambda: "As in the file" in hand.find("#saved-state").text)
    assert not driver.execute_script(asks)


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("width", [360, 768, 1280])
def test_every_screen_fits_and_can_be_used_by_everybody(tmp_path: Path, page: Served, width: int, dark: bool) -> None:
    driver = browser(tmp_path / "profile", width, 800)
    driver.set_script_timeout(240)
    try:
        if dark:
            scheme = [{"name": "prefers-color-scheme", "value": "dark"}]
            driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": scheme})
        for screen in SCREENS:
            driver.get(page.link + screen)
            if screen.startswith("truck"):
                driver.execute_script("document.getElementById('known').open = true")
                wait(lambda: driver.find_elements("css selector", "#known-list table"))
            wide = driver.execute_script("return [document.documentElement.scrollWidth, innerWidth]")
            assert wide[0] <= wide[1], screen
            assert axe(driver) == [], screen
        no_faults(driver)
    finally:
        driver.quit()


def test_asks_nobody_but_its_own_server(hand: Hand, page: Served) -> None:
    for screen in SCREENS:
        hand.driver.get(page.link + screen)
    own = page.link
    assert [url for url in requests(hand.driver) if not url.startswith((own, "data:", "chrome:", "about:"))] == []


def test_says_so_when_the_server_is_gone(hand: Hand, tmp_path: Path) -> None:
    folder = with_truck(tmp_path)
    with served(folder) as running:
        hand.driver.get(running.link + "truck?sheet=gundi.toml")
        hand.pull("#side-battery", (20, 0))
        wait(lambda: "Not saved" in hand.find("#saved-state").text)
        moved = hand.place()
        running.kill()
        hand.pull("#side-battery", (20, 0))
        wait(lambda: "cragbench page" in hand.find("#message").text)
    with served(folder) as running:
        hand.driver.execute_script("document.getElementById('headline').dataset.unsaved = 'no'")
        hand.driver.get(running.link + "truck?sheet=gundi.toml")
        assert hand.place() == moved
        assert "earlier session" in hand.find(".notice").text


def test_tries_are_entered_on_a_phone(tmp_path: Path) -> None:
    from PIL import Image

    from sim.reality.attempt_log import read_log

    folder = with_truck(tmp_path / "rock")
    photo = tmp_path / "photo.jpg"
    Image.new("RGB", (900, 600), "tan").save(photo)
    driver = browser(tmp_path / "profile", 360, 740)
    hand = Hand(driver)
    try:
        with served(folder) as running:
            driver.get(running.link + "log")
            hand.click("form[action$='log/truck'] button")
            wait(lambda: driver.find_elements("css selector", "#t-name[value='']"))  # the page that knows the truck
            hand.find("#n-name").send_keys("step by the oak")
            hand.find("#n-level").send_keys("24,5")
            hand.click("form[action$='log/line'] button")
            hand.find("#l-photo").send_keys(str(photo))
            hand.click("button[value=stuck]")
            wait(lambda: len(driver.find_elements("css selector", "ol li")) == 1)
            hand.click("button[value=cleared]")
            wait(lambda: len(driver.find_elements("css selector", "ol li")) == 2)
            hand.click("form[action$='log/store'] button")
            wait(lambda: (folder / "log" / "rock.sqlite").exists())
            log = read_log(next((folder / "log").glob("2*.toml")))
            assert [one.outcome for one in log.attempts] == ["stuck", "cleared"]
            assert [one.level for one in log.attempts] == [24.5, 24.5]
            kept = list((folder / "log" / "photos").glob("*.jpg"))
            assert len(kept) == 1
            assert kept[0].name in log.attempts[0].note
        no_faults(driver)
    finally:
        driver.quit()


def test_a_run_is_stopped_and_gone_on_with(hand: Hand, tmp_path: Path) -> None:
    folder = with_truck(tmp_path / "bench")
    (folder / "plan.toml").write_text(
        'schema = 1\nname = "a night"\nrepeats = 400\n[[configuration]]\nname = "as it is"\nbuild = "gundi.toml"\n'
        '[[obstacle]]\nfamily = "ledge"\nlevels = [20]\n', encoding="utf-8")
    with served(folder) as running:
        hand.driver.get(running.link + "question")
        hand.click("form button.plain")
        wait_long(lambda: re.match(r"[1-9]\d* of 400", hand.find("#where").text))
        hand.click("#stop")
        wait_long(lambda: hand.find("#standing").get_attribute("data-stage") == "stopped")
        state = json.loads(next((folder / ".cragbench-page").glob("run-*.json")).read_text(encoding="utf-8"))
        assert 0 < state["done"] < 400
        hand.click("#go-on")
        wait_long(lambda: f"{state['done']}" in hand.find("#where").text or
                  re.match(r"\d+ of 400", hand.find("#where").text))
        now = wait_long(lambda: _known(folder))
        assert now >= state["done"]
        hand.click("#stop")
        wait_long(lambda: hand.find("#standing").get_attribute("data-running") == "no")
        with pytest.raises(ProcessLookupError):
            os.kill(int(state["pid"]), signal.SIG_DFL)


def _known(folder: Path) -> int:
    state = json.loads(next((folder / ".cragbench-page").glob("run-*.json")).read_text(encoding="utf-8"))
    return int(state["known"])


def wait_long(condition: Any) -> Any:
    end = time.monotonic() + LONG
    while not (value := condition()):
        assert time.monotonic() < end, "nothing happened"
        time.sleep(0.2)
    return value

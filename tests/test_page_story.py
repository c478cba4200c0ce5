"""The whole story on the page, from an empty folder to a verdict and a drilling sheet: by mouse, by keyboard alone."""

from __future__ import annotations

from pathlib import Path

import pytest
from page_hand import Hand, no_faults, wait_long
from page_server import served
from test_browser import wait
from test_page_browser import pytestmark as pytestmark

CLICKS = 12
"""From an empty folder to a template at true scale: choose the truck, pull, save, ask, leave three grounds out, go,
read, drill."""


def test_story_from_an_empty_folder_to_a_verdict_and_a_drilling_sheet(hand: Hand, tmp_path: Path) -> None:
    folder = tmp_path / "empty"
    driver = hand.driver
    with served(folder) as running:
        driver.get(running.link)
        hand.click("button[value=gundi]")
        hand.says("#clash", "Nothing in the way.")
        before = hand.place()
        pull = float(hand.value(".view", "data-mm")) * hand.find(".view").size["width"] / 1000
        hand.pull("#side-battery", (round(98 * pull), 0))
        wait(lambda: hand.place()[0] > before[0] + 90)
        assert hand.place()[0] == round(hand.place()[0])
        hand.says("#saved-state", "Not saved")
        hand.click("#save-change button")
        hand.says("#said", "Saved as the change")
        assert (folder / "changes" / "battery-moved.toml").exists()
        hand.click("#to-question")
        assert hand.ask("document.querySelector(arguments[0]).checked", "input[value='changes/battery-moved.toml']")
        for family in ("climb", "side-hill", "descent"):
            hand.click(f"input[name=family][value={family}]")
        hand.click("#ask")
        wait(lambda: hand.value("#standing", "data-running") == "yes")
        driver.get("about:blank")  # closing the page stops nothing
        no_faults(hand)
        running.kill()  # nor does the end of its server
    with served(folder) as running:
        driver.get(running.link + "question")
        hand.click("li a[href*='question/run']")
        assert wait_long(lambda: hand.value("#standing", "data-running") == "no" and
                         hand.value("#standing", "data-stage")) == "done", hand.text("#run")
        said = wait(lambda: hand.text(".verdict.decided"))
        assert said.lower().startswith("battery moved: ")
        assert "it brings" in said
        assert "battery moved against as it is" in hand.text("#run").lower()
        hand.click("#to-answer")
        hand.click("a.drilling[href*='battery-moved']")
        hand.says("#content", "Pack OUT of the truck")
        path = hand.value("#pdf-a4", "href").partition(running.place[2])[2]
        hand.clicks += 1
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
        no_faults(hand)
    print(f"clicks of the story: {hand.clicks}")
    assert hand.clicks == CLICKS


def test_the_same_story_by_keyboard_alone(hand: Hand, tmp_path: Path) -> None:
    from selenium.webdriver.common.keys import Keys

    folder, driver = tmp_path / "empty", hand.driver
    with served(folder) as running:
        driver.get(running.link)
        hand.tab_to("button[value=gundi]")
        hand.press(Keys.ENTER)
        hand.says("#clash", "Nothing in the way.")
        start = hand.place()
        hand.tab_to("#side-battery")
        for step in range(1, 10):
            hand.press(Keys.SHIFT, Keys.ARROW_RIGHT)
            wait(lambda step=step: hand.place()[0] == pytest.approx(start[0] + 10 * step))
        hand.tab_to("#c-name")
        hand.press(Keys.CONTROL, "a")
        hand.press("Pack over the front axle")
        hand.press(Keys.ENTER)
        hand.says("#said", "Saved as the change changes/pack-over-the-front-axle.toml")
        assert 'name = "Pack over the front axle"' in (folder / "changes" / "pack-over-the-front-axle.toml").read_text()
        hand.tab_to("#to-question")
        hand.press(Keys.ENTER)
        for family in ("climb", "side-hill", "descent"):
            hand.tab_to(f"input[name=family][value={family}]")
            hand.press(Keys.SPACE)
        assert hand.ask("[...document.querySelectorAll('input:checked')].map(one => one.value)") == [
            "changes/pack-over-the-front-axle.toml", "ledge-on-slope", "20"]
        hand.tab_to("#ask")
        hand.press(Keys.ENTER)
        assert wait_long(lambda: hand.value("#standing", "data-running") == "no" and
                         hand.value("#standing", "data-stage")) == "done", hand.text("#run")
        assert wait(lambda: hand.text(".verdict.decided")).lower().startswith("pack over the front axle: ")
        assert "pack over the front axle against as it is" in hand.text("#run").lower()
        hand.tab_to("#to-answer")
        hand.press(Keys.ENTER)
        hand.tab_to("a.drilling[href*='pack-over']")
        hand.press(Keys.ENTER)
        hand.tab_to("#pdf-a4")
        no_faults(hand)
        hand.press(Keys.ENTER)
        wait(lambda: len(driver.window_handles) == 2)  # where the PDF opens
        status, headers, text = running.ask(hand.value("#pdf-a4", "href").partition(running.place[2])[2])
        assert (status, headers["content-type"], text[:5]) == (200, "application/pdf", "%PDF-")
        here, new = driver.window_handles
        driver.switch_to.window(new)
        driver.close()
        driver.switch_to.window(here)
    assert hand.clicks == 0

"""A hand on the page: finds, clicks, pulls and presses in a real browser, and counts its clicks."""

from __future__ import annotations

import time
from typing import Any

from test_browser import wait

LONG = 900.0
"""s for a run that takes one on an idle machine: the first compiles, and the machine may be busy."""


class Hand:
    """Works a browser, and counts how often it clicks.

    The page puts new elements in the place of old ones while it is looked at: what is read is read in one go, and what
    is clicked is looked for again until a click arrives.
    """

    def __init__(self, driver: Any) -> None:
        self.driver, self.clicks = driver, 0

    def ask(self, script: str, *arguments: Any) -> Any:
        return self.driver.execute_script(f"return {script}", *arguments)

    def find(self, selector: str) -> Any:
        return wait(lambda: (self.driver.find_elements("css selector", selector) or [None])[0])

    def count(self, selector: str) -> int:
        found: int = self.ask("document.querySelectorAll(arguments[0]).length", selector)
        return found

    def text(self, selector: str) -> str:
        """What an element says; empty while there is none."""
        found: str = self.ask("document.querySelector(arguments[0])?.innerText ?? ''", selector)
        return found

    def says(self, selector: str, words: str) -> None:
        wait(lambda: words in self.text(selector))

    def value(self, selector: str, name: str) -> str:
        """An attribute of an element; empty while there is none."""
        found: str = self.ask("document.querySelector(arguments[0])?.getAttribute(arguments[1]) ?? ''", selector, name)
        return found

    def click(self, selector: str) -> None:
        wait(lambda: self._clicked(selector))
        self.clicks += 1

    def _clicked(self, selector: str) -> bool:
        from selenium.common.exceptions import WebDriverException

        found = self.find(selector)
        try:
            self.driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", found)
            found.click()
        except WebDriverException:
            return False
        return True

    def pull(self, selector: str, by: tuple[int, int]) -> None:
        from selenium.webdriver import ActionChains

        found = self.find(selector)
        self.driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", found)
        chain = ActionChains(self.driver, duration=30).click_and_hold(found)
        for _ in range(10):
            chain = chain.move_by_offset(by[0] / 10, by[1] / 10)
        chain.release().perform()
        self.clicks += 1

    def press(self, *keys: str) -> None:
        from selenium.webdriver import ActionChains

        chain = ActionChains(self.driver)
        for key in keys[:-1]:
            chain = chain.key_down(key)
        chain = chain.send_keys(keys[-1])
        for key in keys[:-1]:
            chain = chain.key_up(key)
        chain.perform()

    def tab_to(self, selector: str) -> None:
        """Go on by Tab until an element has the focus."""
        from selenium.webdriver.common.keys import Keys

        for _ in range(150):
            if self.ask("document.activeElement.matches(arguments[0])", selector):
                return
            self.press(Keys.TAB)
        raise AssertionError(f"{selector} cannot be reached by Tab")

    def place(self) -> tuple[float, float, float]:
        """Where the battery is drawn."""
        found = wait(lambda: self.ask("(({x, y, z}) => z && [+x, +y, +z])"
                                      "(document.getElementById('side-battery')?.dataset ?? {})"))
        return tuple(found)  # type: ignore[return-value]

    def screen(self, width: int, height: int = 900) -> None:
        """Go on with a screen of this size; a narrow one is a phone's."""
        phone = width < 600
        self.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", {
            "width": width, "height": height, "deviceScaleFactor": 2 if phone else 1, "mobile": phone})
        self.driver.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": phone})

    def scheme(self, name: str) -> None:
        scheme = [{"name": "prefers-color-scheme", "value": name}]
        self.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": scheme})


def no_faults(hand: Hand) -> None:
    """No error, and nothing refused by the content security policy, was written to the console."""
    assert [entry["message"] for entry in hand.driver.get_log("browser") if entry["level"] == "SEVERE"] == []


def wait_long(condition: Any) -> Any:
    end = time.monotonic() + LONG
    while not (value := condition()):
        assert time.monotonic() < end, "nothing happened"
        time.sleep(0.2)
    return value

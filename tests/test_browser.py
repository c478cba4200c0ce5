"""The report page in a real browser, opened from disk: no error, no request, everything works, everybody can use it."""

from __future__ import annotations

import json
import shutil
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import made_store
import pytest

from sim.report.page import write_report

BROWSER, DRIVER = shutil.which("chromium"), shutil.which("chromedriver")
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
SWITCHES = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
)
PATIENCE = 60.0
"""s to wait for something that takes a blink on an idle machine."""


def browser(folder: Path, width: int = 1280, height: int = 900, *, scripts: bool = True) -> Any:
    """A fresh browser of its own; narrower than a window can be only as an emulated device."""
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = BROWSER or ""
    for switch in (*SWITCHES, f"--user-data-dir={folder}", f"--window-size={width},{height}"):
        options.add_argument(switch)
    if width < 600:
        options.add_experimental_option(
            "mobileEmulation", {"deviceMetrics": {"width": width, "height": height, "pixelRatio": 2.0}}
        )
    if not scripts:
        options.add_experimental_option("prefs", {"profile.managed_default_content_settings.javascript": 2})
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    return webdriver.Chrome(options=options, service=Service(DRIVER))


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("browser")
    names = ["as it is", made_store.NASTY, "a name without any place to break " * 5 + "x" * 30]
    store = made_store.make(folder / "b.sqlite", names, repeats=10)
    return write_report(store, folder / "b.html", baseline="as it is")[0]


@pytest.fixture(scope="module")
def desk(page: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    driver = browser(tmp_path_factory.mktemp("profile"))
    # The accessibility rules look at every element of the page.
    driver.set_script_timeout(240)
    requests(driver)  # what the browser asked itself for before
    driver.get(page.as_uri())
    yield driver
    driver.quit()


def part(driver: Any, name: str) -> Any:
    return driver.find_element("css selector", f"#player [data-part='{name}']")


def wait(condition: Any) -> Any:
    end = time.monotonic() + PATIENCE
    while not (value := condition()):
        assert time.monotonic() < end, "nothing happened"
        time.sleep(0.05)
    return value


def requests(driver: Any) -> list[str]:
    """Addresses that the page asked for."""
    found = []
    for entry in driver.get_log("performance"):
        message = json.loads(entry["message"])["message"]
        if message["method"] == "Network.requestWillBeSent":
            found.append(message["params"]["request"]["url"])
    return found


def test_opens_from_disk_without_errors_or_requests(desk: Any, page: Path) -> None:
    wait(lambda: desk.execute_script("return Boolean(window.cragPlayer)"))
    asked = [url for url in requests(desk) if not url.startswith(("data:", "chrome:"))]
    assert asked == [page.as_uri()]
    assert [entry for entry in desk.get_log("browser") if entry["level"] == "SEVERE"] == []


def test_replay_plays_pauses_and_scrubs(desk: Any) -> None:
    play = part(desk, "play")
    # At a quarter of the speed the two seconds last long enough for a busy machine to press the button again.
    desk.execute_script("cragPlayer.seek(0); arguments[0].value = '0.25'", part(desk, "speed"))
    play.click()
    assert play.text == "Pause"
    wait(lambda: desk.execute_script("return cragPlayer.time > 0"))
    play.click()
    assert play.text == "Play"
    desk.execute_script("arguments[0].value = '1'", part(desk, "speed"))
    stopped = desk.execute_script("return cragPlayer.time")
    before = _pixels(desk)
    desk.execute_script("arguments[0].value = 1.9; arguments[0].dispatchEvent(new Event('input'))", part(desk, "time"))
    assert desk.execute_script("return cragPlayer.time") == pytest.approx(1.9)
    assert stopped != pytest.approx(1.9)
    assert _pixels(desk) != before


def test_margin_is_a_number_and_a_bar(desk: Any) -> None:
    desk.execute_script("cragPlayer.seek(0)")
    shown = part(desk, "first").find_element("css selector", "[data-part=margin]").text
    expected = desk.execute_script("return cragPlayer.shown[0].now[90]")
    assert shown == f"{expected:.0f}°"
    bar = part(desk, "first").find_element("css selector", "[data-part=bar]")
    assert float(bar.get_attribute("style").split("width: ")[1].split("%")[0]) == pytest.approx(expected / 0.6, abs=0.1)


def test_bodies_stand_where_they_were_recorded(desk: Any) -> None:
    """The page's own unpacking and blending against the motion that was written down: 80 mm/s straight ahead."""
    start, later = (desk.execute_script(f"cragPlayer.seek({t}); return Array.from(cragPlayer.shown[0].now.slice(0, 7))")
                    for t in (0.0, 0.51))
    # 16 bits of a range of 0.2 m are 3 micrometres.
    assert later[0] - start[0] == pytest.approx(0.08 * 0.51, abs=1e-5)
    assert later[6] == pytest.approx(1.0, abs=1e-3)


@pytest.mark.parametrize("view", ["side", "front", "chase"])
def test_cameras_differ(desk: Any, view: str) -> None:
    others = [v for v in ("side", "front", "chase") if v != view]
    _radio(desk, "camera", others[0])
    before = _pixels(desk)
    _radio(desk, "camera", view)
    assert _pixels(desk) != before


def test_ghost_and_side_by_side(desk: Any) -> None:
    _radio(desk, "layout", "ghost")
    assert not part(desk, "second").find_element("css selector", "canvas").is_displayed()
    assert "(ghost)" in part(desk, "second").find_element("css selector", "[data-part=caption]").text
    _radio(desk, "layout", "beside")
    assert part(desk, "second").find_element("css selector", "canvas").is_displayed()


def test_other_trucks_and_obstacles_can_be_chosen(desk: Any) -> None:
    from selenium.webdriver.support.ui import Select

    obstacle = Select(part(desk, "place"))
    assert {o.text for o in obstacle.options} == {"ledge 20 mm", "ledge 30 mm", "climb 45°"}
    obstacle.select_by_visible_text("climb 45°")
    Select(part(desk, "one")).select_by_visible_text(made_store.NASTY)
    caption = part(desk, "first").find_element("css selector", "[data-part=caption]").text
    assert caption.startswith(made_store.NASTY)
    Select(part(desk, "other")).select_by_visible_text("none")
    assert not part(desk, "second").is_displayed()
    Select(part(desk, "other")).select_by_visible_text("as it is")


def test_charts_answer_and_switch(desk: Any) -> None:
    """Pointing at a mark tells its count; a truck hidden in one chart is hidden in all."""
    from selenium.webdriver.common.action_chains import ActionChains

    mark = next(m for m in desk.find_elements("css selector", "#harder .hit") if "of 10" in _told(desk, m))
    desk.execute_script("arguments[0].scrollIntoView({block: 'center'})", mark)
    ActionChains(desk).move_to_element(mark).perform()
    told = desk.find_element("id", "told")
    wait(told.is_displayed)
    assert "of 10" in told.text
    shown = "return [...document.querySelectorAll('figure [data-series=\"1\"]:not(.off)')].length"
    before = desk.execute_script(shown)
    box = desk.find_element("css selector", "#pick-trucks input[value='1']")
    box.click()
    assert desk.execute_script(shown) == 0 < before
    box.click()
    assert desk.execute_script(shown) == before


def _told(desk: Any, mark: Any) -> str:
    return str(desk.execute_script("return arguments[0].told || ''", mark))


def test_the_picture_turns_by_keyboard_and_stays_out_of_the_ground(desk: Any) -> None:
    from selenium.webdriver.common.keys import Keys

    canvas = part(desk, "first").find_element("css selector", "canvas")
    before = _pixels(desk)
    canvas.send_keys(Keys.ARROW_LEFT * 4)
    assert _pixels(desk) != before
    canvas.send_keys(Keys.ARROW_DOWN * 20)
    over = ("const s = cragPlayer.stages[0], e = s.camera.eye;"
            "return e[2] - cragPlayer.shown[0].ground.height(e[0], e[1])")
    assert desk.execute_script(over) > 0.0
    canvas.send_keys(Keys.HOME)
    assert desk.execute_script("return cragPlayer.turn") == {"yaw": 0, "pitch": 0, "near": 1}


def test_two_trucks_print_on_four_pages_with_whole_parts(tmp_path: Path) -> None:
    """Nine obstacles: the table at a glance stands upright and is whole on paper, where nothing can be pushed aside."""
    import base64
    import io

    import pdfplumber

    places = [*(("ledge", 20.0 + n) for n in range(8)), ("climb", 45.0)]
    store = made_store.make(tmp_path / "p.sqlite", repeats=5, places=places)
    driver = browser(tmp_path / "profile")
    try:
        driver.get(write_report(store, tmp_path / "p.html", baseline="as it is")[0].as_uri())
        wait(lambda: driver.execute_script("return Boolean(window.cragPlayer)"))
        made = driver.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True})
    finally:
        driver.quit()
    with pdfplumber.open(io.BytesIO(base64.b64decode(made["data"]))) as pdf:
        texts = [page.extract_text() or "" for page in pdf.pages]
        assert len(texts) <= 4
        glance = texts[0][texts[0].index("At a glance"):]
        rows = ("All together", "climb 45°", *(f"ledge {20 + n} mm" for n in range(8)))
        assert [row for row in rows if row not in glance] == []
        headings = ("At a glance", "Watch it again", "The trucks and what was changed", "What to mind", "Where it ends",
                    "How often they made it", "When it gets harder", "What it brings, what it costs", "Do it again",
                    "What was assumed", "Take care")
        (cards,) = [text for text in texts if "What the others are compared with." in text]
        assert "stability: rise" in cards  # a card's last line, and its drawing after it
        assert "CG height" in cards
        for text in texts:
            lines = text.strip().splitlines()
            assert lines[-1] not in headings, "a heading alone at the foot of a page"
            assert len(lines) > 12, "a page for a few lines"


def test_keyboard_reaches_and_works_everything(desk: Any) -> None:
    from selenium.webdriver.common.keys import Keys

    desk.execute_script("window.scrollTo(0, 0); document.activeElement.blur()")
    name = "const a = document.activeElement; return a.dataset.part || a.id || a.name || a.tagName"
    reached = set()
    for _ in range(90):
        desk.switch_to.active_element.send_keys(Keys.TAB)
        reached.add(desk.execute_script(name))
    assert {"theme", "place", "one", "other", "camera", "layout", "inside"} <= reached
    assert {"play", "time", "speed", "CANVAS"} <= reached
    play = part(desk, "play")
    desk.execute_script("cragPlayer.seek(0); arguments[0].focus()", play)
    play.send_keys(Keys.SPACE)
    wait(lambda: desk.execute_script("return cragPlayer.time > 0"))
    desk.execute_script("cragPlayer.pause(); cragPlayer.seek(0.5)")
    slider = part(desk, "time")
    before = desk.execute_script("return cragPlayer.time")
    slider.send_keys(Keys.ARROW_RIGHT * 5)
    assert desk.execute_script("return cragPlayer.time") > before


def test_dark_and_light(desk: Any) -> None:
    paper = "return getComputedStyle(document.body).backgroundColor"
    light = desk.execute_script(paper)
    desk.find_element("id", "theme").click()
    assert desk.execute_script(paper) != light
    desk.find_element("id", "theme").click()
    assert desk.execute_script(paper) == light


@pytest.mark.parametrize("dark", [False, True])
def test_accessibility_rules(desk: Any, dark: bool) -> None:
    from importlib.resources import files

    desk.execute_script("document.documentElement.dataset.theme = arguments[0]", "dark" if dark else "light")
    desk.execute_script((files("axe_core_python") / "axe.min.js").read_text(encoding="utf-8"))
    found = desk.execute_async_script(
        "const done = arguments[arguments.length - 1]; axe.run({runOnly: {type: 'tag', values: arguments[0]}})"
        ".then((r) => done({passes: r.passes.length, violations: r.violations.map((v) =>"
        " [v.id, v.nodes.slice(0, 4).map((n) => n.html.slice(0, 160))])})).catch((e) => done({error: String(e)}))",
        ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "best-practice"],
    )
    assert "error" not in found, found
    assert found["violations"] == []
    assert found["passes"] > 25


@pytest.mark.parametrize("width", [360, 768, 1280])
def test_no_sideways_scroll(page: Path, tmp_path: Path, width: int) -> None:
    driver = browser(tmp_path / "profile", width, 800)
    try:
        driver.get(page.as_uri())
        wait(lambda: driver.execute_script("return Boolean(window.cragPlayer)"))
        wide = driver.execute_script("return document.documentElement.scrollWidth")
        assert wide <= driver.execute_script("return window.innerWidth") <= width
        assert driver.execute_script("return cragPlayer.stages[0].canvas.width") > 200
    finally:
        driver.quit()


def test_without_scripts_the_charts_are_there(page: Path, tmp_path: Path) -> None:
    driver = browser(tmp_path / "profile", scripts=False)
    try:
        driver.get(page.as_uri())
        charts = driver.find_elements("css selector", "figure svg")
        assert len(charts) >= 8
        # What is folded away under "N more" unfolds without scripts too.
        for fold in driver.find_elements("css selector", "details.more > summary"):
            fold.click()
        assert all(chart.is_displayed() for chart in charts)
        assert all(picture.is_displayed() for picture in driver.find_elements("css selector", "figure img"))
        assert not driver.find_element("id", "player").is_displayed()
        assert "points of success" in driver.find_element("css selector", ".verdict").text
    finally:
        driver.quit()


def test_ten_seconds_are_played_to_the_end(tmp_path: Path) -> None:
    """Plays a 10 s trial of two trucks; how many pictures a second the browser made of it is printed, not judged."""
    store = made_store.make(tmp_path / "t.sqlite", repeats=2, places=[("ledge", 30.0)])
    long = made_store.pack(made_store.trace(made_store.truck(), 10.0))
    with made_store.Store(store, write=True) as opened:
        opened.insert("UPDATE trace SET npz = ?, checksum = '' WHERE key = ?",
                      [(long, key) for key in opened.traced()])
    driver = browser(tmp_path / "profile")
    try:
        driver.get(write_report(store, tmp_path / "t.html")[0].as_uri())
        wait(lambda: driver.execute_script("return Boolean(window.cragPlayer)"))
        assert driver.execute_script("return cragPlayer.end") == pytest.approx(10.0, abs=0.05)
        driver.execute_script("document.getElementById('player').scrollIntoView()")
        part(driver, "play").click()
        wait(lambda: driver.execute_script("return !cragPlayer.playing"))
        assert part(driver, "play").text == "Play again"
        frames, spent, scale = driver.execute_script(
            "const p = cragPlayer; return [p.stats.frames, p.stats.spent, p.scale]"
        )
        print(f"{frames / 10.0:.0f} pictures a second, {spent / frames:.1f} ms each, {scale:.2f} pixels a pixel")
        assert frames > 1
    finally:
        driver.quit()


def test_a_slow_machine_gets_fewer_pixels(desk: Any) -> None:
    # The machine may have been slow already: start from full resolution.
    before = desk.execute_script("return cragPlayer.scale = cragPlayer.full")
    desk.execute_script("cragPlayer.stats.recent = []; for (let i = 0; i < 12; i++) cragPlayer.measure(40)")
    after = desk.execute_script("cragPlayer.draw(); return cragPlayer.scale")
    assert after == pytest.approx(0.8 * before)
    canvas = part(desk, "first").find_element("css selector", "canvas")
    assert int(canvas.get_attribute("width")) == pytest.approx(after * canvas.size["width"], abs=1)
    desk.execute_script("for (let i = 0; i < 48; i++) cragPlayer.measure(3)")
    assert desk.execute_script("return cragPlayer.scale") == desk.execute_script("return cragPlayer.full")


def _radio(driver: Any, name: str, value: str) -> None:
    driver.find_element("css selector", f"input[name={name}][value={value}]").click()


def _pixels(driver: Any) -> str:
    return str(driver.execute_script("return document.querySelector('#player canvas.view').toDataURL()"))

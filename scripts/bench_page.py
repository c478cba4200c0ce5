"""How long the page takes: from the command to the first picture, and from a move to its picture while dragging.

``python3 scripts/bench_page.py [MOVES]`` drives a headless Chromium; the page itself takes the time from the move's
event to the frame with its picture, so that the driver of the browser is not in it. It needs what the tests need. The
server's memory is that of its process after all moves.
"""

from __future__ import annotations

import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]


def main(moves: int) -> int:
    """Measure and print."""
    from test_browser import browser

    from models.scenario import builds

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        shutil.copy(builds()[0], folder / "gundi.toml")
        driver = browser(folder / ".profile", 1280, 1000)
        began = time.perf_counter()
        command = [sys.executable, "-m", "sim.cli.main", "page", name, "--no-browser"]
        process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=ROOT,
                                   env={**os.environ, "PYTHONPATH": str(ROOT)})
        try:
            assert process.stdout is not None
            link = process.stdout.readline().split()[-1]
            listening = time.perf_counter()
            driver.execute_cdp_cmd("Performance.setTimeDomain", {"timeDomain": "threadTicks"})
            driver.execute_cdp_cmd("Performance.enable", {})
            driver.get(link + "truck?sheet=gundi.toml")
            while not driver.find_elements("css selector", "svg.view"):
                time.sleep(0.01)
            first = time.perf_counter()
            before = _busy(process.pid, driver)
            waits = _drag(driver, moves)
            busy = [1e3 * (now - was) / len(waits) for now, was in zip(_busy(process.pid, driver), before, strict=True)]
            print(f"from the command to an address: {listening - began:.2f} s; to the first picture of a truck: "
                  f"{first - began:.2f} s")
            middle, high = _spread(waits)
            print(f"from a move to its picture, {len(waits)} pictures while dragging: median {middle:.0f} ms, 95th "
                  f"percentile {high:.0f} ms; of processor time {busy[0]:.0f} ms in the server and {busy[1]:.0f} ms in "
                  f"the page's thread")
            print(_pressed(driver, moves // 3))
            print(f"the server's own time for a move, {moves} moves: {_server_time(folder, moves)}")
            print(f"memory of the server: {_memory(process.pid):.0f} MB; load of the machine {os.getloadavg()[0]:.1f} "
                  f"on {os.cpu_count()} cores")
        finally:
            process.terminate()
            driver.quit()
    return 0


def _drag(driver: Any, moves: int) -> list[float]:
    """ms from each move that was sent to the picture of it; the first, which prepares the look about, is left out."""
    from selenium.webdriver import ActionChains

    pack = driver.find_element("id", "side-battery")
    chain = ActionChains(driver, duration=25).click_and_hold(pack)
    for step in range(moves):
        chain = chain.move_by_offset(3 if step % 120 < 60 else -3, 0)
    chain.release().perform()
    time.sleep(1.0)
    found: list[float] = driver.execute_script("return cragWaits")
    return found[1:-1]


def _pressed(driver: Any, presses: int) -> str:
    """How long from each press of an arrow key to the picture of it."""
    from selenium.webdriver import ActionChains
    from selenium.webdriver.common.keys import Keys

    driver.execute_script("cragWaits.length = 0; document.getElementById('side-battery').focus()")
    for step in range(presses):
        ActionChains(driver).send_keys(Keys.ARROW_LEFT if step % 40 < 20 else Keys.ARROW_RIGHT).perform()
        time.sleep(0.1)
    middle, high = _spread(driver.execute_script("return cragWaits")[1:])
    return (f"from an arrow key to its picture, all drawn anew and kept, {presses} presses: median {middle:.0f} ms, "
            f"95th percentile {high:.0f} ms")


def _spread(some: list[float]) -> tuple[float, float]:
    """Median and 95th percentile."""
    return statistics.median(some), statistics.quantiles(some, n=20)[-1]


def _busy(process: int, driver: Any) -> tuple[float, float]:
    """Processor time (s) that the server and the page's main thread have used so far."""
    fields = Path(f"/proc/{process}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    measured = driver.execute_cdp_cmd("Performance.getMetrics", {})["metrics"]
    thread = next((one["value"] for one in measured if one["name"] == "TaskDuration"), 0.0)
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK"), float(thread)


def _server_time(folder: Path, moves: int) -> str:
    """Wall and processor time of one look, without browser and network."""
    from sim.page.bench_view import Looker
    from sim.page.desk import Desk
    from sim.page.folder import Folder

    desk = Desk(Folder(folder), "gundi.toml")
    looker, held = Looker(desk), ["battery", "battery tray"]
    wall, busy = [], []
    for step in range(moves):
        places = {"battery": (17.0 + step % 90, 0.0, 55.5), "battery tray": (17.0 + step % 90, 0.0, 47.0)}
        began, began_busy = time.perf_counter(), time.process_time()
        looker.hold(desk.edits.moved(desk.opened, places), held)
        wall.append(1e3 * (time.perf_counter() - began))
        busy.append(1e3 * (time.process_time() - began_busy))
    (middle, high), (busy_middle, busy_high) = _spread(wall[1:]), _spread(busy[1:])
    return (f"median {middle:.0f} ms, 95th percentile {high:.0f} ms; of processor time {busy_middle:.0f} and "
            f"{busy_high:.0f} ms")


def _memory(process: int) -> float:
    status = Path(f"/proc/{process}/status").read_text(encoding="ascii")
    return int(next(line for line in status.splitlines() if line.startswith("VmRSS")).split()[1]) / 1024


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 200))

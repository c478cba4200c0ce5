"""The page's door: who is let in, what is said to everybody else, and that nothing from outside is ever run."""

from __future__ import annotations

import asyncio
import io
import re
import shutil
import signal
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest
import segno
from page_server import Served, served

from models.scenario import builds
from sim.errors import SimError
from sim.page.run_state import Runs, RunState, alive, held
from sim.page.server import LOOPBACK, bound

NASTY = "<script>alert(1)</script>"


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("page")
    shutil.copy(builds()[0], folder / "gundi.toml")
    text = builds()[0].read_text(encoding="utf-8")
    (folder / "nasty.toml").write_text(text.replace('name = "Gundi"', f"name = '{NASTY}'").replace(
        'name = "motor"', "name = '\"><img src=x onerror=alert(1)>'"), encoding="utf-8")
    with served(folder) as running:
        yield running


def test_lets_its_own_link_in(page: Served) -> None:
    status, headers, text = page.ask("/")
    assert status == 200
    assert "Gundi" in text
    policy = headers["content-security-policy"]
    assert "unsafe" not in policy
    assert {"default-src 'none'", "script-src 'self'", "base-uri 'none'", "form-action 'self'",
            "frame-ancestors 'none'"} <= {part.strip() for part in policy.split(";")}
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["cache-control"] == "no-store"


def test_every_path_needs_the_token(page: Served) -> None:
    for token in ("", "x" * 32, page.place[2].strip("/")[:-1]):
        for path in ("/", "/truck?sheet=gundi.toml", "/static/page.js"):
            status, _, text = page.ask(path, token=token)
            assert status == 403
            assert "Gundi" not in text


def test_another_name_for_this_machine_is_refused(page: Served) -> None:
    # A page elsewhere whose name is made to lead here (DNS rebinding) has that name in Host.
    assert page.ask("/", headers={"Host": f"rebound.example:{page.place[1]}"})[0] == 403
    assert page.ask("/", headers={"Host": page.place[0]})[0] == 403
    assert page.ask("/", headers={"Host": f"localhost:{page.place[1]}"})[0] == 200


@pytest.mark.parametrize("origin", ["http://evil.example", "null", None])
def test_a_form_from_elsewhere_does_nothing(page: Served, origin: str | None) -> None:
    form = {"sheet": "gundi.toml", "part": "battery", "by_x": "5", "by_y": "0", "by_z": "0", "keep": "yes"}
    status, _, _ = page.ask("/truck/move", form, headers={"Origin": origin})
    assert status == 403
    assert "battery: 17 mm" in page.ask("/truck?sheet=gundi.toml")[2]


@pytest.mark.parametrize("name", ["../gundi.toml", "/etc/passwd", "%2e%2e/x.toml", ".cragbench-page/x.toml", "no.toml"])
def test_no_file_outside_the_folder(page: Served, name: str) -> None:
    status, _, text = page.ask(f"/truck?sheet={name}")
    assert status == 422
    assert "root:" not in text


def test_static_files_do_not_lead_out(page: Served) -> None:
    assert page.ask("/static/../server.py")[0] == 404
    assert page.ask("/static/%2e%2e/server.py")[0] == 404


def test_too_much_is_not_taken(page: Served) -> None:
    assert page.ask("/truck/value", b"sheet=" + b"x" * 300_000)[0] == 413
    # No length, or a false one: counted as it comes.
    chunk = b"40000\r\n" + b"x" * 0x40000 + b"\r\n"
    body = chunk * 2 + b"0\r\n\r\n"
    name, port, root = page.place
    import socket

    with socket.create_connection((name, port), timeout=30) as raw:
        raw.sendall((f"POST {root}/truck/value HTTP/1.1\r\nHost: {name}:{port}\r\nOrigin: http://{name}:{port}\r\n"
                     "Content-Type: application/x-www-form-urlencoded\r\nTransfer-Encoding: chunked\r\n\r\n").encode())
        raw.sendall(body)
        assert b"413" in raw.recv(4096).split(b"\r\n")[0]


def test_text_from_users_is_escaped(page: Served) -> None:
    for path in ("/", "/truck?sheet=nasty.toml"):
        _, _, text = page.ask(path)
        assert NASTY not in text
        assert "<img src=x" not in text
        assert "&lt;script&gt;" in text


def test_a_mistake_is_one_message_and_no_traceback(page: Served) -> None:
    form = {"sheet": "gundi.toml", "key": "parts.battery.mass_g", "value": "1,250", "part": "battery"}
    status, headers, text = page.ask("/truck/value", form, headers={"HX-Request": "true"})
    assert status == 200
    assert headers["hx-retarget"] == "#message"
    assert "thousands" in text
    assert "Traceback" not in text
    status, _, text = page.ask("/truck/value", {"sheet": "gundi.toml"})
    assert status == 422
    assert "Traceback" not in text


def test_unknown_pages_are_told_so(page: Served) -> None:
    status, headers, text = page.ask("/nowhere")
    assert status == 404
    assert "no such page" in text
    assert "content-security-policy" in headers


def test_moves_snap_to_millimetres_and_are_kept_only_when_asked(page: Served) -> None:
    form = {"sheet": "gundi.toml", "part": "battery", "by_x": "9.62", "by_y": "0", "by_z": "0"}
    _, _, live = page.ask("/truck/move", {**form, "keep": "no"})
    assert "battery: 17 mm ahead" in page.ask("/truck?sheet=gundi.toml")[2]
    page.ask("/truck/move", {**form, "keep": "yes"})
    kept = page.ask("/truck?sheet=gundi.toml")[2]
    assert "battery: 27 mm ahead" in kept
    # What was drawn over the picture while it was held is what the picture shows now.
    block = re.search(r'class="part box held selected">(<rect [^>]*>)', live)
    assert block is not None
    assert block[1] in kept
    page.ask("/truck/history", {"sheet": "gundi.toml", "way": "undo"})
    assert "battery: 17 mm ahead" in page.ask("/truck?sheet=gundi.toml")[2]


def test_whoever_looks_is_not_taken_for_a_run(tmp_path: Path) -> None:
    # Two pages look whether a run is alive at the same moment: each must find that none is.
    file = tmp_path / "run-a.json"
    with held(file, looking=True) as first:
        assert first
        assert not alive(file)
        with held(file) as run:
            assert not run
    with held(file) as run:
        assert run
        assert alive(file)


def test_a_run_that_ends_while_it_is_looked_at_is_not_called_stopped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file, runs = tmp_path / "run-a.json", Runs(tmp_path, tmp_path)
    RunState("a", "plan", {}, "trials", done=3).write(file)
    assert runs.state("a").stage == "stopped"  # nobody is at work on it

    def ends(_: Runs, __: Path) -> bool:
        RunState("a", "plan", {}, "done", done=4).write(file)
        return False

    monkeypatch.setattr(Runs, "_at_work", ends)
    RunState("a", "plan", {}, "trials", done=3).write(file)
    found = runs.state("a")
    assert (found.stage, found.done, found.at_work) == ("done", 4, False)


def test_pieces_of_an_answer_do_not_wait_for_each_other() -> None:
    async def delayed(taken: socket.socket) -> bool:
        found: asyncio.Future[bool] = asyncio.get_running_loop().create_future()

        async def meet(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            own = writer.get_extra_info("socket")
            found.set_result(own.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY) == 0)
            writer.close()

        async with await asyncio.start_server(meet, sock=taken):
            _, writer = await asyncio.open_connection(*taken.getsockname())
            writer.close()
            return await found

    assert not asyncio.run(delayed(bound(LOOPBACK, 0)))


def test_for_the_network_the_address_is_shown_as_a_code_with_what_it_opens(tmp_path: Path) -> None:
    # 127.0.0.2 is this machine too, and not the address that the page takes by itself.
    with served(tmp_path, "--host", "127.0.0.2") as running:
        assert running.link.startswith("http://127.0.0.2:")
        status, _, text = running.ask("/log")
        running.process.send_signal(signal.SIGINT)
        printed, warned = running.process.communicate(timeout=30)
    told = " ".join(warned.split())
    for opened in ("WARNING", "can read and write the folder and start runs on this machine", "not encrypted",
                   "your own network", "end it with Ctrl-C"):
        assert opened in told
    # The code on the terminal, module by module: an upper and a lower row in each line of half blocks.
    wanted = segno.make(f"{running.link}log", error="m")
    lines = [line for line in printed.splitlines() if set(line) & set("▀▄█")]
    halves = {"█": (0, 0), "▀": (0, 1), "▄": (1, 0), " ": (1, 1)}
    rows = [[halves[sign][half] for sign in line] for line in lines for half in (0, 1)]
    square = [list(row) for row in wanted.matrix_iter(border=4)]
    assert [row[: len(square)] for row in rows[: len(square)]] == square
    # The page shows it too, with the same caution; a page for this machine alone shows neither.
    assert status == 200
    drawing = io.BytesIO()
    wanted.save(drawing, kind="svg", xmldecl=False, svgns=True, scale=4, svgclass="qr", title="Address of this page",
                omitsize=True)
    assert drawing.getvalue().decode() in text
    assert "can read and write the folder and start runs here; the connection is not encrypted" in text


def test_a_page_for_this_machine_alone_has_no_code(page: Served) -> None:
    _, _, text = page.ask("/log")
    assert "This page answers on this machine alone." in text
    assert 'class="qr"' not in text


def test_every_address_at_once_is_none_for_a_phone() -> None:
    with pytest.raises(SimError, match=r"Name this machine's own address"):
        bound("0.0.0.0", 0)

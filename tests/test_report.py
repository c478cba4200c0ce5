"""The report page without a browser: what it says, what it holds, what it does with odd stores."""

from __future__ import annotations

import base64
import csv
import hashlib
import io
import json
import re
from html.parser import HTMLParser
from pathlib import Path

import made_store
import numpy as np
import pytest
from PIL import Image

from models.massprops import contact_places, truck_properties
from models.stability import tip_angles
from sim.chart import style
from sim.chart.inline import inline
from sim.chart.tip_polar import tip_curve
from sim.chart.truck_drawing import blocks, truck_drawing
from sim.cli.main import main
from sim.compare.comparison import compare
from sim.compare.export import for_spreadsheet
from sim.errors import SimError
from sim.replay.picks import sheets
from sim.report.charts import OF_STORE, draw_of_sheet, draw_of_store
from sim.report.page import script_json, write_report
from sim.report.truck_card import CardRow, cards
from sim.store.store import Store


class _Page(HTMLParser):
    """Elements, texts and addresses of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self._skip = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag in ("script", "style"):
            self._skip = tag

    def handle_endtag(self, tag: str) -> None:
        if tag == self._skip:
            self._skip = ""

    def handle_data(self, data: str) -> None:
        if not self._skip:
            self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("report")


@pytest.fixture(scope="module")
def written(folder: Path) -> list[Path]:
    return write_report(made_store.make(folder / "two.sqlite"), folder / "two.html", baseline="as it is")


@pytest.fixture(scope="module")
def page(written: list[Path]) -> _Page:
    return _Page(written[0].read_text(encoding="utf-8"))


def test_trials_that_went_over_are_counted_beside_the_margin(written: list[Path], page: _Page) -> None:
    with Store(written[0].with_suffix(".sqlite")) as store:
        cells = compare(store, "as it is").cells
    assert any(cell.rolled.successes for cell in cells)
    for cell in cells:
        assert (f"{cell.margin_median.value:.1f}° {cell.rolled.successes} over" in page.text) == bool(
            cell.rolled.successes)


def test_page_is_one_file_without_addresses_outside(written: list[Path], page: _Page) -> None:
    for tag, attributes in page.tags:
        for name in ("src", "href", "srcset", "action", "data", "xlink:href"):
            address = attributes.get(name)
            assert address is None or address.startswith(("data:", "#")), (tag, address)
    policy = next(a["content"] for t, a in page.tags if a.get("http-equiv") == "Content-Security-Policy")
    assert policy is not None
    assert "unsafe" not in policy
    text = written[0].read_text(encoding="utf-8")
    for kind in ("style", "script"):
        block = re.search(rf"<{kind}>(.*?)</{kind}>", text, re.DOTALL)
        assert block is not None
        digest = base64.b64encode(hashlib.sha256(block[1].encode()).digest()).decode()
        assert f"{kind}-src 'sha256-{digest}'" in policy
    assert not [a for _, a in page.tags if "style" in a], "the policy forbids style attributes"


def test_page_is_small(written: list[Path]) -> None:
    """Two trucks on three obstacles with a recorded trial each; a browser reads it in a blink."""
    assert written[0].stat().st_size < 2e6


def test_page_says_who_won_by_how_much_and_how_sure(page: _Page) -> None:
    assert "Does battery forward do better than as it is?" in page.text
    assert re.search(r"95 % interval", page.text)
    assert "72 trials of 2 trucks on 3 obstacles" in page.text
    for word in ("What was assumed", "Do it again", "Take care", "seed of the study 3", "Lithium"):
        assert word in page.text


def test_page_can_be_read_without_scripts(page: _Page) -> None:
    drawn = [a for t, a in page.tags if t == "svg" and a.get("role") == "img"]
    assert len(drawn) >= 7  # two trucks, tip angles, curve, margins, maps, value
    assert all(a.get("aria-label") for a in drawn)
    stills = [a for t, a in page.tags if t == "img"]
    assert stills
    assert all(a.get("alt") for a in stills)


def test_ids_are_unique(page: _Page) -> None:
    ids = [a["id"] for _, a in page.tags if a.get("id")]
    assert len(ids) == len(set(ids))


def test_csv_beside_the_page_hold_what_the_page_says(written: list[Path], folder: Path) -> None:
    tables = [file.stem for file in written if file.suffix == ".csv"]
    assert tables == ["success", "trucks", "endings", "gains", "margins"]
    with Store(folder / "two.sqlite") as store:
        comparison = compare(store, "as it is")
    rows = list(csv.DictReader(io.StringIO((folder / "two-data" / "success.csv").read_text())))
    assert [int(r["successes"]) for r in rows] == [c.rate.successes for c in comparison.cells]
    endings = list(csv.DictReader(io.StringIO((folder / "two-data" / "endings.csv").read_text())))
    assert sum(int(r["trials"]) for r in endings) == 72
    cleared = sum(int(r["trials"]) for r in endings if r["outcome"] == "cleared")
    assert cleared == sum(c.rate.successes for c in comparison.cells)


def test_downloads_in_the_page_are_the_files_beside_it(page: _Page, folder: Path) -> None:
    links = {a["download"]: a["href"] for t, a in page.tags if t == "a" and "download" in a}
    assert len(links) == 5
    for name, address in links.items():
        assert name is not None
        assert address is not None
        held = base64.b64decode(address.split(",", 1)[1])
        assert held == (folder / "two-data" / name).read_bytes()


@pytest.mark.usefixtures("written")
def test_card_numbers_are_those_of_the_sheets(folder: Path) -> None:
    with Store(folder / "two.sqlite") as store:
        comparison = compare(store, "as it is")
        known = sheets(store)
        found = cards(comparison, store.configurations(), known, ["as it is", "battery forward"], folder)
    sheet = known[found[1].config]
    rows = {row.words: row for row in found[1].rows}
    assert rows["mass"].value == pytest.approx(1e3 * truck_properties(sheet).mass)
    tip = tip_angles(contact_places(sheet), truck_properties(sheet).cg).in_degrees()
    assert rows["tips back on a climb"].value == pytest.approx(tip.back)
    base = {row.words: row for row in found[0].rows}
    assert rows["tips back on a climb"].change == pytest.approx(tip.back - base["tips back on a climb"].value)


@pytest.mark.usefixtures("written")
def test_pooled_pairs_are_the_sum_of_all_places(folder: Path) -> None:
    with Store(folder / "two.sqlite") as store:
        comparison = compare(store, "as it is")
    said = comparison.overall[f"{1:016x}"]
    assert said.table.pairs == 36
    # Every pair met the same chance and the changed truck has the better odds: it never loses one.
    assert said.table.baseline_only == 0
    assert said.word == "better"


def test_tip_curve_meets_the_handbook_angles() -> None:
    sheet = made_store.truck("brass-hub-covers").configuration.sheet
    front, left, back, right = tip_curve(sheet, np.radians([0.0, 90.0, 180.0, 270.0]))
    expected = tip_angles(contact_places(sheet), truck_properties(sheet).cg).in_degrees()
    assert (front, left, back, right) == pytest.approx((expected.front, expected.left, expected.back, expected.right))


def test_drawing_marks_exactly_what_the_change_touches() -> None:
    before = made_store.truck().configuration.sheet
    moved = made_store.truck("battery-forward").configuration.sheet
    states = {b.part.name: b.state for b in blocks(moved, before) if b.state != "same"}
    assert states == {"battery": "moved", "battery tray": "moved"}
    added = blocks(made_store.truck("brass-hub-covers").configuration.sheet, before)
    assert {b.part.name: b.state for b in added if b.state != "same"} == {"brass portal cover": "new"}
    total = sum(b.grams for b in blocks(before, None))
    links = sum(rod.mass_g for axle in (before.axles.front, before.axles.rear) for rod in axle.links)
    shocks = 2.0 * (before.axles.front.shock.mass_g + before.axles.rear.shock.mass_g)
    assert total + links + shocks == pytest.approx(1e3 * truck_properties(before).mass)


def test_empty_store_still_makes_a_page(tmp_path: Path) -> None:
    Store(tmp_path / "e.sqlite", write=True).close()
    (file,) = write_report(tmp_path / "e.sqlite", tmp_path / "e.html")
    said = _Page(file.read_text(encoding="utf-8")).text
    assert "No trials yet." in said
    assert "cragbench batch" in said


def test_single_configuration_without_traces_or_sheets(tmp_path: Path) -> None:
    store = made_store.make(tmp_path / "s.sqlite", ["alone"], traces=0, sheets=False)
    page = _Page(write_report(store, tmp_path / "s.html")[0].read_text(encoding="utf-8"))
    assert "How far does alone get?" in page.text
    assert "Set traces = 2" in page.text
    assert "holds no build sheet" in page.text
    assert not any(a.get("id") == "player" for _, a in page.tags)


def test_names_stay_text(tmp_path: Path) -> None:
    long = "A very long name " * 11 + "that ends here"
    store = made_store.make(tmp_path / "n.sqlite", [made_store.NASTY, long[:200], "=1+1"])
    files = write_report(store, tmp_path / "n.html", baseline=made_store.NASTY)
    text = files[0].read_text(encoding="utf-8")
    page = _Page(text)
    assert made_store.NASTY in page.text
    assert "<script>alert" not in text
    assert sum(t == "script" for t, _ in page.tags) == 2
    rows = list(csv.DictReader(io.StringIO((tmp_path / "n-data" / "trucks.csv").read_text())))
    assert {r["configuration"] for r in rows} == {made_store.NASTY, "'=1+1", long[:200]}


def test_many_configurations_and_obstacles(tmp_path: Path) -> None:
    places = [(f"ledge-on-slope,slope_deg={s}", float(h)) for s in range(5, 13) for h in (10, 14, 18, 22, 26)]
    names = [f"truck {n}" for n in range(20)]
    store = made_store.make(tmp_path / "m.sqlite", names, repeats=3, traces=1, places=places)
    file = write_report(store, tmp_path / "m.html", baseline="truck 0")[0]
    assert file.stat().st_size < 15e6
    page = _Page(file.read_text(encoding="utf-8"))
    assert "2 400 trials of 20 trucks on 40 obstacles" in page.text
    assert sum(t == "details" and "open" in a for t, a in page.tags) == 8
    # Nothing is dropped in silence: what is not shown is counted, with where it is.
    labels = [a.get("aria-label") or "" for t, a in page.tags if t == "svg" and a.get("role") == "img"]
    assert sum("front bias" in label for label in labels) == 20  # all drawn, most folded away
    assert "18 more trucks drawn" in page.text
    assert "Grey: 12 more, less unlike the first." in page.text
    assert "14 more trucks are in endings.csv." in page.text
    left = re.search(r"Also on record, and not in this page: (\d+) obstacles on which the trucks differ less and 14 "
                     r"trucks that differ less from truck 0\. cragbench replay m\.sqlite --truck NAME --obstacle NAME "
                     r"films them", page.text)
    more = re.search(r"(\d+) more of these trials move in the page", page.text)
    assert left is not None
    assert more is not None
    shown = 6 * (len(places) - int(left[1]))  # six trucks at each obstacle that is shown
    assert shown == sum(t == "img" for t, _ in page.tags) + int(more[1])


def test_data_in_scripts_cannot_end_them() -> None:
    data = {"a": "</script><!--", "b": "\u2028", "c": [float("nan"), 1.5]}
    text = str(script_json(data))
    assert "<" not in text
    assert json.loads(text) == {"a": "</script><!--", "b": "\u2028", "c": [None, 1.5]}


def test_formulas_become_texts() -> None:
    assert [for_spreadsheet(v) for v in ("=1", "+1", "-1", "@a", "a", -1.0)] == ["'=1", "'+1", "'-1", "'@a", "a", -1.0]


def test_photo_is_made_small_and_loses_what_it_knew(tmp_path: Path) -> None:
    from sim.report.truck_card import _photo

    exif = Image.Exif()
    exif[0x010E] = "a secret place"
    Image.new("RGB", (3000, 2000), "green").save(tmp_path / "p.jpg", exif=exif)
    sheet = made_store.truck().configuration.sheet
    address = _photo(sheet.model_copy(update={"photo": "p.jpg"}), tmp_path)
    assert address is not None
    raw = base64.b64decode(address.split(",", 1)[1])
    with Image.open(io.BytesIO(raw)) as picture:
        assert max(picture.size) == 720
    assert b"secret" not in raw
    (tmp_path / "q.jpg").write_text("no picture")
    for name in ("q.jpg", "missing.jpg"):
        assert _photo(sheet.model_copy(update={"photo": name}), tmp_path) is None


def test_inline_chart_takes_the_pages_colours() -> None:
    made = truck_drawing(made_store.truck().configuration.sheet)
    text = str(inline(made, 'a "name" <b>', 3))
    assert style.INK not in text
    assert "var(--ink)" in text
    assert "&lt;b&gt;" in text
    assert not re.search(r'\bid="(?!f3-)', text)


@pytest.mark.parametrize("kind", [kind for kind in OF_STORE if kind not in ("value", "limits")])
@pytest.mark.usefixtures("written")
def test_every_chart_alone(kind: str, folder: Path, tmp_path: Path) -> None:
    files = draw_of_store(kind, folder / "two.sqlite", "as it is", tmp_path, ["svg"])
    assert files
    assert all(file.stat().st_size > 5000 for file in files)


def test_charts_of_a_sheet_in_every_format(tmp_path: Path) -> None:
    build = made_store.scenario.builds()[1]
    change = made_store.scenario.change(build, "battery-forward")
    files = draw_of_sheet("all", build, [change], tmp_path, ["png", "svg", "pdf"])
    assert len(files) == 6
    starts = {".png": b"\x89PNG", ".svg": b"<?xml", ".pdf": b"%PDF"}
    assert all(file.read_bytes().startswith(starts[file.suffix]) for file in files)


@pytest.mark.usefixtures("written")
def test_bad_requests_are_told(folder: Path, tmp_path: Path) -> None:
    with pytest.raises(SimError, match="tip-angles"):
        draw_of_store("pie", folder / "two.sqlite", None, tmp_path, ["png"])
    with pytest.raises(SimError, match="no such picture format"):
        draw_of_store("success", folder / "two.sqlite", None, tmp_path, ["bmp"])
    lonely = made_store.make(tmp_path / "l.sqlite", ["alone"], traces=0)
    with pytest.raises(SimError, match="differ in price"):
        draw_of_store("value", lonely, None, tmp_path, ["png"])


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["report", "missing.sqlite"], "no such store"),
        (["chart", "success", "missing.sqlite"], "no such store"),
        (["replay", "missing.sqlite"], "no such store"),
    ],
)
def test_mistakes_on_the_command_line(
    arguments: list[str],
    words: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    assert ended.value.code == 2
    assert words in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_a_change_of_a_percentage_is_in_points() -> None:
    assert CardRow("front axle", 58.4, "%", 1, 7.2).change_text == "+7.2 points"
    assert CardRow("mass", 340.0, "g", 0, -5.0).change_text == "-5 g"
    assert CardRow("tips left", 41.0, "°", 1, 0.04).change_text == ""

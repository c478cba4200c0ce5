"""The report page: everything gathered from a store and written as one file that needs nothing else."""

from __future__ import annotations

import base64
import hashlib
import json
import math
import shlex
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

import jinja2
from markupsafe import Markup
from PIL import Image

from models.plain_text import in_json, without_controls
from sim.chart import style
from sim.chart.inline import Gallery
from sim.chart.share import SIZES
from sim.chart.share import share as share_picture
from sim.chart.value import cost
from sim.compare.comparison import CellResult, Comparison, at, places
from sim.compare.left_out import left_out
from sim.compare.sentences import difference, label, over, share
from sim.errors import writing
from sim.replay.clip import Clip
from sim.replay.page_data import page_data
from sim.replay.picks import Pick, clips, passed_over, picks, sheets
from sim.report import pictures
from sim.report.csv_files import csv_texts
from sim.report.endings import endings
from sim.report.kit import PLAN, archive, kit, missing
from sim.report.reading import matrix, read
from sim.report.truck_card import TruckCard, cards, gains
from sim.report.verdict import answer, balance, question, sentence
from sim.store.store import Store, StoredTruck
from terrain.whole_file import whole

CLIP_BYTES = 4_500_000
"""Room for recorded trials in the page."""
OPEN_PLACES = 8
"""Obstacles whose table is open from the start."""
PLAYER = ("raster.js", "scene.js", "overlay.js", "player.js")
KIT = "again.zip"
"""Archive of plan, sheets and changes."""
Watch = Callable[[str], None]


@dataclass(frozen=True)
class PlaceTable:
    """Success rates at one place."""

    label: str
    driver: str
    cells: tuple[CellResult, ...]
    open: bool


def write_report(
    store_file: Path, out: Path, *, baseline: str | None = None, watch: Watch | None = None, tilt: int = 0
) -> list[Path]:
    """Write the page and its CSV files beside it; returns the files, the page first.

    ``tilt`` directions on a simulated tilt table are added to the tip angles; its results are kept beside the store.

    :raises SimError: Not a store, no such baseline, or a place that cannot be written.
    """
    tell = watch or (lambda _: None)
    with Store(store_file) as store:
        page = render(store, baseline, tell, tilt)
    tell("writing")
    folder = out.with_name(f"{out.stem}-data")
    written = [out]
    with writing(out, "Give another file with --out"):
        out.parent.mkdir(parents=True, exist_ok=True)
        if page.tables:
            folder.mkdir(exist_ok=True)
        for name, table in page.tables.items():
            (folder / name).write_text(table, encoding="utf-8", newline="")
            written.append(folder / name)
        for name, picture in page.shares.items():
            picture.save(folder / name)
            written.append(folder / name)
        if page.kit:
            (folder / KIT).write_bytes(page.kit)
            written.append(folder / KIT)
        # The page appears whole or not at all.
        with whole(out) as part:
            part.write_text(page.text, encoding="utf-8")
    return written


@dataclass(frozen=True)
class Rendered:
    """A page and what lies beside it."""

    text: str
    tables: Mapping[str, str]
    """CSV texts by file name."""
    shares: Mapping[str, Image.Image]
    """Pictures to share by file name."""
    kit: bytes
    """Archive of plan, sheets and changes; empty where the store does not hold them."""


def render(store: Store, baseline: str | None, tell: Watch, tilt: int = 0) -> Rendered:
    """Make the page of an open store, and what lies beside it."""
    if store.latest() is None:
        return Rendered(_template().render(empty=True, store=store.path.name, title=store.path.stem), {}, {}, b"")
    tell("comparing")
    reading = read(store, baseline, tilt)
    comparison, names = reading.comparison, reading.names
    known = store.configurations()
    found = cards(comparison, known, sheets(store), names, store.path.absolute().parent)
    ends = endings(store, comparison)
    tell("choosing recorded trials")
    chosen = clips(store, picks(store, comparison, names), tell, comparison.baseline.hash)
    shown = _within(chosen)
    won = gains(found, known)
    tables = csv_texts(comparison, found, ends, chosen, won)
    tell("drawing charts")
    gallery = Gallery()
    heads, rows = matrix(comparison)
    stills = pictures.stills(shown)
    context: dict[str, Any] = {
        "empty": False,
        "store": store.path.name,
        "comparison": comparison,
        "left_out": left_out(store, comparison),
        "reading": reading,
        "cards": found,
        "comparison_names": names,
        "heads": heads,
        "rows": rows,
        "places": _place_tables(comparison),
        "trials": sum(cell.rate.trials for cell in comparison.cells),
        "answer": answer(comparison),
        "told": [sentence(text) for text in reading.sentences[1:]],
        "costs": [cost(gain) for gain in won],
        "balances": [balance(comparison, gain) for gain in won],
        "curves": pictures.curves(gallery, comparison, names),
        "margin_charts": pictures.margins(gallery, shown),
        "maps": pictures.maps(gallery, ends, found, comparison),
        "worth": pictures.worth(gallery, won, comparison.baseline.name),
        "drawings": pictures.drawings(gallery, found),
        "polar": pictures.polar(gallery, reading),
        "stills": stills,
        "unplayed": passed_over(store, comparison, [pick for pick, _ in shown]),
        "unpictured": len(shown) - len(stills),
        "tables": {name: _data_address(table) for name, table in tables.items()},
        "replay": _replay(shown),
        **_story(store, comparison, found),
    }
    driven = [known[card.config] for card in found if card.config in known]
    packed = _packed(context["plan_text"], driven, store.path.name)
    context |= {"kit": _address(packed, "application/zip") if packed else "", "kit_name": KIT, "plan_name": PLAN,
                "needs": missing(context["plan_text"], driven)}
    tell("putting the page together")
    foot = f"{context['trials']} simulated trials" + (", invented trucks" if context["invented"] else "")
    moments = [(base64.b64decode(still.address.partition(",")[2]), still.caption) for still in stills[:2]]
    shares = {f"share-{shape}.png": share_picture(context["question"], context["answer"], foot, moments, shape)
              for shape in SIZES}
    return Rendered(without_controls(_template().render(context)), tables, shares, packed)


def _packed(plan: str, driven: Sequence[StoredTruck], store: str) -> bytes:
    texts = kit(plan, driven, store)
    return archive(texts) if texts else b""


def _place_tables(comparison: Comparison) -> list[PlaceTable]:
    found = []
    several = len({c.driver for c in comparison.cells}) > 1
    for n, where in enumerate(places(comparison.cells)):
        cells = at(comparison.cells, where)
        found.append(PlaceTable(label(cells[0]), where[2] if several else "", tuple(cells), n < OPEN_PLACES))
    return found


def _within(chosen: Sequence[tuple[Pick, Clip]]) -> list[tuple[Pick, Clip]]:
    """As many whole places as there is room for."""
    out: list[tuple[Pick, Clip]] = []
    room = CLIP_BYTES
    for text in dict.fromkeys(pick.label for pick, _ in chosen):
        mine = [entry for entry in chosen if entry[0].label == text]
        room -= 80_000 + sum(260 * min(1000, len(clip.trace.time) // 2) for _, clip in mine)
        if room < 0 and out:
            break
        out += mine
    return out


def _story(store: Store, comparison: Comparison, found: Sequence[TruckCard]) -> dict[str, Any]:
    """What was asked, assumed, and how to do it again."""
    plans = store.plans()
    name, text = (plans[-1][1], plans[-1][2]) if plans else (store.path.stem, "")
    note, seed = "", None
    variation: dict[str, Any] = {}
    try:
        plan = tomllib.loads(text)
        note, seed = str(plan.get("note", "")), plan.get("seed", 1) if text else None
        variation = plan.get("variation", {}) if isinstance(plan.get("variation", {}), dict) else {}
    except tomllib.TOMLDecodeError:
        pass
    assumed = list(dict.fromkeys(key for card in found if card.sheet for key in card.sheet.assumed))
    return {
        "title": name,
        "note": note,
        "question": question(found),
        "plan_text": text,
        "plans": len(plans),
        "seed": seed,
        "variation": {key.replace("_", " "): value for key, value in variation.items()},
        "assumed": assumed,
        "drivers": sorted({cell.driver for cell in comparison.cells}),
        "invented": any(card.invented for card in found),
        "versions": comparison.versions,
    }


def _replay(shown: Sequence[tuple[Pick, Clip]]) -> Markup:
    """What the player reads."""
    replay = page_data([clip for _, clip in shown], dict(style.SCENE))
    for (pick, _), made in zip(shown, replay["clips"], strict=True):
        made.update(label=pick.label, colour=style.colour(pick.series), series=pick.series)
    return script_json(replay)


def _page_script() -> Markup:
    player = [_text("sim.replay", "page", name) for name in PLAYER]
    return Markup("\n".join([*player, _text("sim.report", "templates", "page.js")]))


def script_json(data: Any) -> Markup:
    """JSON that may stand inside a script element whatever texts it holds."""
    text = json.dumps(_finite(data), ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    for sign in "<>&":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return Markup(in_json(text))


def _finite(data: Any) -> Any:
    if isinstance(data, dict):
        return {key: _finite(value) for key, value in data.items()}
    if isinstance(data, list):
        return [_finite(value) for value in data]
    return None if isinstance(data, float) and not math.isfinite(data) else data


def _data_address(table: str) -> str:
    return _address(table.encode(), "text/csv;charset=utf-8")


def _address(data: bytes, kind: str) -> str:
    return f"data:{kind};base64," + base64.b64encode(data).decode("ascii")


def _template() -> jinja2.Template:
    environment = jinja2.Environment(
        loader=jinja2.FunctionLoader(lambda name: _text("sim.report", "templates", name)),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    css, script = _css(), _page_script()
    environment.globals.update(
        share=share, difference=difference, label=label, over=over, marks=MARK_PATHS,
        isfinite=math.isfinite, css=css,
        quote=shlex.quote,
        page_js=script, css_hash=_digest(css), js_hash=_digest(script),
    )
    return environment.get_template("page.html.j2")


def _digest(text: str) -> str:
    """Source expression of a content security policy (W3C CSP Level 3, section 2.3.1) for one inline block."""
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode("ascii")


def _css() -> Markup:
    tones = "".join(f"--s{i}:{tone};" for i, tone in enumerate(style.COLOURS))
    return Markup(f":root{{{tones}}}\n" + _text("sim.report", "templates", "page.css"))


def _text(package: str, folder: str, name: str) -> str:
    return (files(package) / folder / name).read_text(encoding="utf-8")


MARK_PATHS = (
    "M8 2a6 6 0 1 0 .01 0z",
    "M2.5 2.5h11v11h-11z",
    "M8 1l7 7-7 7-7-7z",
    "M8 2l7 12H1z",
    "M8 14L1 2h14z",
    "M5.5 2h5v3.5H14v5h-3.5V14h-5v-3.5H2v-5h3.5z",
    "M4 1l4 4 4-4 3 3-4 4 4 4-3 3-4-4-4 4-3-3 4-4-4-4z",
    "M8 1l2 4.9 5.2.4-4 3.4 1.3 5.1L8 12l-4.5 2.8 1.3-5.1-4-3.4L6 5.9z",
)
"""The marks of sim.chart.style.MARKS as SVG paths in a box of 16."""

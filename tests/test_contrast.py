"""Every mark stands out 3:1 from the white and from the dark page, by the formula of WCAG 2.2 (criterion 1.4.11)."""

from __future__ import annotations

import re
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any

import made_store
import pytest
from matplotlib.collections import PathCollection
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from test_chart_words import decided

from sim.chart import style
from sim.chart.inline import _TONES
from sim.report import charts
from sim.store.store import Store

LEAST = 3.0
QUIET_BY_DESIGN = {style.GRID, style.PAPER, style.BAND}
"""Not marks: lines of a grid, plates behind words, what is left white inside of a mark."""


def luminance(tone: str) -> float:
    """Relative luminance (WCAG 2.2, definitions)."""
    parts = [int(tone.lstrip("#")[k : k + 2], 16) / 255.0 for k in (0, 2, 4)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: str, other: str) -> float:
    """Contrast ratio (WCAG 2.2, definitions): 1 to 21."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def themes(package: str, folder: str, name: str) -> list[dict[str, str]]:
    """Colours by name of every block of a style sheet that sets them; a short #abc is written out."""
    text = (files(package) / folder / name).read_text(encoding="utf-8")
    found = [dict(re.findall(r"--([a-z]+\d?): *(#[0-9a-f]{3,6})\b", block)) for block in
             re.findall(r":root[^{]*\{([^}]*)\}", text)]
    return [{key: tone if len(tone) == 7 else "#" + "".join(2 * c for c in tone[1:]) for key, tone in one.items()}
            for one in found if "paper" in one]


def weak(theme: dict[str, str], names: set[str]) -> dict[str, float]:
    """Colours of a theme that do not stand out from its paper, with their contrast."""
    found = {name: contrast(theme[name], theme["paper"]) for name in names}
    return {name: ratio for name, ratio in found.items() if ratio < LEAST}


def test_the_formula_gives_its_known_ends() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#336699", "#336699") == pytest.approx(1.0)
    # The lightest grey that passes 4.5:1 on white (W3C, Understanding WCAG 2.2, criterion 1.4.3; from memory).
    assert contrast("#777777", "#ffffff") < 4.5 < contrast("#767676", "#ffffff")
    assert contrast("#E69F00", "#ffffff") < 2.4  # the palette's own orange, before it was darkened


def test_series_and_words_of_a_margin_stand_out_from_white() -> None:
    tones = [*style.COLOURS, style.INK, style.QUIET, style.FAINT, style.FAILED, *(b[1] for b in style.MARGIN_BANDS)]
    assert [(tone, contrast(tone, style.PAPER)) for tone in tones if contrast(tone, style.PAPER) < LEAST] == []


def test_the_reports_dark_colours_stand_out() -> None:
    light, *darks = themes("sim.report", "templates", "page.css")
    assert len(darks) == 2  # asked for by the button, and by the system
    assert darks[0] == darks[1]
    marks = {"ink", "quiet", "faint", "alarm", "accent"}
    assert set(darks[0]) >= marks | {f"s{n}" for n in range(len(style.COLOURS))}
    for theme, names in ((light, marks), (darks[0], marks | {f"s{n}" for n in range(len(style.COLOURS))})):
        assert weak(theme, names) == {}


def test_the_benchs_colours_stand_out_in_both_schemes() -> None:
    found = themes("sim.page", "static", "page.css")
    assert len(found) == 2
    for theme in found:
        assert weak(theme, {"ink", "quiet", "edge", "rod", "accent", "alarm", "good"}) == {}


def marks(made: Figure) -> Iterator[tuple[str, str]]:
    """Colour of every line, mark and edge that is drawn, with what it belongs to; bands that others lie on left out."""
    for artist in made.findobj():
        if not artist.get_visible() or artist.get_alpha() not in (None, 1.0):
            continue
        if isinstance(artist, Line2D):
            has_line, has_mark = artist.get_linestyle() != "None", artist.get_marker() not in ("None", "", None)
            if has_line:
                yield to_hex(artist.get_color()), "line"
            if has_mark:
                face, edge = (to_hex(x) for x in (artist.get_markerfacecolor(), artist.get_markeredgecolor()))
                yield (edge if face.lower() == style.PAPER else face), "mark"
        elif isinstance(artist, PathCollection):
            yield from ((to_hex(one), "mark") for one in artist.get_facecolor())
        elif isinstance(artist, Patch) and artist.get_linewidth() > 0:
            edge = to_hex(artist.get_edgecolor(), keep_alpha=True)
            if edge.endswith("ff"):
                yield edge[:7], "edge"


def faint(made: Figure, dark: dict[str, str]) -> set[tuple[str, str, str]]:
    """Marks that do not stand out from white, or from the dark page once it has put its own colours in."""
    out = set()
    own = {tone.lower(): name for tone, name in _TONES.items()}
    quiet = {tone.lower() for tone in QUIET_BY_DESIGN}
    for tone, what in marks(made):
        if tone.lower() in quiet:
            continue
        if contrast(tone, style.PAPER) < LEAST:
            out.add((tone, what, "white"))
        there = tone if tone.lower() not in own else dark.get(own[tone.lower()], "")
        if there and contrast(there, dark["paper"]) < LEAST:
            out.add((tone, what, "dark"))
    return out


@pytest.fixture(scope="module")
def dark() -> dict[str, str]:
    return themes("sim.report", "templates", "page.css")[1]


def test_every_mark_of_every_chart_of_a_store(dark: dict[str, str], tmp_path: Path) -> None:
    file = made_store.make(tmp_path / "s.sqlite", [f"truck {n}" for n in range(10)], repeats=12, places=(
        ("climb", 45.0), *(("ledge-on-slope,slope_deg=15", level) for level in (15.0, 20.0, 25.0, 30.0))))
    found: dict[str, set[Any]] = {}
    with Store(file) as store:
        subject = charts.Subject.of(store, None)
        for kind, draw in charts.OF_STORE.items():
            made = list(draw(subject))
            assert made or kind == "value"  # these trucks cost alike
            for _, figure in made:
                assert len(list(marks(figure))) > 4
                found[kind] = found.get(kind, set()) | faint(figure, dark)
    assert {kind: bad for kind, bad in found.items() if bad} == {}


@pytest.mark.parametrize("kind", ["worth", "budget", "doubt", "shift"])
def test_every_mark_of_a_decision(kind: str, dark: dict[str, str]) -> None:
    # These are drawn on white alone.
    assert {one for one in faint(decided(kind, 6), dark) if one[2] == "white"} == set()

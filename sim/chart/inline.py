"""Charts as inline SVG that takes the page's colours and says what one points at, with scripts or without."""

from __future__ import annotations

import io
import re

from markupsafe import Markup
from matplotlib.figure import Figure

from sim.chart import style

CARD = 4.3
"""Inches: the width at which a chart is drawn for the page, so that its smallest letters are 11 px on a phone."""


class Gallery:
    """Makes inline figures and numbers them, so that many share a page."""

    def __init__(self) -> None:
        self._made = 0

    def take(self, made: Figure, description: str) -> Markup:
        """SVG element of a figure that says ``description`` to who cannot see it."""
        self._made += 1
        return inline(made, description, self._made)


def inline(made: Figure, description: str, number: int) -> Markup:
    """SVG element of a figure; its ids get a prefix by ``number``.

    What :func:`sim.chart.style.note` said of an artist becomes the title of its group, which every browser shows to
    who points at it, and its series an attribute by which the page hides and shows it.
    """
    buffer = io.StringIO()
    made.savefig(buffer, format="svg", metadata={"Date": None})
    text = buffer.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    # Two digits behind the point are a hundredth of a pixel.
    text = re.sub(r"(\d+\.\d\d)\d+", r"\1", text)
    known = style.notes(made)
    text = re.sub(r'<g id="(note\d+)">', lambda found: _group(found[1], known[found[1]]), text)
    text = re.sub(r'\bid="', f'id="f{number}-', text)
    text = re.sub(r"url\(#", f"url(#f{number}-", text)
    text = re.sub(r'href="#', f'href="#f{number}-', text)
    for tone, name in _TONES.items():
        text = re.sub(rf"{tone}\b", f"var(--{name})", text, flags=re.IGNORECASE)
    # A page that forbids inline styles takes attributes; the rest stands in its own style sheet.
    text = re.sub(r'<style type="text/css">.*?</style>', "", text, flags=re.DOTALL)
    text = re.sub(r' style="([^"]*)"', lambda found: _attributes(found[1]), text)
    opening = text[: text.index(">")]
    sized = re.sub(r'\s(width|height)="[^"]*"', "", opening)
    label = Markup.escape(description)
    return Markup(f'{sized} role="img" aria-label="{label}"') + Markup(text[len(opening) :])


def _group(name: str, note: style.Note) -> str:
    series = "" if note.series is None else f' data-series="{note.series}"'
    kind = f' class="{note.kind}"' if note.kind else ""
    said = f"<title>{Markup.escape(note.text)}</title>" if note.text else ""
    return f'<g id="{name}"{kind}{series}>{said}'


def _attributes(style_text: str) -> str:
    """CSS declarations as presentation attributes (SVG 2, section 6.6)."""
    out = []
    for declaration in filter(None, (part.strip() for part in style_text.split(";"))):
        name, _, value = declaration.partition(":")
        name, value = name.strip(), value.strip()
        if name == "font":
            weight, size = re.match(r"(bold |\d+ )?([\d.]+px)", value).groups()  # type: ignore[union-attr]
            out += [f'font-size="{size}"'] + ([f'font-weight="{weight.strip()}"'] if weight else [])
        else:
            out.append(f'{name}="{value}"')
    return "".join(f" {one}" for one in out)


_TONES = {
    style.INK: "ink",
    style.QUIET: "quiet",
    style.FAINT: "faint",
    style.GRID: "grid",
    style.PAPER: "paper",
    style.BAND: "band",
    style.PART: "part",
    style.CHANGED: "changed",
    style.TYRE: "tyre",
    style.EARTH: "earth",
    **{tone: f"s{i}" for i, tone in enumerate(style.COLOURS)},
}

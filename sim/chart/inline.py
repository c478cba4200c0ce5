"""Charts as inline SVG that takes the page's colours, so that a dark page has dark charts."""

from __future__ import annotations

import io
import re

from markupsafe import Markup
from matplotlib.figure import Figure

from sim.chart import style

CARD = 4.9
"""Inches: the width at which a chart is drawn for the page, so that its text can be read on a phone."""


class Gallery:
    """Makes inline figures and numbers them, so that many share a page."""

    def __init__(self) -> None:
        self._made = 0

    def take(self, made: Figure, description: str) -> Markup:
        """SVG element of a figure that says ``description`` to who cannot see it."""
        self._made += 1
        return inline(made, description, self._made)


def inline(made: Figure, description: str, number: int) -> Markup:
    """SVG element of a figure; its ids get a prefix by ``number``."""
    buffer = io.StringIO()
    made.savefig(buffer, format="svg", metadata={"Date": None})
    text = buffer.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = re.sub(r'\bid="', f'id="f{number}-', text)
    text = re.sub(r"url\(#", f"url(#f{number}-", text)
    text = re.sub(r'href="#', f'href="#f{number}-', text)
    for tone, name in _TONES.items():
        text = re.sub(rf"{tone}\b", f"var(--{name})", text, flags=re.IGNORECASE)
    # The same letter widths where the first font is missing.
    text = text.replace("'DejaVu Sans'", "'DejaVu Sans', Verdana, sans-serif")
    opening = text[: text.index(">")]
    sized = re.sub(r'\s(width|height)="[^"]*"', "", opening)
    label = Markup.escape(description)
    return Markup(f'{sized} role="img" aria-label="{label}"') + Markup(text[len(opening) :])


_TONES = {
    style.INK: "ink",
    style.QUIET: "quiet",
    style.GRID: "grid",
    style.PAPER: "paper",
    "#f4f6f8": "band",
    **{tone: f"s{i}" for i, tone in enumerate(style.COLOURS)},
}

"""Words in charts: none is cut, none lies over another or off the picture, whatever the names and however many.

Bounding boxes are those that the drawing library itself sets the words in, one pixel off allowed. Every chart of a
store and of the decisions is drawn with 2, 6 and 16 trucks whose names are long.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import made_store
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.transforms import Bbox

from sim.chart.inline import CARD
from sim.chart.value import ValueMark, value
from sim.report import charts
from sim.statistics.interval import Estimate
from sim.store.store import Store

SLACK = 1.5
"""Pixels that two boxes may share: the space that letters leave free in their own."""
PLACES = (("ledge", 20.0), ("ledge", 30.0), ("ledge-on-slope,slope_deg=15", 25.0), ("climb", 45.0))


def long_names(count: int) -> list[str]:
    """Names of 30 to 60 letters that differ only at their ends, one of them without a space."""
    names = [f"battery forward with the light shell and wide hubs, number {n}" for n in range(count)]
    names[1] = "battery-forward-and-nothing-else-whatsoever-" + "x" * 12
    return names


def words(made: Figure) -> list[tuple[Text, Bbox]]:
    """Every text that is drawn, with its box in pixels."""
    canvas = made.canvas
    assert isinstance(canvas, FigureCanvasAgg)
    canvas.draw()
    renderer = canvas.get_renderer()
    found: list[Text] = [*made.texts]
    for axes in made.axes:
        found += [*axes.texts, axes.title, axes._left_title, axes._right_title]
        found += [t for legend in [axes.get_legend()] if legend for t in legend.get_texts()]
        for axis in (axes.xaxis, axes.yaxis) if axes.axison else ():
            # Only the ticks inside the view are drawn.
            found += [axis.label, *(label for tick in axis._update_ticks() for label in (tick.label1, tick.label2))]
    return [
        (text, Text.get_window_extent(text, renderer))
        for text in found
        if text.get_visible() and text.get_text().strip()
    ]


def faults(made: Figure) -> list[str]:
    """What is cut, lies over other words, is too small or ends in dots."""
    found = words(made)
    width, height = made.canvas.get_width_height()
    out = [f"off the picture: {t.get_text()!r}" for t, b in found
           if b.x0 < -SLACK or b.y0 < -SLACK or b.x1 > width + SLACK or b.y1 > height + SLACK]
    for (one, a), (other, b) in itertools.combinations(found, 2):
        across = min(a.x1, b.x1) - max(a.x0, b.x0)
        up = min(a.y1, b.y1) - max(a.y0, b.y0)
        if across > SLACK and up > SLACK:
            out.append(f"{one.get_text()!r} over {other.get_text()!r}")
    out += [f"cut: {t.get_text()!r}" for t, _ in found if t.get_text().rstrip().endswith("…")]
    return out


def too_small(made: Figure) -> list[str]:
    """Words under 11 px on a phone 360 px wide, which leaves a chart 331."""
    scale = 331.0 / (72.0 * made.get_figwidth())
    return [t.get_text() for t, _ in words(made) if t.get_fontsize() * scale < 10.99]


@pytest.fixture(scope="module", params=[2, 6, 16])
def subject(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    file = tmp_path_factory.mktemp("words") / "s.sqlite"
    made_store.make(file, long_names(request.param), repeats=14, places=PLACES)
    with Store(file) as store:
        yield charts.Subject.of(store, None)


@pytest.mark.parametrize("kind", [kind for kind in charts.OF_STORE if kind not in ("limits", "value")])
def test_no_word_of_a_store_chart_is_cut_or_covered(kind: str, subject: Any) -> None:
    """The made trucks cost alike, and limits need levels of one kind: "value" is drawn below, "limits" not yet."""
    made = list(charts.OF_STORE[kind](subject))
    assert made, f"no chart of {kind}"
    assert {name: faults(figure) for name, figure in made if faults(figure)} == {}


@pytest.mark.parametrize("kind", ["difficulty", "margin-time", "failures", "truck", "tip-angles"])
def test_the_pages_charts_can_be_read_on_a_phone(kind: str, subject: Any) -> None:
    made = charts.OF_STORE[kind](replace(subject, width=CARD))
    found = {name: faults(figure) + too_small(figure) for name, figure in made}
    assert {name: wrong for name, wrong in found.items() if wrong} == {}


@pytest.mark.parametrize("count", [2, 6, 16])
def test_no_word_of_what_a_change_buys_is_cut_or_covered(count: int) -> None:
    marks = [
        ValueMark(name, k + 1, 4.0 * k - 6.0, 5.0 + 7.0 * k, "USD", Estimate(0.05 * k - 0.2, 0.05 * k - 0.3, 0.05 * k),
                  40)
        for k, name in enumerate(long_names(count))
    ]  # fmt: skip
    made = value(marks, "as it is")
    assert made is not None
    assert faults(made) == []

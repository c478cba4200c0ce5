"""Of many trucks and obstacles nothing is dropped in silence: the most different are shown, the rest is counted."""

from __future__ import annotations

from typing import Any

import made_store
import numpy as np
import pytest

from models.scenario import builds
from models.sheet import load_sheet
from sim.chart import style
from sim.chart.failure_map import MOST_TRUCKS, Endings, failure_map, telling
from sim.chart.inline import CARD
from sim.chart.tip_polar import MOST, strong, tip_polar
from sim.trial import ground_cache


def said(made: Any) -> str:
    return " ".join(" ".join(text.get_text() for text in made.texts).split())


def test_a_polar_of_twelve_shows_those_that_differ_most_whatever_their_order() -> None:
    sheet = load_sheet(builds()[0])

    def moved(by: float) -> Any:
        parts = [part.model_copy(update={"at_mm": (part.at_mm[0] + by, *part.at_mm[1:])}) if part.name == "battery"
                 else part for part in sheet.parts]
        return sheet.model_copy(update={"parts": tuple(parts)})

    # The plan's order says nothing: the farther a pack is moved, the further the angles go.
    order = [0, 3, 80, 10, 60, 1, 90, 20, 70, 5, 50, 40]
    trucks = [(f"pack {by} mm", n, moved(float(by))) for n, by in enumerate(order)]
    assert set(strong(trucks)) == {f"pack {by} mm" for by in (0, 90, 80, 70, 60, 50, 40, 20)}
    drawn = tip_polar(trucks)
    assert f"Grey: {len(order) - MOST} more, less unlike the first." in said(drawn)
    told = [note.text for note in style.notes(drawn).values()]
    assert all(any(name in text for text in told) for name, *_ in trucks)  # the grey ones too are there, by name


def endings(count: int) -> list[Endings]:
    return [Endings(f"truck {n}", n, 20, np.full(failed, 0.3), ("tipped back",) * failed)
            for n, failed in enumerate([10, 11, 9, 10, 1, 11, 20, 10, 2, 19, 3, 12][:count])]


def test_a_map_of_twelve_shows_those_that_fail_most_unlike_the_first() -> None:
    assert [one.name for one in telling(endings(12))] == ["truck 0", *(f"truck {n}" for n in (4, 6, 8, 9, 10))]
    yard = made_store.yard_of(made_store.truck().model).text()
    ground = ground_cache.ground("ledge,roughness_mm=0", 30.0, yard, None, 1)
    left = f"{12 - MOST_TRUCKS} more trucks are in endings.csv."
    assert left in said(failure_map(ground, endings(12), "ledge 30 mm"))
    assert "endings.csv" not in said(failure_map(ground, endings(6), "ledge 30 mm"))


@pytest.mark.parametrize("width", [5.6, CARD])
@pytest.mark.parametrize(("family", "level"), [("climb", 52.0), ("descent", 52.0), ("ledge", 30.0), ("twist", 20.0)])
def test_a_maps_heights_and_lengths_are_to_one_scale(family: str, level: float, width: float) -> None:
    yard = made_store.yard_of(made_store.truck().model).text()
    ground = ground_cache.ground(f"{family},roughness_mm=0", level, yard, None, 1)
    made = failure_map(ground, endings(2), "here", width)
    plan, counts, profile = made.axes
    (x0, y0), (x1, y1) = profile.transData.transform([[0.0, 0.0], [100.0, 100.0]])
    assert y1 - y0 == pytest.approx(x1 - x0, rel=1e-3)
    (a0, b0), (a1, b1) = plan.transData.transform([[0.0, 0.0], [100.0, 100.0]])
    assert b1 - b0 == pytest.approx(a1 - a0, rel=1e-3)
    assert a1 - a0 == pytest.approx(x1 - x0, rel=1e-9)  # the marks stand over their place on the profile
    assert counts.get_xlim() == profile.get_xlim()
    if family == "climb":
        # What 52 degrees look like: the steepest piece of the drawn line.
        line = max(profile.lines, key=lambda one: len(one.get_xdata()))
        seen = profile.transData.transform(np.column_stack([line.get_xdata(), line.get_ydata()]))
        steps = np.diff(seen, axis=0)
        assert np.degrees(np.arctan2(steps[:, 1], steps[:, 0])).max() == pytest.approx(52.0, abs=1.5)

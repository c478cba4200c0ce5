"""Words in charts: none is cut, none lies over another or off the picture, whatever the names and however many.

Bounding boxes are those that the drawing library itself sets the words in, one pixel off allowed. Every chart of a
store and of the decisions is drawn with 2, 6 and 16 trucks (changes, unknowns, kinds of ground) whose names are long:
54 of these pictures again as a phone has them; forms to print and drawings of terrain stand beside them.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import made_store
import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.transforms import Bbox
from test_decision_shift import GUNDI, LINES, Additive, doubted, look
from test_explore import AIMS, Effort, propose, searched, success_map
from test_reality_learning import made_up

from models.bench.session import fit
from models.change import load_change
from models.edit import apply
from models.massprops import truck_properties, wheel_loads
from models.scenario import DATA, builds, change
from models.sheet import load_sheet
from sim.chart import forms
from sim.chart.bench_chart import lift_chart, moved_chart
from sim.chart.budget import budget as draw_budget
from sim.chart.doubt import doubt as draw_doubt
from sim.chart.drilling import drilling as draw_drilling
from sim.chart.explore import front as draw_front
from sim.chart.explore import success_map as draw_map
from sim.chart.inline import CARD
from sim.chart.reality_chart import calibration_chart, learning_chart
from sim.chart.shift import shift as draw_shift
from sim.chart.terrain_chart import SideView, obstacle_chart
from sim.chart.two_views import two_views
from sim.chart.value import ValueMark, value
from sim.chart.worth import worth as draw_worth
from sim.decision.budget import budget, choices
from sim.decision.change_sets import drawer
from sim.decision.drilling import template
from sim.decision.worth import worth
from sim.reality.verdict import compare
from sim.report import charts
from sim.statistics.interval import Estimate
from sim.store.store import Store
from terrain import catalog
from terrain.families.registry import FAMILIES
from terrain.from_file import gates
from terrain.yardstick import Yardstick

TITLE = "A finding that takes a line and a half of a chart when it is said with the names of the trucks it is about"
ASSUMED = "By simulation: steady driver; luck varies start, grip, rocks and battery."
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
    out += [f"not a letter: {t.get_text()!r}" for t, _ in found if "\N{REPLACEMENT CHARACTER}" in t.get_text()]
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
    """The made trucks cost alike, and limits need levels of one kind: these two are drawn below."""
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


@pytest.mark.parametrize("count", [2, 6, 16])
@pytest.mark.parametrize("width", [5.6, CARD])
def test_no_word_of_a_limit_is_cut_or_covered(count: int, width: float, tmp_path: Path) -> None:
    file = made_store.make(tmp_path / "s.sqlite", long_names(count), repeats=20, traces=0,
                           places=[("ledge-on-slope,slope_deg=15", level) for level in (15.0, 20.0, 25.0, 30.0, 35.0)])
    with Store(file) as store:
        made = list(charts.OF_STORE["limits"](replace(charts.Subject.of(store, None), width=width)))
    assert len(made) == 1
    assert faults(made[0][1]) == []


def cycled(some: Sequence[Any], count: int, **changed: Any) -> tuple[Any, ...]:
    """As many answers as asked for, each with its long name."""
    return tuple(replace(some[k % len(some)], **{key: value(k, name) for key, value in changed.items()})
                 for k, name in enumerate(long_names(count)))


@cache
def bought() -> tuple[Any, Any]:
    """What two changes are worth, and what to buy of them, on made-up limits."""
    box = drawer(GUNDI, [load_change(change("gundi", name)) for name in ("battery-forward", "front-wheel-rings")])
    return worth(box, Additive(box), LINES, 12), budget(choices(box, 20.0), Additive(box), LINES, repeats=12, sets=3)


def decided(kind: str, count: int) -> Figure:
    """The chart of a decision between or about so many things."""
    if kind == "worth":
        answer = bought()[0]
        shares = cycled(answer.shares, count, name=lambda _, name: name)
        return draw_worth(replace(answer, shares=shares), TITLE, ASSUMED)
    if kind == "budget":
        answer = bought()[1]
        drawer = SimpleNamespace(names=tuple(long_names(count)))
        sets = cycled(answer.sets, count, mask=lambda k, _: 1 << k, money=lambda k, _: 3.0 * k,
                      behind=lambda *_: answer.sets[0].gain)
        order = cycled(answer.order, count, name=lambda _, name: name)
        return draw_budget(replace(answer, sets=sets, order=order, choice=replace(answer.choice, drawer=drawer)), TITLE,
                           ASSUMED)
    if kind == "doubt":
        answer = doubted({"grip": 4.0, "motor": 0.4})
        some = tuple(replace(answer.influences[k % len(answer.influences)],
                             unknown=replace(answer.influences[k % len(answer.influences)].unknown, name=name))
                     for k, name in enumerate(long_names(count)))
        return draw_doubt(replace(answer, influences=some), TITLE, ASSUMED)
    found = look(0.10, 0.04, 67.0, 117.0)
    lines = tuple(replace(found.lines[k % 2], obstacle=f"{name}.ground.npz".replace(",", ""))
                  for k, name in enumerate(long_names(count)))
    limit = found.found.limit[:, [k % 2 for k in range(count)]]
    return draw_shift(replace(found, lines=lines, found=replace(found.found, lines=lines, limit=limit),
                              move=replace(found.move, part=long_names(2)[0])), TITLE, ASSUMED)


@pytest.mark.parametrize("count", [2, 6, 16])
@pytest.mark.parametrize("kind", ["worth", "budget", "doubt", "shift"])
def test_no_word_of_a_decision_is_cut_or_covered(kind: str, count: int) -> None:
    assert faults(decided(kind, count)) == []


@pytest.mark.parametrize("count", [2, 6, 16])
def test_no_word_of_a_search_is_cut_or_covered(count: int) -> None:
    shop, _, found = searched(again=1)  # a map adds to what was driven
    answer = propose(found, Effort(150, most=24, confirm=40))
    assert len(answer.proposals) == 3  # there are never more
    named = tuple(replace(one, setup=replace(one.setup, name=name))
                  for one, name in zip(answer.proposals, long_names(3), strict=True))
    assert faults(draw_front(replace(answer, proposals=named), TITLE, ASSUMED)) == []
    grid = success_map(found, ("battery", "hub"), shop.now, repeats=20)
    names = long_names(max(count, len(grid.up.options)))
    options = tuple(replace(grid.up.options[0], label=name, value=math.nan) for name in names)
    up = replace(grid.up, unit="", options=options, now=1)
    assert faults(draw_map(replace(grid, up=up), tuple(one.name for one in AIMS), TITLE, ASSUMED)) == []


@pytest.mark.parametrize("count", [2, 6, 16])
@pytest.mark.parametrize("draw", [calibration_chart, learning_chart])
def test_no_word_of_reality_is_cut_or_covered(draw: Callable[[Any], Figure], count: int) -> None:
    cells, curves, _ = made_up(np.random.default_rng(3), count, 12)
    named = [replace(one, line=name, configuration=name) for one, name in zip(cells, long_names(count), strict=True)]
    assert faults(draw(compare(named, curves))) == []


@pytest.mark.parametrize("truck", ["gundi", "dassie", "takin"])
def test_no_word_of_the_bench_is_cut_or_covered(truck: str) -> None:
    done = fit(DATA / f"{truck}.toml", DATA / "readings" / f"{truck}.toml")
    assert done.weighed is not None
    moved = tuple(replace(one, unknown=replace(one.unknown, key=("parts", name, one.unknown.key[-1])))
                  for one, name in zip(done.fit.moved, long_names(len(done.fit.moved)), strict=True))
    assert faults(moved_chart(replace(done, fit=replace(done.fit, moved=moved)))) == []
    assert faults(lift_chart(done.weighed)) == []


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("build", builds(), ids=lambda file: file.stem)
def test_no_word_of_a_drilling_sheet_is_cut_or_covered(build: Path, paper: str) -> None:
    before = load_sheet(build)
    after = apply(before, [load_change(change(build, "battery-forward"))])
    assert faults(draw_drilling(template(before, after, long_names(2)[0]), paper)) == []


@pytest.mark.parametrize("ounces", [False, True])
@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("build", builds(), ids=lambda file: file.stem)
def test_no_word_of_a_form_is_cut_or_covered(build: Path, paper: str, ounces: bool) -> None:
    sheet = load_sheet(build)
    parts = [replace_name(part, name) for part, name in zip(sheet.parts, long_names(len(sheet.parts)), strict=True)]
    for one in (None, sheet, sheet.model_copy(update={"name": long_names(2)[0], "parts": tuple(parts)})):
        whole = None if one is None else truck_properties(one)
        loads = None if one is None or whole is None else wheel_loads(one, whole)
        units = forms.Units(ounces)
        for made in (forms.setup_sheet(paper, one, whole, loads, units), forms.weighing_form(paper, one, units),
                     forms.run_log(paper, one, units)):
            made.figure.set_dpi(300)  # paper has no pixels that letters are widened to
            FigureCanvasAgg(made.figure)
            assert faults(made.figure) == []


def replace_name(part: Any, name: str) -> Any:
    """A part under another name."""
    return part.model_copy(update={"name": name})


YARD = Yardstick(0.134, 0.027, 24.0)
FAMILY_LEVELS = [(family, level) for family in FAMILIES.values() for level in family.levels(YARD)[::2]]


@pytest.mark.parametrize(("family", "level"), FAMILY_LEVELS, ids=lambda one: getattr(one, "name", f"{one}"))
def test_no_word_of_a_terrain_drawing_is_covered(family: Any, level: float) -> None:
    """Its picture is cut to what is drawn, so that nothing can be off it."""
    made = catalog.make(family.name, level, wheelbase=0.134, tyre_radius=0.027, seed=1, scale=24)
    drawn = obstacle_chart(replace(made, family=f"{family.name} {long_names(2)[0]}"), SideView(0.134, 0.027))
    assert [fault for fault in faults(drawn) if not fault.startswith("off the picture")] == []


def test_no_word_of_a_course_is_covered(tmp_path: Path) -> None:
    legs = "".join(f"[[leg]]\nfree_mm = 200\n[[leg]]\ngate = '{name}'\n" for name in long_names(6))
    file = tmp_path / "course.toml"
    file.write_text(f"schema = 1\nname = '{long_names(2)[0]}'\n{legs}[[leg]]\nfree_mm = 300\n")
    made = catalog.make(str(file), 100.0, wheelbase=0.134, tyre_radius=0.027, seed=1, scale=24)
    there = gates(str(file), 100.0, YARD, 1)
    assert len(there) == 6
    drawn = obstacle_chart(made, SideView(0.134, 0.027), there)
    assert [fault for fault in faults(drawn) if not fault.startswith("off the picture")] == []


@pytest.mark.parametrize("build", builds(), ids=lambda file: file.stem)
def test_no_word_of_the_two_views_is_cut_or_covered(build: Path) -> None:
    sheet = load_sheet(build)
    parts = tuple(replace_name(*both) for both in zip(sheet.parts, long_names(len(sheet.parts)), strict=True))
    assert faults(two_views(sheet)) == []
    assert faults(two_views(sheet.model_copy(update={"parts": parts, "name": long_names(2)[0]}))) == []

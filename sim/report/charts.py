"""Each chart by its name, from a store or from a build sheet, written alone."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from sim.chart import style
from sim.chart.contribution import contribution
from sim.chart.difficulty import difficulty
from sim.chart.failure_map import failure_map
from sim.chart.limit_shift import limit_shift
from sim.chart.margin_time import MarginTrace, margin_time
from sim.chart.margins import margins
from sim.chart.rates import rates
from sim.chart.rows import names
from sim.chart.style import Figure
from sim.chart.tip_polar import tip_polar
from sim.chart.truck_drawing import truck_drawing
from sim.chart.value import value
from sim.compare.comparison import CellResult, Comparison, at, compare, places
from sim.compare.limits import limits
from sim.compare.sentences import label
from sim.errors import SimError, make_folder
from sim.replay.picks import clips, picks, sheets
from sim.report.endings import endings
from sim.report.pictures import margin_trace
from sim.report.truck_card import TruckCard, cards, gains
from sim.store.store import Store
from sim.trial import ground_cache
from sim.trial.luck import Draw

Named = Iterator[tuple[str, Figure]]


def draw_of_store(kind: str, file: Path, baseline: str | None, folder: Path, formats: Sequence[str]) -> list[Path]:
    """Draw charts of a store.

    :raises SimError: No such kind, an empty store, nothing to draw, or a folder that cannot be written.
    """
    _known(kind, [*OF_STORE, "all"])
    with Store(file) as store:
        subject = Subject.of(store, baseline)
        written: list[Path] = []
        for name in OF_STORE if kind == "all" else [kind]:
            for stem, made in OF_STORE[name](subject):
                written += _save(made, folder / _plain(f"{file.stem}-{stem}"), formats)
    if not written:
        raise SimError(f"holds nothing to draw a chart of {kind} from", file=file, remedy=MISSING.get(kind))
    return written


def draw_of_sheet(kind: str, build: Path, changes: Sequence[Path], folder: Path, formats: Sequence[str]) -> list[Path]:
    """Draw charts of a build sheet, and of what changes make of it.

    :raises BuildSheetError: A file that cannot be used.
    :raises SimError: No such kind, or a folder that cannot be written.
    """
    from models.configuration import load_configuration

    _known(kind, ["truck", "tip-angles", "all"])
    base = load_configuration(build)
    changed = load_configuration(build, changes) if changes else None
    written: list[Path] = []
    stem = build.stem + "".join(f"+{change.stem}" for change in changes)
    if kind in ("truck", "all"):
        made = truck_drawing(base.sheet) if changed is None else truck_drawing(
            changed.sheet, base.sheet, " + ".join(change.name for change in changed.changes)
        )
        written += _save(made, folder / _plain(f"{stem}-truck"), formats)
    if kind in ("tip-angles", "all"):
        trucks = [(base.name, 0, base.sheet)] + ([(changed.name, 1, changed.sheet)] if changed else [])
        written += _save(tip_polar(trucks), folder / _plain(f"{stem}-tip-angles"), formats)
    return written


@dataclass(frozen=True)
class Subject:
    """A store and what is drawn of it."""

    store: Store
    comparison: Comparison
    width: float = 5.6
    """Inches of the charts that come in several widths."""

    @staticmethod
    def of(store: Store, baseline: str | None) -> Subject:
        """Compare an open store."""
        return Subject(store, compare(store, baseline))

    @property
    def names(self) -> list[str]:
        """Configurations in the order of their colours."""
        return names(self.comparison)

    def cards(self) -> list[TruckCard]:
        """What the page says of each truck."""
        folder = self.store.path.absolute().parent
        return cards(self.comparison, self.store.configurations(), sheets(self.store), self.names, folder)


def _success(subject: Subject) -> Named:
    yield "success", rates(subject.comparison)


def _margins(subject: Subject) -> Named:
    yield "margins", margins(subject.comparison)


def _difficulty(subject: Subject) -> Named:
    groups: dict[tuple[str, str], list[CellResult]] = {}
    for cell in subject.comparison.cells:
        groups.setdefault((cell.obstacle, cell.driver), []).append(cell)
    several = [(key, cells) for key, cells in groups.items() if len({c.level for c in cells}) > 1]
    for (obstacle, driver), cells in several:
        yield f"difficulty-{obstacle}-{driver}", difficulty(cells, subject.names, width=subject.width)


def _contribution(subject: Subject) -> Named:
    if len(subject.names) > 1:
        yield "contribution", contribution(subject.comparison)


def _limits(subject: Subject) -> Named:
    found = limits(subject.comparison)
    for obstacle, driver in dict.fromkeys((one.obstacle, one.driver) for one in found):
        own = [one for one in found if (one.obstacle, one.driver) == (obstacle, driver)]
        yield f"limits-{obstacle}-{driver}", limit_shift(own, subject.names, subject.width)


def _margin_time(subject: Subject) -> Named:
    found = clips(subject.store, picks(subject.store, subject.comparison, subject.names), None,
                  subject.comparison.baseline.hash)
    for text in dict.fromkeys(pick.label for pick, _ in found):
        traces: list[MarginTrace] = [margin_trace(pick, clip) for pick, clip in found if pick.label == text]
        yield f"margin-time-{text}", margin_time(traces, text, subject.width)


def _failures(subject: Subject) -> Named:
    ends = endings(subject.store, subject.comparison)
    trucks = {card.config: (card.name, card.series) for card in subject.cards()}
    for where in places(subject.comparison.cells):
        found = ends.at(where, trucks)
        if not any(len(e.along) for e in found):
            continue
        yard, luck = ends.grounds[where]
        draw = Draw.from_text(luck)
        ground = ground_cache.ground(where[0], where[1], yard, draw.roughness_mm, draw.rock_seed)
        text = label(at(subject.comparison.cells, where)[0])
        yield f"failures-{text}-{where[2]}", failure_map(ground, found, text, subject.width)


def _value(subject: Subject) -> Named:
    made = value(gains(subject.cards(), subject.store.configurations()), subject.comparison.baseline.name,
                 subject.width)
    if made is not None:
        yield "value", made


def _truck(subject: Subject) -> Named:
    found = [card for card in subject.cards() if card.sheet is not None]
    base = next((card.sheet for card in found if card.baseline), None)
    for card in found:
        if card.sheet is not None:
            yield f"truck-{card.name}", truck_drawing(card.sheet, None if card.baseline else base, card.name,
                                                     subject.width)


def _tip_angles(subject: Subject) -> Named:
    trucks = [(card.name, card.series, card.sheet) for card in subject.cards() if card.sheet is not None]
    if trucks:
        yield "tip-angles", tip_polar(trucks, subject.width)


OF_STORE: dict[str, Callable[[Subject], Named]] = {
    "success": _success,
    "margins": _margins,
    "difficulty": _difficulty,
    "contribution": _contribution,
    "limits": _limits,
    "margin-time": _margin_time,
    "failures": _failures,
    "value": _value,
    "truck": _truck,
    "tip-angles": _tip_angles,
}
MISSING = {
    "difficulty": "Drive one obstacle at several levels",
    "contribution": "Compare at least two configurations",
    "limits": "Drive one obstacle at four levels or more, or use find_limit in the plan",
    "margin-time": "Set traces = 2 in the plan and run `cragbench batch` again",
    "failures": "No trial failed: drive something harder",
    "value": "Compare changes that differ in price or grams; of one change `compare` says it all",
}


def _known(kind: str, kinds: Sequence[str]) -> None:
    if kind not in kinds:
        raise SimError("no such chart", field="kind", value=kind, remedy=f"Choose one of: {', '.join(kinds)}")


def _plain(name: str) -> str:
    """A file name of any text."""
    return re.sub(r"[^A-Za-z0-9.+_-]+", "-", name).strip("-")[:120]


def _save(made: Figure, path: Path, formats: Sequence[str]) -> list[Path]:
    make_folder(path.parent)
    return style.save(made, path, formats)

"""The page's still pictures: charts and moments that can be seen without scripts."""

from __future__ import annotations

import base64
import io
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup
from PIL import Image

from sim.chart import difficulty, failure_map, margin_time, style, tip_polar, truck_drawing, value
from sim.chart.inline import CARD, Gallery
from sim.chart.margin_time import MarginTrace
from sim.compare.comparison import CellResult, Comparison
from sim.compare.sentences import label
from sim.replay import scene
from sim.replay.camera import camera
from sim.replay.clip import Clip, camera_path
from sim.replay.picks import Pick
from sim.replay.sight import sights
from sim.report.endings import Ends
from sim.report.reading import Reading
from sim.report.truck_card import TruckCard
from sim.trial import ground_cache
from sim.trial.luck import Draw

MOST_STILLS = 6
STILL = (560, 315)
GOING = -8.0
"""deg of margin at which a truck that goes over is shown."""


@dataclass(frozen=True)
class Still:
    """One moment of a recorded trial."""

    address: str
    caption: str


def curves(gallery: Gallery, comparison: Comparison, names: Sequence[str]) -> list[Markup]:
    """Difficulty curves of the obstacles with several levels, the largest difference first."""
    groups: dict[tuple[str, str], list[CellResult]] = {}
    for cell in comparison.cells:
        groups.setdefault((cell.obstacle, cell.driver), []).append(cell)
    several = [cells for cells in groups.values() if len({c.level for c in cells}) > 1]
    several.sort(key=lambda cells: -max((abs(c.verdict.difference.value) for c in cells if c.verdict), default=0.0))
    return [gallery.take(difficulty.difficulty(cells, names, width=CARD), difficulty.title(cells)) for cells in several]


def margins(gallery: Gallery, clips: Sequence[tuple[Pick, Clip]]) -> list[Markup]:
    """Margin over time at the most telling places."""
    made = []
    for place_label in dict.fromkeys(pick.label for pick, _ in clips):
        traces = [margin_trace(pick, clip) for pick, clip in clips if pick.label == place_label]
        made.append(
            gallery.take(margin_time.margin_time(traces, place_label, CARD), margin_time.title(traces, place_label))
        )
    return made


def margin_trace(pick: Pick, clip: Clip) -> MarginTrace:
    """A clip's margin for the chart."""
    return MarginTrace(clip.actor.name, pick.series, clip.trace.time, clip.shown_margin, clip.outcome, clip.reason)


def maps(gallery: Gallery, ends: Ends, cards: Sequence[TruckCard], comparison: Comparison) -> list[Markup]:
    """Failures along the lane where most trials failed."""
    by_place = {(c.obstacle, c.level, c.driver): c for c in reversed(comparison.cells)}
    failed = {where: sum(len(e.along) for (w, _), e in ends.cells.items() if w == where) for where in by_place}
    names = {card.config: (card.name, card.series) for card in cards}
    made = []
    for where in sorted((w for w in failed if failed[w]), key=lambda w: -failed[w]):
        yard, luck = ends.grounds[where]
        drawn = Draw.from_text(luck)
        ground = ground_cache.ground(where[0], where[1], yard, drawn.roughness_mm, drawn.rock_seed)
        found = ends.at(where, names)
        text = label(by_place[where])
        made.append(gallery.take(failure_map.failure_map(ground, found, text, CARD), failure_map.title(found, text)))
    return made


def worth(gallery: Gallery, gains: Sequence[value.ValueMark], baseline: str) -> Markup | None:
    """Gains against grams and money; None where an axis would say nothing."""
    made = value.value(gains, baseline, CARD)
    return None if made is None else gallery.take(made, value.title(gains, baseline))


def drawings(gallery: Gallery, cards: Sequence[TruckCard]) -> list[Markup]:
    """Side drawings: the baseline, and what the most telling changes move."""
    base = next(card for card in cards if card.baseline)
    if base.sheet is None:
        return []
    changed = [card for card in cards if not card.baseline and card.sheet is not None]
    changed.sort(key=lambda c: -abs(c.pooled.difference.value) if c.pooled and c.pooled.table.pairs else 0.0)
    made = []
    for card in [base, *changed]:
        assert card.sheet is not None
        before = None if card.baseline else base.sheet
        figure = truck_drawing.truck_drawing(card.sheet, before, card.name, CARD)
        made.append(gallery.take(figure, truck_drawing.title(card.sheet, before, card.name)))
    return made


def polar(gallery: Gallery, reading: Reading) -> Markup | None:
    """Tip angles round the trucks, by the handbook and on the simulated table."""
    trucks = [(one.name, one.series, one.sheet) for one in reading.members]
    if not trucks:
        return None
    seen = {one.name: reading.tilted[one.config] for one in reading.members if one.config in reading.tilted}
    return gallery.take(tip_polar.tip_polar(trucks, CARD, seen), tip_polar.title(trucks))


def stills(clips: Sequence[tuple[Pick, Clip]]) -> list[Still]:
    """Every shown trial at its closest to tipping, up to a number."""
    made = []
    grounds: dict[int, scene.LitGround] = {}
    for pick, clip in clips[:MOST_STILLS]:
        if id(clip.obstacle) not in grounds:
            grounds[id(clip.obstacle)] = scene.ground(
                [one for _, one in clips if one.obstacle is clip.obstacle], style.SCENE)
        bed = grounds[id(clip.obstacle)]
        # Of a truck that went over the moment in which it goes, not the one in which it lies.
        going = np.flatnonzero(np.degrees(clip.trace.margin) < GOING)
        worst = int(going[0]) if len(going) else int(np.nanargmin(clip.trace.margin))
        size = (2 * STILL[0], 2 * STILL[1])
        view, length = sights(clip)["chase"].view(worst), clip.actor.shape.length
        eye = camera(view, camera_path(clip)[worst], clip.obstacle.start.heading, length, size)
        things = scene.moment(bed, [(clip, worst, style.colour(pick.series), False)], style.SCENE)
        pixels = scene.paint(eye, size, things, style.SCENE["sky"])
        picture = Image.fromarray(pixels).reduce(2)
        buffer = io.BytesIO()
        picture.save(buffer, "JPEG", quality=84)
        margin, time = np.degrees(clip.trace.margin[worst]), clip.trace.time[worst]
        caption = f"{clip.actor.name} on {pick.label} at {time:.1f} s: {_state(margin)}; {clip.outcome}"
        address = "data:image/jpeg;base64," + base64.b64encode(buffer.getvalue()).decode("ascii")
        made.append(Still(address, f"{caption}, {clip.reason}."))
    return made


def _state(margin: float) -> str:
    return f"{margin:.0f}° from tipping" if margin >= 0.0 else f"tipped, {-margin:.0f}° too far"

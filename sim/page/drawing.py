"""Side and top view of a truck to scale, as SVG whose parts can be taken hold of.

Every view is 1000 units wide, so that its letters can be sized to the screen; ``data-mm`` says how many units a
millimetre is. The side view is seen from the right, forward to the right; the top view has the left side up. x lines
up between the two. Each view is two pictures on each other: what stays while a part is pulled, and a thin one over it
with what follows the hand: that part, red marks, angles, loads, the centre of gravity. What comes from a user goes
through ``escape``; f-strings put pieces together in a tenth of the time of ``Markup.format``, and a picture has
hundreds.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from markupsafe import Markup, escape

from models.spec import PAIRED, Axle, HullShape, Part, Sheet, Tyre
from sim.page.numbers import Standing, wheel_grams

View = Literal["side", "top"]
WIDE = 1000.0
MARGIN_MM_SHARE = 0.06
"""Room around the truck, as a share of its length."""


@dataclass(frozen=True)
class Look:
    """What is to be seen besides the truck itself."""

    selected: str = ""
    bad: frozenset[str] = frozenset()
    """Names of parts, hull shapes and tyres in conflict."""
    opened: Sheet | None = None
    """The truck before, whose moved parts are shown as outlines."""
    bad_holes: bool = False


@dataclass(frozen=True)
class Paper:
    """From millimetres of the sheet frame to units of the picture."""

    view: View
    x0: float
    high: float
    unit: float

    def point(self, place: Sequence[float]) -> tuple[float, float]:
        """Put a place into the picture."""
        across = place[2] if self.view == "side" else place[1]
        return (place[0] - self.x0) * self.unit, (self.high - across) * self.unit


def movable(part: Part) -> bool:
    """Whether a part can be dragged: anything but wheels, axle housings and the shell over it all."""
    housing = part.body != "chassis" and part.shape == "cylinder"
    return part.body not in PAIRED and part.shape != "shell" and not housing and any(part.size_mm)


def drawing(sheet: Sheet, now: Standing, view: View, look: Look) -> Markup:
    """Draw one view of a resolved sheet."""
    paper, tall = paper_of(sheet, view)
    name = "Side view, forward to the right" if view == "side" else "Top view, left side up, forward to the right"
    body = "".join([
        *_grid(paper, tall), *_wheels(sheet, paper), *_hull(sheet, paper), *_rods(sheet, paper),
        *_parts(sheet, paper, look), *_holes(sheet.parts, paper, look),
    ])
    return Markup(
        f'<div class="layers"><svg class="view" data-view="{view}" data-mm="{paper.unit:.5f}" '
        f'viewBox="0 0 {WIDE:g} {tall:.1f}" role="group" aria-label="{name}">{body}</svg>'
        f'<div class="over" id="{view}-over">{over(sheet, now, view, look, sheet)}</div></div>'
    )


def over(sheet: Sheet, now: Standing, view: View, look: Look, base: Sheet, held: Sequence[str] = ()) -> Markup:
    """Draw what follows the hand over one view.

    :param base: The sheet of the picture below, whose scale counts: nothing may grow or shrink under a finger.
    :param held: Parts that are being pulled; they are hidden in the picture below and drawn here.
    """
    paper, tall = paper_of(base, view)
    body = "".join([
        *_before(sheet, paper, look), *_pulled(sheet, paper, look, held), *_marks(sheet, paper, look, held),
        *(_angles(sheet, now, paper) if view == "side" else ()), *_loads(sheet, now, paper), _centre(now, paper),
    ])
    return Markup(f'<svg class="view" viewBox="0 0 {WIDE:g} {tall:.1f}" aria-hidden="true">{body}</svg>')


@lru_cache(maxsize=32)
def paper_of(sheet: Sheet, view: View) -> tuple[Paper, float]:
    """Scale and place of a view, and how tall it is."""
    front, rear = sheet.axles.front, sheet.axles.rear
    radius = max(sheet.tyres.front.outside_diameter_mm, sheet.tyres.rear.outside_diameter_mm) / 2
    boxes: list[Part | HullShape] = [*sheet.parts, *sheet.hull]
    low = min([rear.x_mm - radius, *(b.at_mm[0] - b.size_mm[0] / 2 for b in boxes)])
    high = max([front.x_mm + radius, *(b.at_mm[0] + b.size_mm[0] / 2 for b in boxes)])
    room = MARGIN_MM_SHARE * (high - low)
    unit = WIDE / (high - low + 2 * room)
    if view == "side":
        top = max([2 * radius, *(b.at_mm[2] + b.size_mm[2] / 2 for b in boxes)])
        bottom = -0.16 * (high - low)
        return Paper(view, low - room, top + room, unit), (top + room - bottom) * unit
    half = max(a.track_mm / 2 + t.width_mm / 2 for a, t in ((front, sheet.tyres.front), (rear, sheet.tyres.rear)))
    half = max([half, *(abs(b.at_mm[1]) + b.size_mm[1] / 2 for b in boxes)]) + 1.2 * room
    return Paper(view, low - room, half, unit), 2 * half * unit


def _grid(paper: Paper, tall: float) -> Iterable[Markup]:
    step = 10.0 if paper.unit > 2.5 else 50.0
    x = step * int(paper.x0 // step + 1)
    while (at := (x - paper.x0) * paper.unit) < WIDE:
        strong = " zero" if x == 0 else ""
        yield Markup(f'<path class="grid{strong}" d="M{at:.1f} 0V{tall:.1f}"/>')
        x += step
    across = step * int((paper.high - tall / paper.unit) // step + 1)
    while (at := (paper.high - across) * paper.unit) > 0:
        strong = " zero" if across == 0 else ""
        yield Markup(f'<path class="grid{strong}" d="M0 {at:.1f}H{WIDE:g}"/>')
        across += step


def _wheels(sheet: Sheet, paper: Paper) -> Iterable[Markup]:
    for axle, tyre in ((sheet.axles.front, sheet.tyres.front), (sheet.axles.rear, sheet.tyres.rear)):
        for side in (1.0,) if paper.view == "side" else (1.0, -1.0):
            yield _tyre("tyre", axle, tyre, side, paper)


def _tyre(kind: str, axle: Axle, tyre: Tyre, side: float, paper: Paper) -> Markup:
    radius = tyre.outside_diameter_mm / 2
    if paper.view == "side":
        x, y = paper.point((axle.x_mm, 0.0, radius))
        return Markup(f'<circle class="{kind}" cx="{x:.1f}" cy="{y:.1f}" r="{radius * paper.unit:.1f}"/>')
    x, y = paper.point((axle.x_mm - radius, side * axle.track_mm / 2 + tyre.width_mm / 2, 0.0))
    return _rect(kind, x, y, 2 * radius * paper.unit, tyre.width_mm * paper.unit)


def _hull(sheet: Sheet, paper: Paper) -> Iterable[Markup]:
    for shape in sheet.hull:
        if any(shape.size_mm):
            yield _box("hull", shape.at_mm, shape.size_mm, paper)


def _marks(sheet: Sheet, paper: Paper, look: Look, held: Sequence[str]) -> Iterable[Markup]:
    """Red over whatever is in conflict."""
    for part in sheet.parts:
        if part.name in look.bad and any(part.size_mm):
            yield _shape(part, part.at_mm, paper, "bad full" if movable(part) else "bad")
    for shape in sheet.hull:
        if shape.name in look.bad and any(shape.size_mm):
            yield _box("bad", shape.at_mm, shape.size_mm, paper)
    for end, axle, tyre in (("front", sheet.axles.front, sheet.tyres.front),
                            ("rear", sheet.axles.rear, sheet.tyres.rear)):
        for side, word in ((1.0, "left"), (-1.0, "right")):
            if f"{end} {word} tyre" in look.bad:
                yield _tyre("bad", axle, tyre, side, paper)


def _rods(sheet: Sheet, paper: Paper) -> Iterable[Markup]:
    for axle in (sheet.axles.front, sheet.axles.rear):
        for link in axle.links:
            yield _line("rod", link.chassis_mm, link.axle_mm, paper)
        shock = axle.shock
        yield _line("shock", shock.chassis_mm, shock.axle_mm, paper)
        if paper.view == "top":
            yield _line("shock", _other(shock.chassis_mm), _other(shock.axle_mm), paper)


def _before(sheet: Sheet, paper: Paper, look: Look) -> Iterable[Markup]:
    then = {} if look.opened is None else {part.name: part for part in look.opened.parts}
    now = {part.name: part for part in sheet.parts}
    for name, part in then.items():
        if name not in now or now[name].at_mm != part.at_mm:
            yield _box("ghost", part.at_mm, part.size_mm, paper)


def _parts(sheet: Sheet, paper: Paper, look: Look) -> Iterable[Markup]:
    k = 2 if paper.view == "side" else 1
    drawn = [part for part in sheet.parts if any(part.size_mm)]
    drawn.sort(key=lambda p: (movable(p), p.at_mm[2] if k == 1 else 0.0, -p.size_mm[0] * p.size_mm[k]))
    for number, part in enumerate(drawn):
        name = _name(part, paper, [other for other in drawn[number + 1 :] if movable(other)])
        inner = f"<title>{escape(part.name)}</title>{_block(part, paper)}{name}"
        kinds = f"part {part.shape}{' selected' if part.name == look.selected else ''}"
        if not movable(part):
            yield Markup(f'<g class="{kinds}">{inner}</g>')
            continue
        x, y, z = part.at_mm
        said = escape(part.name)
        spoken = f"{said}: {x:g} mm ahead of the rear axle, {y:g} mm left, {z:g} mm up. Arrow keys move it."
        yield Markup(
            f'<g class="{kinds} movable" id="{paper.view}-{anchor(part.name)}" data-part="{said}" data-x="{x:g}" '
            f'data-y="{y:g}" data-z="{z:g}" tabindex="0" role="button" aria-label="{spoken}">{inner}</g>'
        )


def _pulled(sheet: Sheet, paper: Paper, look: Look, held: Sequence[str]) -> Iterable[Markup]:
    """Parts in the hand, over everything else."""
    parts = [part for part in sheet.parts if part.name in held]
    for part in parts:
        chosen = " selected" if part.name == look.selected else ""
        yield Markup(f'<g class="part {part.shape} held{chosen}">{_block(part, paper)}{_name(part, paper, ())}</g>')
    if held:
        yield from _holes(parts, paper, look)


def _block(part: Part, paper: Paper) -> Markup:
    block = _shape(part, part.at_mm, paper)
    if part.body in PAIRED and paper.view == "top":
        block += _shape(part, _other(part.at_mm), paper)
    return block


def anchor(name: str) -> str:
    """Spell a part's name as an id that is alike for no other name."""
    return "".join(c if c.isalnum() and c.isascii() else f"-{ord(c):x}-" for c in name)


def _shape(part: Part, at: Sequence[float], paper: Paper, kind: str = "") -> Markup:
    if paper.view == "side" and part.shape in ("ring", "cylinder"):
        x, y = paper.point(at)
        mark = f' class="{kind}"' if kind else ""
        return Markup(f'<circle{mark} cx="{x:.1f}" cy="{y:.1f}" r="{part.size_mm[0] / 2 * paper.unit:.1f}"/>')
    return _box(kind, at, part.size_mm, paper)


def _name(part: Part, paper: Paper, above: Sequence[Part]) -> Markup:
    """The part's name where it fits into its block and nothing lies over it, at the size of a wide screen's letters."""
    k = 2 if paper.view == "side" else 1
    half = len(part.name) * 8.5 / paper.unit / 2
    if not movable(part) or 2 * half > part.size_mm[0] or part.size_mm[k] * paper.unit < 18:
        return Markup("")
    for other in above:
        near = abs(other.at_mm[0] - part.at_mm[0]) < half + other.size_mm[0] / 2
        if near and abs(other.at_mm[k] - part.at_mm[k]) < 8 / paper.unit + other.size_mm[k] / 2:
            return Markup("")
    x, y = paper.point(part.at_mm)
    return Markup(f'<text class="name" x="{x:.1f}" y="{y:.1f}">{escape(part.name)}</text>')


def _holes(parts: Sequence[Part], paper: Paper, look: Look) -> Iterable[Markup]:
    if paper.view != "top":
        return
    for part in parts:
        bad = bool(part.holes) and look.bad_holes and look.opened is not None and \
            all(one.name != part.name or one.at_mm != part.at_mm for one in look.opened.parts)
        mark = f'hole{" bad" if bad else ""}'
        for hole in part.holes:
            x, y = paper.point((part.at_mm[0] + hole.at_mm[0], part.at_mm[1] + hole.at_mm[1], 0.0))
            radius = hole.diameter_mm / 2 * paper.unit
            yield Markup(f'<circle class="{mark}" cx="{x:.1f}" cy="{y:.1f}" r="{radius:.1f}"/>')


def _angles(sheet: Sheet, now: Standing, paper: Paper) -> Iterable[Markup]:
    """Lines from the tyres' feet to the centre of gravity: how far each leans is the angle at which the truck tips."""
    cg = [1e3 * float(v) for v in now.truck.cg]
    tip = now.angles["tip_deg"]
    for axle, angle, words, place in ((sheet.axles.rear, tip.back, "tips back", "end"),
                                      (sheet.axles.front, tip.front, "noses over", "start")):
        x0, y0 = paper.point((axle.x_mm, 0.0, 0.0))
        x1, y1 = paper.point((cg[0], 0.0, cg[2]))
        yield Markup(f'<path class="lean" d="M{x0:.1f} {y0:.1f}L{x1:.1f} {y1:.1f}"/>')
        x = (x0 * 0.4 + x1 * 0.6)
        yield Markup(f'<text class="angle {place}" x="{x:.1f}" y="{y0 + 36:.1f}">{words} {angle:.1f}°</text>')


def _loads(sheet: Sheet, now: Standing, paper: Paper) -> Iterable[Markup]:
    grams = wheel_grams(now)
    share = now.loads.front_percent
    for n, (axle, percent) in enumerate(((sheet.axles.front, share), (sheet.axles.rear, 100.0 - share))):
        if paper.view == "side":
            x, y = paper.point((axle.x_mm, 0.0, 0.0))
            both = grams[2 * n] + grams[2 * n + 1]
            yield Markup(f'<path class="pad" d="M{x - 45:.1f} {y + 4:.1f}h90"/>')
            yield Markup(f'<text class="load" x="{x:.1f}" y="{y + 76:.1f}">{both:.0f} g · {percent:.1f} %</text>')
            continue
        for k, sign in enumerate((1.0, -1.0)):
            tyre = (sheet.tyres.front, sheet.tyres.rear)[n]
            x, y = paper.point((axle.x_mm, sign * (axle.track_mm + tyre.width_mm) / 2, 0.0))
            place = "above" if sign > 0 else "below"
            yield Markup(f'<text class="load {place}" x="{x:.1f}" y="{y:.1f}">{grams[2 * n + k]:.0f} g</text>')


def _centre(now: Standing, paper: Paper) -> Markup:
    x, y = paper.point([1e3 * float(v) for v in now.truck.cg])
    r = 11.0
    return Markup(
        '<g class="cg"><title>centre of gravity</title><circle cx="{0:.1f}" cy="{1:.1f}" r="{2}"/>'
        '<path d="M{0:.1f} {1:.1f}v-{2}a{2} {2} 0 0 1 {2} {2}zM{0:.1f} {1:.1f}v{2}a{2} {2} 0 0 1 -{2} -{2}z"/></g>'
    ).format(x, y, r)


def _box(kind: str, at: Sequence[float], size: Sequence[float], paper: Paper) -> Markup:
    k = 2 if paper.view == "side" else 1
    corner = list(at)
    corner[0] -= size[0] / 2
    corner[k] += size[k] / 2
    x, y = paper.point(corner)
    return _rect(kind, x, y, size[0] * paper.unit, size[k] * paper.unit)


def _rect(kind: str, x: float, y: float, width: float, height: float) -> Markup:
    mark = f' class="{kind}"' if kind else ""
    return Markup(f'<rect{mark} x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}"/>')


def _line(kind: str, start: Sequence[float], end: Sequence[float], paper: Paper) -> Markup:
    (x0, y0), (x1, y1) = paper.point(start), paper.point(end)
    return Markup(f'<path class="{kind}" d="M{x0:.1f} {y0:.1f}L{x1:.1f} {y1:.1f}"/>')


def _other(place: Sequence[float]) -> tuple[float, float, float]:
    return place[0], -place[1], place[2]


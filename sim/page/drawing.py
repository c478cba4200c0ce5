"""Side and top view of a truck to scale, as SVG whose parts can be taken hold of.

Every view is 1000 units wide, so that its letters can be sized to the screen; ``data-mm`` says how many units a
millimetre is. The side view is seen from the right, forward to the right; the top view has the left side up. x lines
up between the two. What comes from a user goes through ``escape``; f-strings put pieces together in a tenth of the
time of ``Markup.format``, and a picture has hundreds.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from markupsafe import Markup, escape

from models.spec import PAIRED, HullShape, Part, Sheet
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
class _Paper:
    """From millimetres of the sheet frame to units of the picture."""

    view: View
    x0: float
    high: float
    unit: float

    def point(self, place: Sequence[float]) -> tuple[float, float]:
        across = place[2] if self.view == "side" else place[1]
        return (place[0] - self.x0) * self.unit, (self.high - across) * self.unit


def movable(part: Part) -> bool:
    """Whether a part can be dragged: anything but wheels, axle housings and the shell over it all."""
    housing = part.body != "chassis" and part.shape == "cylinder"
    return part.body not in PAIRED and part.shape != "shell" and not housing and any(part.size_mm)


def drawing(sheet: Sheet, now: Standing, view: View, look: Look) -> Markup:
    """Draw one view of a resolved sheet."""
    paper, tall = _paper(sheet, view)
    name = "Side view, forward to the right" if view == "side" else "Top view, left side up, forward to the right"
    body = Markup("").join([
        *_grid(paper, tall), *_wheels(sheet, paper, look), *_hull(sheet, paper, look), *_rods(sheet, paper),
        *_before(sheet, paper, look), *_parts(sheet, paper, look), *_holes(sheet, paper, look),
        *(_angles(sheet, now, paper) if view == "side" else ()), *_loads(sheet, now, paper), _centre(now, paper),
    ])
    return Markup(
        '<svg class="view" data-view="{}" data-mm="{:.5f}" viewBox="0 0 {:g} {:.1f}" role="group" aria-label="{}">'
        "{}</svg>"
    ).format(view, paper.unit, WIDE, tall, name, body)


def _paper(sheet: Sheet, view: View) -> tuple[_Paper, float]:
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
        return _Paper(view, low - room, top + room, unit), (top + room - bottom) * unit
    half = max(a.track_mm / 2 + t.width_mm / 2 for a, t in ((front, sheet.tyres.front), (rear, sheet.tyres.rear)))
    half = max([half, *(abs(b.at_mm[1]) + b.size_mm[1] / 2 for b in boxes)]) + 1.2 * room
    return _Paper(view, low - room, half, unit), 2 * half * unit


def _grid(paper: _Paper, tall: float) -> Iterable[Markup]:
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


def _wheels(sheet: Sheet, paper: _Paper, look: Look) -> Iterable[Markup]:
    for end, axle, tyre in (("front", sheet.axles.front, sheet.tyres.front), ("rear", sheet.axles.rear,
                                                                              sheet.tyres.rear)):
        radius = tyre.outside_diameter_mm / 2
        bad = [f"{end} {side} tyre" in look.bad for side in ("left", "right")]
        if paper.view == "side":
            x, y = paper.point((axle.x_mm, 0.0, radius))
            yield Markup('<circle class="tyre{}" cx="{:.1f}" cy="{:.1f}" r="{:.1f}"/>').format(
                " bad" if any(bad) else "", x, y, radius * paper.unit)
            continue
        for sign, wrong in zip((1.0, -1.0), bad, strict=True):
            x, y = paper.point((axle.x_mm - radius, sign * axle.track_mm / 2 + tyre.width_mm / 2, 0.0))
            yield _rect("tyre" + (" bad" if wrong else ""), x, y, 2 * radius * paper.unit, tyre.width_mm * paper.unit)


def _hull(sheet: Sheet, paper: _Paper, look: Look) -> Iterable[Markup]:
    for shape in sheet.hull:
        if any(shape.size_mm):
            yield _box("hull" + (" bad" if shape.name in look.bad else ""), shape.at_mm, shape.size_mm, paper)


def _rods(sheet: Sheet, paper: _Paper) -> Iterable[Markup]:
    for axle in (sheet.axles.front, sheet.axles.rear):
        for link in axle.links:
            yield _line("rod", link.chassis_mm, link.axle_mm, paper)
        shock = axle.shock
        yield _line("shock", shock.chassis_mm, shock.axle_mm, paper)
        if paper.view == "top":
            yield _line("shock", _other(shock.chassis_mm), _other(shock.axle_mm), paper)


def _before(sheet: Sheet, paper: _Paper, look: Look) -> Iterable[Markup]:
    then = {} if look.opened is None else {part.name: part for part in look.opened.parts}
    now = {part.name: part for part in sheet.parts}
    for name, part in then.items():
        if name not in now or now[name].at_mm != part.at_mm:
            yield _box("ghost", part.at_mm, part.size_mm, paper)


def _parts(sheet: Sheet, paper: _Paper, look: Look) -> Iterable[Markup]:
    k = 2 if paper.view == "side" else 1
    drawn = [part for part in sheet.parts if any(part.size_mm)]
    drawn.sort(key=lambda p: (movable(p), p.at_mm[2] if k == 1 else 0.0, -p.size_mm[0] * p.size_mm[k]))
    for number, part in enumerate(drawn):
        kinds = ["part", part.shape]
        kinds += ["bad"] if part.name in look.bad else []
        kinds += ["selected"] if part.name == look.selected else []
        shapes = [_shape(part, part.at_mm, paper)]
        if part.body in PAIRED and paper.view == "top":
            shapes.append(_shape(part, _other(part.at_mm), paper))
        name = _name(part, paper, [other for other in drawn[number + 1 :] if movable(other)])
        said = escape(part.name)
        inner = f"<title>{said}</title>{''.join(shapes)}{name}"
        if not movable(part):
            yield Markup(f'<g class="{" ".join(kinds)}">{inner}</g>')
            continue
        x, y, z = part.at_mm
        spoken = f"{said}: {x:g} mm ahead of the rear axle, {y:g} mm left, {z:g} mm up. Arrow keys move it."
        yield Markup(
            f'<g class="{" ".join(kinds)} movable" id="{paper.view}-{anchor(part.name)}" data-part="{said}" '
            f'data-x="{x:g}" data-y="{y:g}" data-z="{z:g}" tabindex="0" role="button" aria-label="{spoken}">{inner}</g>'
        )


def anchor(name: str) -> str:
    """Spell a part's name as an id that is alike for no other name."""
    return "".join(c if c.isalnum() and c.isascii() else f"-{ord(c):x}-" for c in name)


def _shape(part: Part, at: Sequence[float], paper: _Paper) -> Markup:
    if paper.view == "side" and part.shape in ("ring", "cylinder"):
        x, y = paper.point(at)
        return Markup(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{part.size_mm[0] / 2 * paper.unit:.1f}"/>')
    return _box("", at, part.size_mm, paper)


def _name(part: Part, paper: _Paper, above: Sequence[Part]) -> Markup:
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


def _holes(sheet: Sheet, paper: _Paper, look: Look) -> Iterable[Markup]:
    if paper.view != "top":
        return
    for part in sheet.parts:
        for hole in part.holes:
            x, y = paper.point((part.at_mm[0] + hole.at_mm[0], part.at_mm[1] + hole.at_mm[1], 0.0))
            bad = look.bad_holes and look.opened is not None and \
                all(one.name != part.name or one.at_mm != part.at_mm for one in look.opened.parts)
            radius = hole.diameter_mm / 2 * paper.unit
            mark = "hole bad" if bad else "hole"
            yield Markup(f'<circle class="{mark}" cx="{x:.1f}" cy="{y:.1f}" r="{radius:.1f}"/>')


def _angles(sheet: Sheet, now: Standing, paper: _Paper) -> Iterable[Markup]:
    """Lines from the tyres' feet to the centre of gravity: how far each leans is the angle at which the truck tips."""
    cg = [1e3 * float(v) for v in now.truck.cg]
    tip = now.angles["tip_deg"]
    for axle, angle, words, place in ((sheet.axles.rear, tip.back, "tips back", "end"),
                                      (sheet.axles.front, tip.front, "noses over", "start")):
        x0, y0 = paper.point((axle.x_mm, 0.0, 0.0))
        x1, y1 = paper.point((cg[0], 0.0, cg[2]))
        yield Markup('<path class="lean" d="M{:.1f} {:.1f}L{:.1f} {:.1f}"/>').format(x0, y0, x1, y1)
        x = (x0 * 0.4 + x1 * 0.6)
        yield Markup('<text class="angle {}" x="{:.1f}" y="{:.1f}">{} {:.1f}°</text>').format(
            place, x, y0 + 26, words, angle)


def _loads(sheet: Sheet, now: Standing, paper: _Paper) -> Iterable[Markup]:
    grams = wheel_grams(now)
    share = now.loads.front_percent
    for n, (axle, percent) in enumerate(((sheet.axles.front, share), (sheet.axles.rear, 100.0 - share))):
        if paper.view == "side":
            x, y = paper.point((axle.x_mm, 0.0, 0.0))
            yield Markup('<path class="pad" d="M{:.1f} {:.1f}h90"/>').format(x - 45, y + 4)
            yield Markup('<text class="load" x="{:.1f}" y="{:.1f}">{:.0f} g · {:.1f} %</text>').format(
                x, y + 64, grams[2 * n] + grams[2 * n + 1], percent)
            continue
        for k, sign in enumerate((1.0, -1.0)):
            tyre = (sheet.tyres.front, sheet.tyres.rear)[n]
            x, y = paper.point((axle.x_mm, sign * (axle.track_mm + tyre.width_mm) / 2, 0.0))
            yield Markup('<text class="load {}" x="{:.1f}" y="{:.1f}">{:.0f} g</text>').format(
                "above" if sign > 0 else "below", x, y, grams[2 * n + k])


def _centre(now: Standing, paper: _Paper) -> Markup:
    x, y = paper.point([1e3 * float(v) for v in now.truck.cg])
    r = 11.0
    return Markup(
        '<g class="cg"><title>centre of gravity</title><circle cx="{0:.1f}" cy="{1:.1f}" r="{2}"/>'
        '<path d="M{0:.1f} {1:.1f}v-{2}a{2} {2} 0 0 1 {2} {2}zM{0:.1f} {1:.1f}v{2}a{2} {2} 0 0 1 -{2} -{2}z"/></g>'
    ).format(x, y, r)


def _box(kind: str, at: Sequence[float], size: Sequence[float], paper: _Paper) -> Markup:
    k = 2 if paper.view == "side" else 1
    corner = list(at)
    corner[0] -= size[0] / 2
    corner[k] += size[k] / 2
    x, y = paper.point(corner)
    return _rect(kind, x, y, size[0] * paper.unit, size[k] * paper.unit)


def _rect(kind: str, x: float, y: float, width: float, height: float) -> Markup:
    mark = f' class="{kind}"' if kind else ""
    return Markup(f'<rect{mark} x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}"/>')


def _line(kind: str, start: Sequence[float], end: Sequence[float], paper: _Paper) -> Markup:
    (x0, y0), (x1, y1) = paper.point(start), paper.point(end)
    return Markup(f'<path class="{kind}" d="M{x0:.1f} {y0:.1f}L{x1:.1f} {y1:.1f}"/>')


def _other(place: Sequence[float]) -> tuple[float, float, float]:
    return place[0], -place[1], place[2]


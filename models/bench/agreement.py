"""Where readings disagree with each other, and what usually causes it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import t as student

from models.bench.intake import Weighing
from models.bench.interval import Interval, of_limits
from models.bench.weighing import Balance

_UNLIKELY = 0.01
_SAME_ANGLE = 0.03
"""rad; lifts nearer to each other count as the same."""


@dataclass(frozen=True)
class Finding:
    """One thing worth saying about a set of readings."""

    kind: str
    """``repeats``, ``outlier``, ``sum``, ``trend``, ``hysteresis``, ``ends``, ``springs``, ``misfit``, ``advice``."""
    text: str
    serious: bool


def findings(w: Weighing, found: Balance) -> list[Finding]:
    """List what disagrees, worst first, then advice."""
    some = [
        *_repeats(w, found), *_sum(w, found), *_springs(w), *_ends(found), *_trend(found), *_hysteresis(found),
        *_misfit(found), *_advice(w, found),
    ]  # fmt: skip
    return sorted(some, key=lambda finding: not finding.serious)


def _g(mass: float) -> str:
    return f"{1000.0 * mass:.3g} g"


def _repeats(w: Weighing, found: Balance) -> list[Finding]:
    said = []
    if found.scatter > 2.0 * w.step:
        said.append(Finding(
            "repeats",
            f"Repeats of the same reading scatter by {_g(found.scatter)}, much more than the scale's step of "
            f"{_g(w.step)}: the truck was not settled, a wheel leant on its block, or the scale drifts. "
            "Shake, let it settle, read again.", True,
        ))  # fmt: skip
    for name, values in w.groups:
        middle = float(np.median(values))
        far = float(np.max(np.abs(values - middle)))
        if len(values) > 2 and far > max(3.0 * w.step, 0.02 * middle) and far > 4.0 * _usual(w, name):
            odd = values[int(np.argmax(np.abs(values - middle)))]
            said.append(Finding(
                "outlier",
                f"{name}: one reading says {_g(float(odd))} where the others say {_g(middle)}. Read it again.", True,
            ))  # fmt: skip
    return said


def _usual(w: Weighing, without: str) -> float:
    others = [v - np.median(v) for name, v in w.groups if name != without and len(v) > 1]
    return float(np.sqrt(np.mean(np.concatenate(others) ** 2))) if others else 0.0


def _sum(w: Weighing, found: Balance) -> list[Finding]:
    if w.whole is None or (w.wheels is None and w.axles is None):
        return []
    parts = w.wheels if w.wheels is not None else w.axles
    assert parts is not None
    off = sum(float(p.mean()) for p in parts) - float(w.whole.mean())
    single = w.step if math.isnan(found.scatter) else max(found.scatter, w.step / math.sqrt(12.0))
    # All readings share the scale's zero: it counts once per weighing more.
    own = single * math.sqrt(sum(1.0 / len(p) for p in parts) + 1.0 / len(w.whole))
    doubt = math.hypot(own, (len(parts) - 1) * of_limits(w.accuracy))
    if abs(off) <= 2.6 * doubt:
        return []
    return [Finding(
        "sum",
        f"The {len(parts)} loads sum to {1000 * off:+.3g} g against the whole truck, where {_g(2 * doubt)} either way "
        "would be expected: blocks not as high as the scale, a tare forgotten, or something off the truck.", True,
    )]  # fmt: skip


def _springs(w: Weighing) -> list[Finding]:
    if not w.lifts or w.locked:
        return []
    return [Finding(
        "springs",
        f"The suspension was free during the lifts: its springs let the reading come out about {1000 * w.lean:.1f} mm "
        "too high. That was taken off, and as much added to the doubt. Solid links in place of the shocks settle it.",
        False,
    )]  # fmt: skip


def _ends(found: Balance) -> list[Finding]:
    apart = _apart(*([h for _, h, o, _ in found.lift_heights if o == on] for on in ("front", "rear")))
    if apart is None:
        return []
    off, doubt = apart
    return [Finding(
        "ends",
        f"Lifting the front gives a centre of gravity {1000 * off:+.1f} mm against lifting the rear "
        f"({1000 * doubt:.1f} mm would be usual): the truck was not level at the start, something moved (battery, oil, "
        "wheels not free to roll), or the axle heights are off.", True,
    )]  # fmt: skip


def _apart(some: Sequence[Interval], others: Sequence[Interval]) -> tuple[float, float] | None:
    """How much higher (m) the others come out, and its uncertainty; None where that may be chance or either is none."""
    if not some or not others:
        return None
    (one, sigma), (other, other_sigma) = _mean(some), _mean(others)
    off, doubt = other - one, math.hypot(sigma, other_sigma)
    return (off, doubt) if abs(off) > 2.6 * doubt else None


def _mean(heights: Sequence[Interval]) -> tuple[float, float]:
    weights = np.array([1.0 / h.uncertainty**2 for h in heights])
    values = np.array([h.value for h in heights])
    return float(weights @ values / weights.sum()), float(1.0 / math.sqrt(weights.sum()))


def trend(found: Balance) -> tuple[float, float, float] | None:
    """Change of the height with the tangent of the lift angle (m), its uncertainty, and the chance of it by accident.

    One slope through all lifts, each end with a level of its own. None with fewer than three angles.
    """
    lifts = found.lift_heights
    if _angles([a for a, *_ in lifts]) < 3:
        return None
    tangents = np.tan([a for a, *_ in lifts])
    heights = np.array([h.value for _, h, *_ in lifts])
    weights = np.array([1.0 / h.uncertainty for _, h, *_ in lifts])
    ends = sorted({on for *_, on, _ in lifts})
    columns = [tangents, *(np.array([float(on == end) for *_, on, _ in lifts]) for end in ends)]
    design = np.stack(columns, axis=1) * weights[:, None]
    fitted = np.linalg.lstsq(design, heights * weights, rcond=None)[0]
    doubt = math.sqrt(float(np.linalg.inv(design.T @ design)[0, 0]))
    slope = float(fitted[0])
    freedom = max(len(lifts) - len(columns), 1)
    return slope, doubt, float(2.0 * student.sf(abs(slope) / doubt, freedom + 8))


def _angles(lifts: Sequence[float]) -> int:
    """Count the angles that are more than the reading of a lift apart."""
    return 1 + int(np.sum(np.diff(np.sort(lifts)) > _SAME_ANGLE)) if lifts else 0


def _trend(found: Balance) -> list[Finding]:
    seen = trend(found)
    if seen is None or seen[2] > _UNLIKELY:
        return []
    angles = [a for a, *_ in found.lift_heights]
    change = seen[0] * (math.tan(max(angles)) - math.tan(min(angles)))
    cause = (
        "the lower springs or tyres give way more and more (unlocked suspension), or the pack slides"
        if change > 0.0
        else "the upper suspension reaches its droop stop, the lift is not counted from the level, or a wheel is held"
    )
    return [Finding(
        "trend", f"The height comes out {1000 * change:+.1f} mm from the lowest to the highest lift: {cause}. "
        "A rigid truck gives the same at every lift.", True,
    )]  # fmt: skip


def _hysteresis(found: Balance) -> list[Finding]:
    apart = _apart(*([h for _, h, _, g in found.lift_heights if g == going] for going in ("up", "down")))
    if apart is None:
        return []
    off, doubt = apart
    return [Finding(
        "hysteresis",
        f"Coming down gives {1000 * off:+.1f} mm against going up ({1000 * doubt:.1f} mm would be usual): friction "
        "in shocks, links or wheels. Shake the truck at every lift, or lock the suspension.", True,
    )]  # fmt: skip


def _misfit(found: Balance) -> list[Finding]:
    if math.isnan(found.surprise) or found.surprise > _UNLIKELY:
        return []
    name, pull = max(found.pulls, key=lambda entry: abs(entry[1]))
    return [Finding(
        "misfit", f"Taken together the readings disagree more than their stated accuracy allows (chance "
        f"{found.surprise:.1g}); farthest off is {name}, by {abs(pull):.1f} standard uncertainties. "
        "All intervals were widened to match.", True,
    )]  # fmt: skip


def _advice(w: Weighing, found: Balance) -> list[Finding]:
    said = []
    if math.isnan(found.scatter):
        said.append("Every place was read once: read three times, settling the truck in between, to know the scatter.")
    if not w.lifts:
        said.append("No axle was lifted, so the height of the centre of gravity is unknown.")
    else:
        if len({lift.on for lift in w.lifts}) == 1:
            said.append("Only one end was lifted: lifting the other too shows what moved or was not level.")
        if _angles([lift.angle for lift in w.lifts]) < 3:
            said.append("Lift to three heights or more: a trend shows give in springs and tyres.")
        if "down" not in {lift.going for lift in w.lifts}:
            said.append("Read on the way down as well: a difference shows friction.")
        if max(lift.angle for lift in w.lifts) < math.radians(15.0):
            said.append("The lifts are low: doubling the angle halves the doubt about the height.")
    if w.wheels is None:
        said.append("Without four wheel loads left against right and the cross weight stay unknown.")
    return [Finding("advice", text, False) for text in said]

"""Which part is worth its money and grams: every change alone, and in the company of the others."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from sim.decision.change_sets import Drawer, prices
from sim.decision.effect import LEAST_WORTH, PairedLimits, enough, paired
from sim.decision.obstacle_mix import Line
from sim.decision.regret import Regret
from sim.decision.reliance import Prop, drivers, props, told
from sim.decision.runner import Field
from sim.decision.wording import ranged
from sim.errors import SimError
from sim.statistics import group_sequential, shapley, shrinkage
from sim.statistics.interval import Estimate

Array = NDArray[np.float64]
ORDERS = 24
"""Orders sampled where there are too many changes for every coalition."""


@dataclass(frozen=True)
class Share:
    """What one change brings."""

    name: str
    alone: Estimate
    """Points of the chance to clear, on the truck as it is; all changes together hold with the confidence."""
    together: Estimate
    """Shapley value over all coalitions with the others, in the same unit."""
    price: float | None
    grams: float
    degrees: float
    """Mean of the four handbook tip angles."""
    first: float = math.nan
    """Chance that it brings most of all in company."""
    first_two: float = math.nan
    """Chance that it is among the two that bring most."""
    shrunk: float = math.nan
    """Gain in company, less what picking the largest of several adds to it."""

    @property
    def per_money(self) -> float:
        """Gain in company per unit of money; infinite for a free gain, NaN without a price."""
        if self.price is None:
            return math.nan
        return self.together.value / self.price if self.price > 0.0 else math.copysign(math.inf, self.together.value)

    @property
    def per_gram(self) -> float:
        """Gain in company per gram put on (or taken off)."""
        return self.together.value / abs(self.grams) if abs(self.grams) > 0.05 else math.nan

    @property
    def per_degree(self) -> float:
        """Gain in company per degree of tip angle won; NaN where the angle hardly changes."""
        return self.together.value / self.degrees if abs(self.degrees) > 0.3 else math.nan


@dataclass(frozen=True)
class Pairing:
    """How two changes get on: what both bring beyond the sum of each alone."""

    names: tuple[str, str]
    extra: Estimate


@dataclass(frozen=True)
class Appraisal:
    """The whole answer."""

    lines: tuple[Line, ...]
    found: PairedLimits
    shares: tuple[Share, ...]
    """In the order of the changes."""
    pairings: tuple[Pairing, ...]
    """All pairs that were driven, the strongest first."""
    whole: Estimate
    """All changes together."""
    price: float | None
    currency: str
    truck_price: float | None
    """In the same currency; None if not known."""
    coalitions: int
    orders: int
    """0 when every coalition was driven."""
    lead: Estimate | None = None
    """Of the best purchase over the next, paired, in points per unit of money; None below two."""
    least: float = LEAST_WORTH
    rests: tuple[Prop, ...] = ()
    """What the best purchase rests on."""
    regret: Regret | None = None
    """Of the best purchase, bought with all the others."""

    def bought(self) -> Share | None:
        """The best purchase, if its lower bound clears the least gain worth having."""
        shown = [share for share in self.ranked() if share.price and share.together.low > self.least]
        return shown[0] if shown else None

    def ranked(self) -> tuple[Share, ...]:
        """By gain per unit of money: free gains first, then the best of what costs; losses and unpriced last."""
        def key(share: Share) -> tuple[float, float]:
            ratio = share.per_money
            return (-math.inf if math.isnan(ratio) else ratio, share.together.value)
        return tuple(sorted(self.shares, key=key, reverse=True))


def needed_sets(drawer: Drawer, orders: int = ORDERS) -> tuple[tuple[int, ...], list[tuple[int, ...]]]:
    """Coalitions to drive, and the orders they come from (none: all coalitions).

    :raises SimError: Two changes exclude each other, so that there is no truck with all of them.
    """
    clash = next(iter(drawer.clashes()), None)
    if clash is not None:
        a, b, why = clash
        raise SimError(f"{drawer.names[a]} and {drawer.names[b]} cannot be on the truck together ({why.rstrip('.')})",
                       field="change", remedy="Leave out one of the two, or use cragbench budget, which chooses")
    count = len(drawer.changes)
    if count <= shapley.EXACT_UP_TO:
        return tuple(range(1 << count)), []
    chosen = shapley.orders(count, orders)
    singles = {1 << k for k in range(count)}
    return tuple(sorted({*shapley.visited(chosen), *singles})), chosen


def worth(
    drawer: Drawer, field: Field, lines: tuple[Line, ...], repeats: int, orders: int = ORDERS,
    least: float = LEAST_WORTH,
) -> Appraisal:
    """Drive every coalition that is needed in all repeats and share out the gain."""
    masks, chosen = needed_sets(drawer, orders)
    trucks = {mask: drawer.truck(mask).hash for mask in masks}
    field.find(trucks.values(), range(repeats))
    found = enough(paired(field.searches, lines, list(trucks.values()), range(repeats)))
    values = {mask: found.gain(truck) for mask, truck in trucks.items()}
    count = len(drawer.changes)
    if chosen:
        together, error = shapley.sampled(lambda mask: values[mask], chosen)
    else:
        together, error = shapley.exact(np.stack([values[mask] for mask in masks])), np.zeros(count)
    level = group_sequential.level((found.n,), count)
    cost, currency = prices(drawer.changes)
    drawn = shrinkage.draws(together)
    first, two = shrinkage.first_places(drawn, 1), shrinkage.first_places(drawn, 2)
    back = shrinkage.shrunk(together.mean(axis=1), np.hypot(together.std(axis=1, ddof=1) / math.sqrt(found.n), error))
    shares = tuple(
        Share(drawer.names[k], _points(found, values[1 << k], level, 0.0),
              _points(found, together[k], level, float(error[k])), cost[k], drawer.grams(1 << k),
              drawer.tip_degrees(1 << k), float(first[k]), float(two[k]), float(back[k]))
        for k in range(count)
    )
    known = [c for c in cost if c is not None]
    own = drawer.sheet.truck_price
    answer = Appraisal(
        lines, found, shares, _pairings(drawer, found, values), _points(found, values[drawer.whole], 0.05, 0.0),
        sum(known) if len(known) == count else None, currency,
        own.price if own is not None and (own.currency == currency or not currency) else None,
        len(masks), len(chosen), None, least,
    )
    best = answer.bought()
    if best is not None:
        pick = drawer.names.index(best.name)
        answer = replace(answer, regret=Regret.within(best.together, least, level),
                         rests=props(found, _by_line(found, trucks, chosen, pick), drivers(field, found), least))
    buys = [drawer.names.index(s.name) for s in answer.ranked() if s.price][:2]
    if len(buys) < 2:
        return answer
    one, other = (together[k] / (cost[k] or 1.0) for k in buys)
    return replace(answer, lead=group_sequential.wary(one - other, group_sequential.ERROR))


def _by_line(found: PairedLimits, trucks: dict[int, str], chosen: list[tuple[int, ...]], pick: int) -> Array:
    """(lines, n) share of one change in the points of every line."""
    points = {mask: found.points(truck) for mask, truck in trucks.items()}
    rows = []
    for k in range(len(found.lines)):
        if chosen:
            rows.append(shapley.sampled(lambda mask, k=k: points[mask][k], chosen)[0][pick])  # type: ignore[misc]
        else:
            rows.append(shapley.exact(np.stack([points[mask][k] for mask in sorted(points)]))[pick])
    return np.array(rows)


def _pairings(drawer: Drawer, found: PairedLimits, values: dict[int, Array]) -> tuple[Pairing, ...]:
    pairs = [(a, b) for a in range(len(drawer.changes)) for b in range(a) if (1 << a | 1 << b) in values]
    level = group_sequential.level((found.n,), max(1, len(pairs)))
    made = [
        Pairing((drawer.names[b], drawer.names[a]),
                _points(found, values[1 << a | 1 << b] - values[1 << a] - values[1 << b], level, 0.0))
        for a, b in pairs
    ]
    return tuple(sorted(made, key=lambda p: -abs(p.extra.value)))


def _points(found: PairedLimits, sample: Array, level: float, order_error: float) -> Estimate:
    """Mean of a per-repeat gain with an interval that also holds the error of sampled orders."""
    luck = group_sequential.wary(sample, level, found.rounding)
    order = float(stdtrit(len(sample) - 1, 1.0 - level / 2.0)) * order_error
    return Estimate(luck.value, luck.value - math.hypot(luck.value - luck.low, order),
                    luck.value + math.hypot(luck.high - luck.value, order))


def sentence(answer: Appraisal) -> str:
    """The free move first, then what to buy, or that the money is better kept."""
    ranked = answer.ranked()
    free = [s for s in ranked if s.price == 0.0]
    costing = [s for s in ranked if s.price]
    said = []
    if free:
        best = max(free, key=lambda s: s.together.value)
        gains = best.together.low > answer.least
        said.append(f"The free move first: {best.name}, {ranged(best.together)}" if gains
                    else f"no free move is shown to bring more than {answer.least:g} points (best: {best.name}, "
                         f"{ranged(best.together)})")
    bought = answer.bought()
    if costing and bought is None:
        best = max(costing, key=lambda s: s.together.value)
        said.append(f"keep the money: nothing shown to bring more than {answer.least:g} points (best: {best.name}, "
                    f"{ranged(best.together)}, {best.shrunk:+.1f} when picking a winner is allowed for)")
    elif bought is not None:
        ahead = [s for s in costing if s is not bought]
        sure = f", not shown to be ahead of {ahead[0].name}" if ahead and answer.lead and answer.lead.low <= 0.0 else ""
        said.append(f"best purchase: {bought.name}, {ranged(bought.together)}, {bought.shrunk:+.1f} when picking a "
                    f"winner is allowed for, {bought.per_money:.2g} points per {answer.currency}{sure}"
                    + (f"; {told(answer.rests)}" if answer.rests else ""))
        if len(costing) > 1:
            said.append(f"last for the money: {costing[-1].name}, {ranged(costing[-1].together)}")
    whole = f"all together {ranged(answer.whole)}"
    if answer.price is not None and answer.currency:
        whole += f" for {answer.price:g} {answer.currency}"
        if answer.truck_price:
            whole += f", {100.0 * answer.price / answer.truck_price:.0f} % of what the truck cost"
    text = "; ".join([*said, whole])
    return text[0].upper() + text[1:] + "."


def cost_of_error(answer: Appraisal) -> str:
    """What the best purchase costs if it is wrong, at the low end and on average; empty if none is advised."""
    best = answer.bought()
    if best is None:
        return ""
    said = (f"Cost of being wrong (95 %): {best.name} may bring as little as {best.together.low:+.1f} points for "
            f"{best.price:g} {answer.currency}")
    if best.alone.low < best.together.low:
        said += f", and bought alone {best.alone.low:+.1f} points"
    said += "."
    return said if answer.regret is None else f"{said} {answer.regret.text(best.price, answer.currency)}"


def clashing(pairings: Sequence[Pairing]) -> Pairing | None:
    """The pair that most gets in each other's way, where that is shown."""
    shown = [p for p in pairings if p.extra.high < 0.0]
    return min(shown, key=lambda p: p.extra.value) if shown else None

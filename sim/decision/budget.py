"""What a sum of money buys: the best set of changes within limits, and the order to buy it in."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from models.edit import apply
from sim.decision.change_sets import Drawer, Masks, allowed, bits, prices
from sim.decision.class_limits import ClassLimits, broken
from sim.decision.effect import LEAST_WORTH, PairedLimits, enough, paired
from sim.decision.obstacle_mix import Line
from sim.decision.pair_effects import SetValues, fit
from sim.decision.regret import Regret
from sim.decision.reliance import Prop, drivers, props
from sim.decision.runner import Field
from sim.errors import SimError
from sim.statistics import group_sequential, shrinkage
from sim.statistics.interval import Estimate

Array = NDArray[np.float64]
CHEAP_SHARE = 0.25
"""Share of the best set's price up to which a change counts as cheap."""


@dataclass(frozen=True)
class Choice:
    """Sets that may be bought."""

    drawer: Drawer
    masks: Masks
    """Feasible sets, ascending; the empty one is among them unless the truck as it stands breaks a rule."""
    money: Array
    """(sets,) price."""
    grams: Array
    currency: str
    money_most: float
    left_out: tuple[str, ...]
    """Changes that are in no feasible set, and why."""


@dataclass(frozen=True)
class Bought:
    """One set with what is known of it."""

    mask: int
    label: str
    money: float
    grams: float
    gain: Estimate
    """Points of the chance to clear."""
    driven: bool
    behind: Estimate | None
    """Paired difference to the best set; None for the best itself and for sets not driven."""

    @property
    def as_good(self) -> bool:
        """Whether it cannot be told apart from the best set."""
        return self.behind is not None and self.behind.high >= 0.0


@dataclass(frozen=True)
class Purchase:
    """One purchase on the way."""

    name: str
    price: float
    brings: Estimate
    """Beyond what was bought before it."""
    total: Estimate


@dataclass(frozen=True)
class Budget:
    """The whole answer."""

    choice: Choice
    lines: tuple[Line, ...]
    found: PairedLimits
    best: Bought
    sets: tuple[Bought, ...]
    """All driven sets, best first."""
    front: tuple[Bought, ...]
    """Sets that no cheaper set equals or beats, by price."""
    order: tuple[Purchase, ...]
    workhorse: tuple[str, float] | None
    """Cheap or free change of the best set that does most, and its share of the set's gain."""
    least: float = LEAST_WORTH
    chances: tuple[tuple[str, float, float], ...] = ()
    """Change, chance to be in the best driven set, and in one of the best two."""
    shrunk: float = 0.0
    """Gain of the best set, less what picking the largest of many adds to it."""
    rests: tuple[Prop, ...] = ()
    """What the best set rests on, where it is worth buying."""
    regret: Regret | None = None
    """Of buying the best set."""

    @property
    def buy(self) -> bool:
        """Whether the best set is shown to bring more than the least gain worth having."""
        return self.best.mask != 0 and self.best.gain.low > self.least

    @property
    def ties(self) -> tuple[Bought, ...]:
        """Driven sets that cannot be told apart from the best."""
        return tuple(one for one in self.sets if one.as_good)


def choices(drawer: Drawer, money: float, grams_most: float | None = None, limits: ClassLimits | None = None) -> Choice:
    """Find every set of changes that may be bought.

    :raises SimError: An empty budget, a change without a price, or nothing that is allowed.
    """
    if not money >= 0.0:
        raise SimError("the budget must be a sum from 0", field="money", value=money, remedy="Give an amount")
    cost, currency = prices(drawer.changes)
    missing = [name for name, price in zip(drawer.names, cost, strict=True) if price is None]
    if missing:
        raise SimError("a change gives no price, so no budget can hold it", field="price", value=", ".join(missing),
                       remedy="Add price and currency to its file (price = 0 for a free one)")
    count = len(drawer.changes)
    masks = allowed(count, [(a, b) for a, b, _ in drawer.clashes()])
    total = bits(masks, count) @ np.array([c or 0.0 for c in cost])
    masks, total = masks[total <= money + 1e-9], total[total <= money + 1e-9]
    keep, grams = [], []
    why: dict[int, str] = {}
    for mask in masks:
        added = drawer.grams(int(mask))
        faults = _faults(drawer, int(mask), added, grams_most, limits)
        keep.append(not faults)
        grams.append(added)
        if faults and int(mask).bit_count() == 1:
            why[int(mask).bit_length() - 1] = faults[0]
    kept = np.array(keep)
    feasible = masks[kept]
    if not len(feasible):
        raise SimError("no set of these changes is allowed", field="limits",
                       value="; ".join(_faults(drawer, 0, 0.0, grams_most, limits)) or None,
                       remedy="Loosen a limit or add a change that mends it")
    left = [k for k in range(count) if not ((feasible >> k) & 1).any()]
    reasons = tuple(f"{drawer.names[k]}: {why.get(k, 'dearer than the budget')}" for k in left)
    if len(left) == count:
        raise SimError("nothing fits the budget and limits", field="money", value=money,
                       remedy="; ".join(reasons))
    return Choice(drawer, feasible, total[kept], np.array(grams)[kept], currency, money, reasons)


def _faults(drawer: Drawer, mask: int, added: float, most: float | None, limits: ClassLimits | None) -> list[str]:
    found = []
    if most is not None and added > most + 1e-9:
        found.append(f"adds {added:.0f} g, allowed {most:g}")
    if limits is not None:
        names = tuple(drawer.names[k] for k in drawer.members(mask))
        found += broken(limits, apply(drawer.sheet, [drawer.changes[k] for k in drawer.members(mask)]), names)
    return found


def best_index(value: Array, money: Array) -> int:
    """The most valuable set; among equals the cheapest. An exact search: every feasible set is in the list."""
    return int(np.lexsort((money, -np.round(value, 9)))[0])


def budget(
    choice: Choice, field: Field, lines: tuple[Line, ...], *, repeats: int, sets: int, least: float = LEAST_WORTH,
    watch: Callable[[int, str], None] | None = None,
) -> Budget:
    """Drive single changes, then the sets that look best, until the best one is driven and none looks better.

    :param choice: Feasible sets.
    :param field: Open field whose base truck is the sheet as it is.
    :param lines: The mix.
    :param repeats: Of every set.
    :param least: Smallest gain worth having, points.
    :param sets: Most sets to drive beyond the single changes.
    :param watch: Called with the number of sets driven and the one that comes next.
    """
    count = len(choice.drawer.changes)
    known = set(choice.masks.tolist())
    driven = [1 << k for k in range(count) if 1 << k in known]
    found = _drive(choice, field, lines, driven, repeats)
    for _ in range(sets):
        surface = _surface(choice, found, driven, count)
        following = _next(choice, surface, driven)
        if following is None:
            break
        if watch is not None:
            watch(len(driven), choice.drawer.label(following))
        driven.append(following)
        found = _drive(choice, field, lines, driven, repeats)
    surface = _surface(choice, found, driven, count)
    best = _best_driven(choice, surface, driven)
    order = _order(choice, surface, best)
    missing = [mask for mask, _ in order if mask not in driven]
    driven += missing
    found = _drive(choice, field, lines, driven, repeats) if missing else found
    answer = _answer(choice, lines, found, surface, driven, best, order, least)
    if not answer.buy:
        return answer
    points = found.points(choice.drawer.truck(answer.best.mask).hash)
    level = group_sequential.level((found.n,), max(1, len(driven)))
    return replace(answer, rests=props(found, points, drivers(field, found), least),
                   regret=Regret.within(answer.best.gain, least, level))


def _drive(choice: Choice, field: Field, lines: tuple[Line, ...], driven: Sequence[int], repeats: int) -> PairedLimits:
    trucks = [choice.drawer.truck(mask).hash for mask in (0, *driven)]
    field.find(trucks, range(repeats))
    return enough(paired(field.searches, lines, trucks, range(repeats)))


def _sample(choice: Choice, found: PairedLimits, mask: int) -> Array:
    return found.gain(choice.drawer.truck(mask).hash)


def _surface(choice: Choice, found: PairedLimits, driven: Sequence[int], count: int) -> SetValues:
    data = {}
    for mask in driven:
        sample = _sample(choice, found, mask)
        spread = max(float(sample.std(ddof=1)), found.rounding) / np.sqrt(len(sample))
        data[mask] = (float(sample.mean()), float(spread))
    return fit(choice.masks, count, data)


def _next(choice: Choice, surface: SetValues, driven: Sequence[int]) -> int | None:
    """The set, not driven yet, that could most be the best: highest value plus doubt above the best driven."""
    new = ~np.isin(choice.masks, [0, *driven])
    if not new.any():
        return None
    best = max([0.0, *(surface.of(mask)[0] for mask in driven)])
    hope = np.where(new, surface.value + surface.doubt, -np.inf)
    index = int(np.argmax(hope))
    return int(choice.masks[index]) if hope[index] > best else None


def _best_driven(choice: Choice, surface: SetValues, driven: Sequence[int]) -> int:
    masks = np.array([0, *driven], dtype=np.int64)
    masks = masks[np.isin(masks, choice.masks)]
    value = np.array([surface.of(int(m))[0] if m else 0.0 for m in masks])
    money = np.array([choice.money[int(np.searchsorted(choice.masks, m))] for m in masks])
    return int(masks[best_index(value, money)])


def _order(choice: Choice, surface: SetValues, best: int) -> list[tuple[int, int]]:
    """(set, change bought) step by step: each step the most gain per unit of money among those that may start.

    A free change that brings something comes at once. Steps stay within what is feasible.
    """
    feasible = {int(m): float(p) for m, p in zip(choice.masks, choice.money, strict=True)}
    have, steps = 0, []
    while have != best:
        options = [k for k in choice.drawer.members(best) if not have >> k & 1]
        within = [k for k in options if have | 1 << k in feasible] or options

        def rate(k: int, have: int = have) -> tuple[float, float]:
            after = have | 1 << k
            gain = (surface.of(after)[0] if after in feasible else 0.0) - (surface.of(have)[0] if have else 0.0)
            price = feasible.get(after, 0.0) - feasible.get(have, 0.0)
            return (gain / price if price > 0.0 else float(np.sign(gain)) * 1e9, gain)

        pick = max(within, key=rate)
        have |= 1 << pick
        steps.append((have, pick))
    return steps


def _answer(
    choice: Choice, lines: tuple[Line, ...], found: PairedLimits, surface: SetValues, driven: Sequence[int], best: int,
    order: Sequence[tuple[int, int]], least: float,
) -> Budget:
    level = group_sequential.level((found.n,), max(1, len(driven)))
    sets = [_bought(choice, found, mask, best, level) for mask in driven if mask in set(choice.masks.tolist())]
    if best == 0:
        sets.append(_bought(choice, found, 0, best, level))
    sets.sort(key=lambda one: (one.mask != best, -one.gain.value))
    steps, before = [], np.zeros(found.n)
    cost, _ = prices(choice.drawer.changes)
    for mask, pick in order:
        now = _sample(choice, found, mask)
        steps.append(Purchase(choice.drawer.names[pick], cost[pick] or 0.0,
                          _gain(found, now - before, level), _gain(found, now, level)))
        before = now
    chances, back = _chances(choice, found, [one.mask for one in sets if one.mask])
    return Budget(choice, lines, found, sets[0], tuple(sets), _front(choice, surface, sets), tuple(steps),
                  _workhorse(choice, surface, best), least, chances, back.get(sets[0].mask, 0.0))


def _chances(
    choice: Choice, found: PairedLimits, masks: Sequence[int]
) -> tuple[tuple[tuple[str, float, float], ...], dict[int, float]]:
    """Chance of every change to be in the best driven set and in one of the best two, and every set's gain shrunk."""
    samples = np.array([_sample(choice, found, mask) for mask in masks])
    drawn = shrinkage.draws(samples)
    order = np.argsort(-drawn, axis=1)
    there = bits(np.array(masks, dtype=np.int64), len(choice.drawer.names)).astype(bool)
    chances = []
    for k, name in enumerate(choice.drawer.names):
        inside = there[:, k][order[:, :2]]
        chances.append((name, float(inside[:, 0].mean()), float(inside.any(axis=1).mean())))
    errors = samples.std(axis=1, ddof=1) / np.sqrt(found.n)
    back = shrinkage.shrunk(samples.mean(axis=1), errors)
    return tuple(chances), dict(zip(masks, back.tolist(), strict=True))


def _bought(choice: Choice, found: PairedLimits, mask: int, best: int, level: float) -> Bought:
    index = int(np.searchsorted(choice.masks, mask))
    sample = _sample(choice, found, mask)
    behind = None if mask == best else _gain(found, sample - _sample(choice, found, best), level)
    return Bought(mask, choice.drawer.label(mask), float(choice.money[index]), float(choice.grams[index]),
                  _gain(found, sample, level), True, behind)


def _gain(found: PairedLimits, sample: Array, level: float) -> Estimate:
    return group_sequential.wary(sample, level, found.rounding)


def _front(choice: Choice, surface: SetValues, sets: Sequence[Bought]) -> tuple[Bought, ...]:
    """By price, every set worth more than all cheaper ones: driven sets by their own trials, others by the model."""
    driven = {one.mask: one for one in sets}
    shown = []
    for index, (mask, money, grams) in enumerate(zip(choice.masks.tolist(), choice.money, choice.grams, strict=True)):
        value, doubt = float(surface.value[index]), float(surface.doubt[index])
        guess = Estimate(value, value - 2 * doubt, value + 2 * doubt)
        shown.append(driven.get(mask) or Bought(mask, choice.drawer.label(mask), float(money), float(grams), guess,
                                                False, None))
    front: list[Bought] = []
    for one in sorted(shown, key=lambda one: (one.money, -one.gain.value)):
        if not front or one.gain.value > front[-1].gain.value + 1e-9:
            front.append(one)
    return tuple(front)


def _workhorse(choice: Choice, surface: SetValues, best: int) -> tuple[str, float] | None:
    """Of the cheap and free changes in the best set, the one whose leaving costs most, as a share of the gain."""
    if best == 0:
        return None
    cost, _ = prices(choice.drawer.changes)
    whole = surface.of(best)[0]
    total = float(choice.money[int(np.searchsorted(choice.masks, best))])
    feasible = set(choice.masks.tolist())
    shares = []
    for k in choice.drawer.members(best):
        without = best & ~(1 << k)
        if (cost[k] or 0.0) <= CHEAP_SHARE * total and without in feasible and whole > 0.0:
            shares.append((choice.drawer.names[k], 1.0 - (surface.of(without)[0] if without else 0.0) / whole))
    return max(shares, key=lambda pair: pair[1]) if shares else None

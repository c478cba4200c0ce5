"""What is said of each change that was driven at stated levels: terminal and page say this."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from models.change import Change
from models.edit import apply
from models.spec import Sheet
from sim.compare.comparison import Comparison
from sim.compare.sentences import TOO_FEW
from sim.decision.cases import Cases
from sim.decision.drilling import holes_to_drill
from sim.decision.driven import judged, ranged
from sim.decision.judgement import Judgement, Spread
from sim.decision.levels import Chosen
from sim.decision.obstacle_mix import Line
from sim.decision.runner import Field
from sim.decision.wording import hanging, intervals, word
from sim.trial.truck import Truck


@dataclass(frozen=True)
class Spoken:
    """The judgement on one configuration, with its sentences."""

    name: str
    found: Judgement
    regret: str
    """Chance of a gain worth having, expected gain, and what being wrong costs in points, money and holes."""

    @property
    def texts(self) -> tuple[str, ...]:
        """The word first; then what it hangs on, both intervals, what being wrong costs."""
        said = (f"{self.name}: {word(self.found, 'it brings', 'over what was driven')}.", hanging(self.found),
                intervals(self.found), self.regret)
        return tuple(text for text in said if text)


def spoken(
    comparison: Comparison, trucks: Sequence[Truck], sheet: Sheet, offers: Sequence[tuple[str, Sequence[Change]]],
    lines: Sequence[Line], least: float, spreads: Sequence[Spread | None],
) -> tuple[Spoken, ...]:  # fmt: skip
    """Judge every configuration that has enough trials.

    :param trucks: What was driven.
    :param sheet: The truck that the changes are made to.
    :param offers: Name of each configuration and the changes it has on it.
    :param lines: What was driven, from :func:`sim.decision.driven.ranged`.
    :param least: Smallest gain worth having, points.
    :param spreads: What the unknowns add to each; None for luck alone.
    """
    names, told = {truck.name: truck.hash for truck in trucks}, []
    for (name, changes), spread in zip(offers, spreads, strict=True):
        config = names.get(name, "")
        verdict = comparison.overall.get(config)
        if verdict is None or verdict.word == TOO_FEW:
            continue
        one = judged(comparison, config, lines, least, spread)
        text = one.regret.text(*_price(changes), holes_to_drill(sheet, apply(sheet, list(changes))))
        told.append(Spoken(name, one, text))
    return tuple(told)


def _price(changes: Sequence[Change]) -> tuple[float | None, str]:
    """Sum and currency; no sum where one has no price, or where they are in several currencies."""
    costs = [change.cost for change in changes]
    known = [cost for cost in costs if cost is not None]
    currencies = {cost.currency for cost in known}
    if len(known) < len(costs) or len(currencies) > 1:
        return None, ""
    return sum(cost.price for cost in known), "".join(currencies)


def spreads(
    field: Field, cases: Cases | None, chosen: Sequence[Chosen], trucks: Sequence[Truck]
) -> list[Spread | None]:  # fmt: skip
    """What the unknowns add to the gain of every truck but the first; None for luck alone.

    :raises Stopped: Ctrl-C.
    :raises SimError: Too few cases have a result.
    """
    lines = ranged(chosen)
    return [cases.spread(field, lines, trucks[0].hash, truck.hash)
            if cases and any(one.levels for one in chosen) else None for truck in trucks[1:]]

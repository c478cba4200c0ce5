"""``cragbench worth``: which part is worth its money and grams."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sim.cli import decision_options as options
from sim.cli.console import note, say, show_table

if TYPE_CHECKING:
    from sim.decision.worth import Appraisal, Share

SECONDS_PER_TRIAL = 0.3
TRIALS_PER_LIMIT = 3.5


def worth(
    build: options.Build, changes: options.Changes, change: options.On = None, line: options.LineOption = None,
    course: options.CourseOption = None,
    repeats: Annotated[int, typer.Option(min=12, max=200, help="Repeats of every truck on every line.")] = 12,
    orders: Annotated[int, typer.Option(min=4, max=1000, help="Orders sampled where there are more than 6.")] = 24,
    driver: options.Driver = "steady", second_driver: options.SecondDriver = "bump", seed: options.Seed = 1,
    least: options.Least = 1.0, luck_only: options.LuckOnly = False, known: options.Known = None,
    workers: options.Workers = None, out: options.Out = None, formats: options.Formats = "png,svg",
    as_json: options.Json = False,
) -> None:
    """Which part is worth its money and grams? Each change alone, and its share in company (Shapley value).

    Every combination is driven up to six changes, sampled orders beyond, all in the same luck and, unless --luck-only
    says otherwise, with values drawn for what is not known. A change's price is in its file.
    """
    from models.change import load_change
    from models.edit import apply
    from sim.decision import cases as casting
    from sim.decision import worth as worths
    from sim.decision.change_sets import drawer as make_drawer
    from sim.decision.change_sets import prices
    from sim.decision.obstacle_mix import lines as make_lines
    from sim.decision.runner import yard
    from sim.decision.warned import warned

    asked = options.Asked(driver, as_json)
    sheet, before = options.read(build, change)
    unknowns = () if luck_only else options.stated_priors(sheet, driver, second_driver, known)
    cases = casting.joint(unknowns, driver, repeats, seed) if unknowns else None
    drawer = make_drawer(apply(sheet, before), [load_change(file) for file in changes])
    prices(drawer.changes)
    masks, _ = worths.needed_sets(drawer, orders)
    trucks = [drawer.truck(mask) for mask in masks]
    lines = make_lines(line or (), course or (), yard(trucks[0]))
    if not as_json:
        each = 1.0 if course else TRIALS_PER_LIMIT
        trials = len(masks) * len(lines) * repeats * each
        say(f"{len(drawer.changes)} changes, {len(masks)} trucks, {len(lines)} lines, {repeats} repeats: about "
            f"{trials:.0f} trials, some {trials * SECONDS_PER_TRIAL / 60:.0f} minutes of one core.")
    folder = options.folder_of(out, build)
    with options.trials(trucks, lines, folder, driver=driver, seed=seed, workers=workers, quiet=as_json,
                        cases=cases) as field:
        answer = worths.worth(drawer, field, lines, repeats, orders, least)
    told = warned(drawer, [*(1 << k for k in range(len(drawer.changes))), drawer.whole], field.searches, lines)
    files = _draw(answer, folder, formats, driver)

    def show() -> None:
        _show(answer)
        say(worths.sentence(answer))
        if worths.cost_of_error(answer):
            say(worths.cost_of_error(answer))
        clash = worths.clashing(answer.pairings)
        if clash is not None:
            say(f"{clash.names[0]} and {clash.names[1]} chase the same gain: together {clash.extra.value:+.1f} "
                f"({clash.extra.low:+.1f} to {clash.extra.high:+.1f}) points against the sum of both.")
        unpriced = [share.name for share in answer.shares if share.price is None]
        if unpriced:
            note(f"No price given for: {', '.join(unpriced)}. Add price and currency to the change file.")

    asked.end(field, lines, as_data(answer), files, told, show, unknowns)


def as_data(answer: Appraisal) -> dict[str, Any]:
    """The answer as plain data."""
    from sim.decision.worth import cost_of_error, sentence

    return {
        "sentence": sentence(answer),
        "cost_of_error": cost_of_error(answer),
        "repeats": answer.found.n,
        "coalitions": answer.coalitions,
        "orders": answer.orders,
        "currency": answer.currency,
        "price": answer.price,
        "truck_price": answer.truck_price,
        "together": vars(answer.whole),
        "least": answer.least,
        "buy": None if answer.bought() is None else answer.bought().name,  # type: ignore[union-attr]
        "hangs_on": [vars(one) for one in answer.rests],
        "regret": None if answer.regret is None else vars(answer.regret),
        "lead_per_money": None if answer.lead is None else vars(answer.lead),
        "changes": [
            {"name": s.name, "alone": vars(s.alone), "shapley": vars(s.together), "price": s.price, "mass_g": s.grams,
             "tip_deg": s.degrees, "per_money": s.per_money, "per_g": s.per_gram, "per_deg": s.per_degree,
             "chance_first": s.first, "chance_first_two": s.first_two, "shrunk": s.shrunk}
            for s in answer.ranked()
        ],
        "pairs": [{"names": p.names, "extra": vars(p.extra)} for p in answer.pairings],
    }


def _show(answer: Appraisal) -> None:
    money = answer.currency or "money"
    columns = ("change", "alone, points", "in company, points", "first", "first two", f"price, {money}", "grams",
               f"per {money}", "per 10 g", "per ° of tip")
    show_table("By gain in company per unit of money", columns, [_row(share) for share in answer.ranked()])


def _row(share: Share) -> tuple[str, ...]:
    from sim.decision.wording import ranged

    price = "?" if share.price is None else f"{share.price:g}"
    ratio = share.per_money
    per_money = "" if math.isnan(ratio) else "free" if math.isinf(ratio) else f"{ratio:.2f}"
    per_gram = "" if math.isnan(share.per_gram) else f"{10 * share.per_gram:.1f}"
    per_degree = "" if math.isnan(share.per_degree) else f"{share.per_degree:.1f}"
    alone, together = (ranged(e).replace(" points", "") for e in (share.alone, share.together))
    return (share.name, alone, together, f"{100 * share.first:.0f} %", f"{100 * share.first_two:.0f} %", price,
            f"{share.grams:+.1f}", per_money, per_gram, per_degree)


def _draw(answer: Appraisal, folder: Path, formats: str, driver: str) -> list[Path]:
    if not formats:
        return []
    from sim.chart import style
    from sim.chart.worth import worth as draw
    from sim.decision.worth import sentence

    title = "; ".join(sentence(answer).split("; ")[:2])
    return style.save(draw(answer, title, f"{driver.capitalize()} driver."), folder / "worth", formats.split(","))

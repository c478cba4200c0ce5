"""``cragbench budget``: the best set of changes for a sum of money, and the order to buy it in."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sim.cli import decision_options as options
from sim.cli.console import note, say, show_table

if TYPE_CHECKING:
    from sim.decision.budget import Bought, Budget


def budget(
    build: options.Build,
    changes: options.Changes,
    money: Annotated[float, typer.Option("--money", help="What may be spent, in the currency of the changes.",
                                         show_default=False)],
    grams: Annotated[float | None, typer.Option("--grams", help="Most mass the set may add, g.")] = None,
    limits: Annotated[Path | None, typer.Option("--limits", help="Class limits (TOML): tyre diameter, wheelbase, "
                                                "width, mass, what is forbidden.")] = None,
    change: options.On = None,
    line: options.LineOption = None,
    course: options.CourseOption = None,
    repeats: Annotated[int, typer.Option(min=12, max=200, help="Repeats of every truck on every line.")] = 12,
    sets: Annotated[int, typer.Option(min=1, max=500, help="Sets driven beyond the single changes, at most.")] = 12,
    driver: options.Driver = "steady",
    second_driver: options.SecondDriver = "bump",
    seed: options.Seed = 1,
    least: options.Least = 1.0,
    luck_only: options.LuckOnly = False,
    known: options.Known = None,
    workers: options.Workers = None,
    out: options.Out = None,
    formats: options.Formats = "png,svg",
    as_json: options.Json = False,
) -> None:
    """Which changes to buy for a sum of money, and in which order?

    Every allowed set is searched on a model fitted to the sets that were driven; the sets that look best are driven
    in turn until none is left that could well be better.
    """
    from models.change import load_change
    from models.edit import apply
    from sim.decision import budget as budgets
    from sim.decision import cases as casting
    from sim.decision.change_sets import drawer as make_drawer
    from sim.decision.class_limits import load_class_limits
    from sim.decision.obstacle_mix import lines as make_lines
    from sim.decision.runner import yard
    from sim.decision.warned import warned
    from sim.errors import SimError

    asked = options.Asked(driver, as_json)
    if not money > 0:
        raise SimError("the budget is empty", field="money", value=money,
                       remedy="Give a sum above zero; free changes are in cragbench worth")
    sheet, before = options.read(build, change)
    unknowns = () if luck_only else options.stated_priors(sheet, driver, second_driver, known)
    cases = casting.joint(unknowns, driver, repeats, seed) if unknowns else None
    drawer = make_drawer(apply(sheet, before), [load_change(file) for file in changes])
    choice = budgets.choices(drawer, money, grams, None if limits is None else load_class_limits(limits))
    trucks = [drawer.truck(int(mask)) for mask in sorted({0, *choice.masks.tolist()})]
    lines = make_lines(line or (), course or (), yard(trucks[0]))
    if not as_json:
        say(f"{len(choice.masks)} of {1 << len(drawer.changes)} sets fit {money:g} {choice.currency}"
            + (f" and {grams:g} g" if grams is not None else "") + (" and the class limits." if limits else "."))
        for reason in choice.left_out:
            note(f"Left out: {reason}.")
    folder = options.folder_of(out, build)
    with options.trials(trucks, lines, folder, driver=driver, seed=seed, workers=workers, quiet=as_json,
                        cases=cases) as field:
        answer = budgets.budget(choice, field, lines, repeats=repeats, sets=sets, least=least)
    told = warned(drawer, [answer.best.mask], field.searches, lines)
    files = _draw(answer, folder, formats, driver)

    def show() -> None:
        _show(answer)
        for text in sentences(answer):
            say(text)

    asked.end(field, lines, as_data(answer), files, told, show, unknowns)


def sentences(answer: Budget) -> list[str]:
    """What to buy, what cannot be told apart, what does most of the work."""
    from sim.decision.reliance import told
    from sim.decision.wording import ranged

    best, currency = answer.best, answer.choice.currency
    if not best.mask:
        return ["Keep the money: nothing shown; no allowed set brings a gain."]
    free = [step for step in answer.order if not step.price and step.total.low > answer.least]
    if not answer.buy:
        said = [f"Keep the money: nothing shown to bring more than {answer.least:g} points over the mix (best: "
                f"{best.label} for {best.money:g} {currency}, {ranged(best.gain)}, {answer.shrunk:+.1f} when picking a "
                "winner is allowed for)."]
        return said + ([f"The free move is another matter: {free[0].name} {ranged(free[0].brings)}."] if free else [])
    said = [f"Buy {best.label} for {best.money:g} {currency} ({best.grams:+.0f} g): {ranged(best.gain)} over the "
            f"mix, {answer.shrunk:+.1f} when picking a winner is allowed for. In this order, the free move first: "
            f"{', '.join(step.name for step in answer.order)}."]
    if answer.rests:
        rests = told(answer.rests)
        said.append(f"{rests[0].upper()}{rests[1:]}.")
    ties = [one for one in answer.ties if one.mask]
    if ties:
        cheapest = min(ties, key=lambda one: one.money)
        which = "; the cheapest of them is" if len(ties) > 1 else ":"
        cheaper = f"{which} {cheapest.label} for {cheapest.money:g} {currency}"
        said.append(f"{len(ties)} other driven set{'s' if len(ties) > 1 else ''} cannot be told apart from it"
                    + (cheaper if cheapest.money < best.money else "") + ".")
    missed = max((one.behind.high for one in ties if one.behind), default=0.0)
    wrong = f"as little as {best.gain.low:+.1f} points for {best.money:g} {currency}"
    wrong += f"; if one of those sets is the better one, {missed:.1f} points at most are given away" if ties else ""
    said.append(f"Cost of being wrong (95 %): {wrong}.")
    if answer.regret is not None:
        said.append(answer.regret.text(best.money, currency))
    if answer.workhorse is not None:
        name, share = answer.workhorse
        said.append(f"Of the cheap and free changes {name} does most: about {100 * share:.0f} % of the gain goes "
                    "without it.")
    return said


def as_data(answer: Budget) -> dict[str, Any]:
    """The answer as plain data."""
    return {
        "sentences": sentences(answer),
        "currency": answer.choice.currency,
        "money": answer.choice.money_most,
        "allowed_sets": len(answer.choice.masks),
        "left_out": answer.choice.left_out,
        "repeats": answer.found.n,
        "least": answer.least,
        "buy": answer.buy,
        "shrunk": answer.shrunk,
        "hangs_on": [vars(one) for one in answer.rests],
        "regret": None if answer.regret is None else vars(answer.regret),
        "chances": [{"name": name, "best": one, "best_two": two} for name, one, two in answer.chances],
        "best": _data(answer.best),
        "order": [{"name": s.name, "price": s.price, "brings": vars(s.brings), "total": vars(s.total)}
                  for s in answer.order],
        "driven": [_data(one) for one in answer.sets],
        "front": [_data(one) for one in answer.front],
    }


def _data(one: Bought) -> dict[str, Any]:
    return {"set": one.label, "price": one.money, "mass_g": one.grams, "gain": vars(one.gain), "driven": one.driven,
            "behind_best": None if one.behind is None else vars(one.behind), "as_good": one.as_good}


def _show(answer: Budget) -> None:
    from sim.decision.wording import ranged

    rows = []
    for one in answer.sets:
        told = "best" if one.mask == answer.best.mask else "not told apart" if one.as_good else "behind"
        rows.append((one.label, f"{one.money:g}", f"{one.grams:+.0f}", ranged(one.gain), told))
    show_table("Sets that were driven", ("set", f"price, {answer.choice.currency}", "g", "gain", "against the best"),
               rows)
    steps = [(f"{k}. {step.name}", f"{step.price:g}", ranged(step.brings), f"{step.total.value:+.1f}")
             for k, step in enumerate(answer.order, start=1)]
    if steps:
        show_table("Order to buy in", ("change", f"price, {answer.choice.currency}", "brings", "so far"),
                   steps)
    show_table("Chance to be in the best set", ("change", "best", "one of the best two"),
               [(name, f"{100 * one:.0f} %", f"{100 * two:.0f} %") for name, one, two in answer.chances])


def _draw(answer: Budget, folder: Path, formats: str, driver: str) -> list[Path]:
    if not formats:
        return []
    from sim.chart import style
    from sim.chart.budget import budget as draw

    title = sentences(answer)[0].split(" over the mix")[0]
    return style.save(draw(answer, title, f"{driver.capitalize()} driver."), folder / "budget", formats.split(","))

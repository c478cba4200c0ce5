"""``cragbench explore``: the best whole set-up within a budget of money, grams and class limits."""

from __future__ import annotations

import shlex
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sim.cli import decision_options as options
from sim.cli.batch_cmd import Target
from sim.cli.console import note, say, show_json, show_table

if TYPE_CHECKING:
    from sim.explore.aim import Aim
    from sim.explore.proposal import Answer
    from sim.explore.search import SetupSearch
    from sim.explore.success_map import SuccessMap
    from sim.explore.workshop import Workshop

BASE_REPEATS = 3
"""Repeats of the limits of the truck as it is, where the levels of an aim are not given."""
AT_ONCE = 200
"""Set-ups asked for at a time where thousands of trials run at once."""


def explore(
    build: options.Build,
    changes: Annotated[list[Path] | None, typer.Argument(help="Change files (TOML), each to be taken or not.",
                                                         show_default=False)] = None,
    space: Annotated[Path | None, typer.Option("--space", help="What else may change (TOML): positions, ballast, hubs, "
                                               "values, parts of a drawer.")] = None,
    money: Annotated[float, typer.Option("--money", min=0.0, help="What may be spent; left out, anything.")] = 1e9,
    grams: Annotated[float | None, typer.Option("--grams", help="Most mass the set-up may add, g.")] = None,
    limits: Annotated[Path | None, typer.Option("--limits", help="Class limits (TOML).")] = None,
    change: options.On = None,
    aim: Annotated[list[str] | None, typer.Option("--aim", help="Family, or family with levels: climb:40,45. May be "
                                                  "given several times; left out: climb, side-hill, descent.")] = None,
    setups: Annotated[int, typer.Option(min=10, max=1_000_000, help="Set-ups to drive, about.")] = 400,
    most: Annotated[int, typer.Option(min=4, max=500, help="Repeats of those that might be best.")] = 16,
    confirm: Annotated[int, typer.Option(min=4, max=1000, help="Repeats with fresh luck of what is proposed.")] = 24,
    success_map: Annotated[str | None, typer.Option("--map", help="Two things that may change, for a map of success: "
                                                    "'battery x, front ballast'.")] = None,
    certain: Annotated[bool, typer.Option("--certain", help="Take the sheet at its word: draw no unknowns.")] = False,
    driver: options.Driver = "steady",
    seed: options.Seed = 1,
    workers: options.Workers = None,
    on: Annotated[Target, typer.Option(help="Where trials run: this machine's cores, or its graphics processor "
                                       "(cragbench[gpu]).")] = Target.cpu,
    out: options.Out = None,
    formats: options.Formats = "png,svg",
    as_json: options.Json = False,
) -> None:
    """What is the best this truck can be?

    Set-ups are proposed, checked for room, rubbing, holes, money, grams and class, and driven in common luck; those
    that might be among the best are driven again. Stop with Ctrl-C and start the same command to go on.
    """
    from models.change import load_change
    from models.edit import apply
    from sim.decision.class_limits import load_class_limits
    from sim.decision.runner import Stopped, yard
    from sim.errors import SimError
    from sim.explore.dimension import dimensions
    from sim.explore.proposal import propose
    from sim.explore.search import Effort, search
    from sim.explore.space_file import load_space
    from sim.explore.success_map import place
    from sim.explore.success_map import success_map as map_of
    from sim.explore.trial_ground import UNKNOWNS, opened
    from sim.explore.workshop import Bounds, Setup, Workshop
    from sim.trial import driver as drivers

    began = time.monotonic()
    drivers.named(driver)
    on_device = on == Target.gpu
    if on_device:
        from sim.batch.device import check_device

        check_device()
    effort = Effort(setups, most=most, confirm=confirm, batch=AT_ONCE if on_device else Effort.batch)
    sheet, before = options.read(build, change)
    sheet = apply(sheet, before)
    drawer = [load_change(file) for file in changes or []]
    free = dimensions(sheet, None if space is None else load_space(space), drawer,
                      Path() if space is None else space.parent)
    bounds = Bounds(money, float("inf") if grams is None else grams, None if limits is None
                    else load_class_limits(limits))
    shop = Workshop(sheet, free, bounds)
    base = shop.build(shop.now)
    if not isinstance(base, Setup):
        raise SimError("the truck as it is breaks a bound", field="limits", value=base, remedy="Loosen it")
    pair = _pair(success_map)
    folder = options.folder_of(out, build)
    aims = _aims(aim or (), base.truck, folder, driver, seed, workers, as_json)
    if not as_json:
        _tell_space(shop, aims)
    store = folder / "explore.sqlite"
    try:
        with opened(aims, yard(base.truck), store, workers=workers or options_cores(), driver=driver, seed=seed,
                    unknowns=() if certain else UNKNOWNS, on_device=on_device) as ground:
            found = search(shop, ground, effort, seed,
                           watch=None if as_json else _Rounds(setups))
            for name in pair or ():
                place(found, name)
            answer = propose(found, effort)
            around = answer.proposals[0].setup.genes if answer.proposals else shop.now
            grid = None if pair is None else map_of(found, pair, around, max(4, most // 2))
            trials = ground.run_trials, ground.known_trials
    except Stopped:
        note("")
        say(f"Stopped; what was run is kept in {store}. Go on with:")
        say(f"  {shlex.join(['cragbench', *sys.argv[1:]])}")
        raise typer.Exit(options.INTERRUPTED) from None
    files = _draw(answer, grid, aims, folder, formats, driver)
    if as_json:
        show_json(as_data(answer, grid, aims) | {"trials": sum(trials), "seconds": time.monotonic() - began,
                                                 "files": [str(file) for file in files]})
        return
    _show(answer)
    for text in sentences(answer):
        say(text)
    _warn(answer)
    known = f", {trials[1]} of them known before" if trials[1] else ""
    say(f"{sum(trials)} trials{known}; {driver} driver; {time.monotonic() - began:.0f} s.")
    for file in files:
        say(f"wrote {file}")


def options_cores() -> int:
    """Processes, one a core."""
    from sim.cli.batch_cmd import available_cores

    return available_cores()


def _pair(text: str | None) -> tuple[str, str] | None:
    from sim.errors import SimError

    if text is None:
        return None
    names = [name.strip() for name in text.split(",")]
    if len(names) != 2 or not all(names):
        raise SimError("a map is over two things", field="map", value=text, remedy="Write 'battery x, front ballast'")
    return names[0], names[1]


def _aims(
    wanted: Any, truck: Any, folder: Path, driver: str, seed: int, workers: int | None, quiet: bool
) -> tuple[Aim, ...]:
    """Levels as given, or around the limits of the truck as it is."""
    from statistics import median

    from sim.decision.obstacle_mix import Line
    from sim.decision.runner import yard
    from sim.explore.aim import ladder, parse

    found = parse(wanted, yard(truck))
    lines = tuple(one for one in found if isinstance(one, Line))
    if not lines:
        return tuple(one for one in found if not isinstance(one, Line))
    with options.trials([truck], lines, folder, driver=driver, seed=seed, workers=workers, quiet=quiet) as field:
        field.find([truck.hash], range(BASE_REPEATS))
        limits = {}
        for index, line in enumerate(lines):
            values = [field.searches.value(truck.hash, index, repeat) for repeat in range(BASE_REPEATS)]
            limits[line.obstacle] = median([value for value in values if value is not None] or [line.start])
    return tuple(ladder(one, limits[one.obstacle]) if isinstance(one, Line) else one for one in found)


def _tell_space(shop: Workshop, aims: tuple[Aim, ...]) -> None:
    count = 1
    for dimension in shop.dimensions:
        count *= len(dimension.options)
    names = ", ".join(f"{dimension.name} ({len(dimension.options)})" for dimension in shop.dimensions)
    say(f"Free: {names}: {count:.3g} set-ups. Aims: {'; '.join(one.text for one in aims)}.")


class _Rounds:
    """A line now and then on how far the search is."""

    def __init__(self, setups: int) -> None:
        self._setups, self._began, self._last = setups, time.monotonic(), 0.0

    def __call__(self, found: SetupSearch) -> None:
        from sim.cli.progress import duration
        from sim.explore.front import volume

        now = time.monotonic()
        if now - self._last < 10.0 and len(found.driven) < self._setups:
            return
        self._last = now
        _, chance, _ = found.table()
        share = volume(chance, found.scores.chance(found.driven[found.workshop.now]))
        left = (now - self._began) * max(0, self._setups - len(found.driven)) / max(1, len(found.driven))
        note(f"{len(found.driven)} of {self._setups} set-ups, {len(found.front())} on the front, "
             f"{100 * share:.0f} % of what could be gained lies under it; about {duration(left)} left")


def sentences(answer: Answer) -> list[str]:
    """What to build, how sure, and how it compares with the best single change."""
    currency = _currency(answer)
    if not answer.proposals:
        return ["Leave it as it is: no set-up that can be built was better."]
    said = []
    for number, one in enumerate(answer.proposals, start=1):
        sure = "" if one.gain.low > 0.0 else "; not shown to be above zero"
        said.append(f"{number}. {one.role.capitalize()}: {one.setup.name} for {one.setup.money:g} {currency} "
                    f"({one.setup.grams:+.0f} g): {_ranged(one.gain)} over the aims{sure}; the best of these in "
                    f"{100 * one.best_share:.0f} % of resamples.")
        steps = "; ".join(f"{k}. {step.name} ({_cost(step.price, currency)}{', drill' if step.drill else ''}) "
                          f"{step.brings.value:+.0f}" for k, step in enumerate(one.steps, start=1))
        said.append(f"   In this order: {steps} points.")
    if answer.single is not None:
        setup, gain = answer.single
        said.append(f"The best single change, {setup.name}, brings {_ranged(gain)}.")
    refused = sum(answer.search.refused.values())
    if refused:
        reason, count = max(answer.search.refused.items(), key=lambda item: item[1])
        said.append(f"{refused} proposed set-ups could not be built; most often ({count}): {reason}.")
    return said


def _cost(price: float, currency: str) -> str:
    return f"{price:g} {currency}" if price else "free"


def _currency(answer: Answer) -> str:
    for dimension in answer.search.workshop.dimensions:
        for option in dimension.options:
            if option.change is not None and option.change.cost is not None and option.change.cost.price > 0.0:
                return option.change.cost.currency
    return ""


def _ranged(gain: Any) -> str:
    return f"{gain.value:+.0f} points ({gain.low:+.0f} to {gain.high:+.0f})"


def as_data(answer: Answer, grid: SuccessMap | None, aims: tuple[Aim, ...]) -> dict[str, Any]:
    """The answer as plain data."""
    data: dict[str, Any] = {
        "sentences": sentences(answer),
        "aims": [one.text for one in aims],
        "proposals": [
            {"role": one.role, "setup": one.setup.name, "price": one.setup.money, "mass_g": one.setup.grams,
             "gain": vars(one.gain), "repeats": one.n, "best_share": one.best_share,
             "by_aim": [{"aim": a.name, "before": a.before, "after": a.after, "difference": vars(a.difference)}
                        for a in one.by_aim],
             "steps": [{"name": s.name, "price": s.price, "mass_g": s.grams, "drill": s.drill,
                        "brings": vars(s.brings), "total": vars(s.total)} for s in one.steps]}
            for one in answer.proposals
        ],
        "front": [{"setup": one.name, "price": one.money, "mass_g": one.grams,
                   "chance": answer.search.scores.chance(one).tolist()} for one in answer.front],
        "single": None if answer.single is None else {"setup": answer.single[0].name, "gain": vars(answer.single[1])},
        "driven": len(answer.search.driven),
        "refused": answer.search.refused,
    }
    if grid is not None:
        data["map"] = {"across": grid.across.name, "up": grid.up.name, "around": grid.around,
                       "x": [grid.across.options[k].label for k in grid.x],
                       "y": [grid.up.options[k].label for k in grid.y],
                       "chance": [[None if cell[0] != cell[0] else cell.tolist() for cell in row]
                                  for row in grid.chance]}
    return data


def _show(answer: Answer) -> None:
    for number, one in enumerate(answer.proposals, start=1):
        rows = [(a.name, f"{a.before:.0f} %", f"{a.after:.0f} %", _ranged(a.difference)) for a in one.by_aim]
        show_table(f"{number}. {one.role}: {one.setup.name}", ("aim", "as it is", "then", "difference"), rows)
        steps = [(f"{k}. {s.name}", f"{s.price:g}", f"{s.grams:+.0f}", _ranged(s.brings), f"{s.total.value:+.0f}")
                 for k, s in enumerate(one.steps, start=1)]
        show_table("Step by step", ("change", "price", "g", "brings", "so far"), steps)


def _warn(answer: Answer) -> None:
    from sim.decision.caution import cautions

    told = [(f"Set-up {number}", cautions(one.setup.truck.configuration.sheet, answer.base.truck.configuration.sheet))
            for number, one in enumerate(answer.proposals, start=1)]
    options.warn(told)


def _draw(
    answer: Answer, grid: SuccessMap | None, aims: tuple[Aim, ...], folder: Path, formats: str, driver: str
) -> list[Path]:
    if not formats:
        return []
    from sim.chart import style
    from sim.chart.explore import front, success_map

    assumed = f"{driver.capitalize()} driver."
    title = f"{len(answer.front)} best compromises"
    if answer.proposals:
        title += f"; best all round: {_ranged(answer.proposals[0].gain)}"
    files = style.save(front(answer, title, assumed), folder / "front", formats.split(","))
    if grid is not None:
        i, j = grid.best
        best = f"{grid.across.options[grid.x[i]].label}, {grid.up.options[grid.y[j]].label}"
        files += style.save(success_map(grid, tuple(a.name for a in aims), f"Best of the map: {best}", assumed),
                            folder / "map", formats.split(","))
    return files

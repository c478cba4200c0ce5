"""Options that the decision commands share, and how they run trials."""

from __future__ import annotations

import shlex
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sim.cli.console import note, say, show_json, show_table
from sim.cli.options import Build as Build
from sim.cli.options import Json as Json
from sim.cli.options import Workers as Workers

if TYPE_CHECKING:
    from models.change import Change
    from models.spec import Sheet
    from sim.decision.cases import Cases
    from sim.decision.caution import Caution
    from sim.decision.judgement import Judgement
    from sim.decision.limit_search import Case
    from sim.decision.obstacle_mix import Line
    from sim.decision.runner import Field
    from sim.decision.unknowns import Prior
    from sim.trial.truck import Truck

INTERRUPTED = 130

Changes = Annotated[list[Path], typer.Argument(help="Change files (TOML).", show_default=False)]
On = Annotated[list[Path] | None, typer.Option("--change", help="Change made before; may be given several times.")]
LineOption = Annotated[
    list[str] | None,
    typer.Option("--line", help="Obstacle whose limit counts, with its weight: climb=2. May be given several times; "
                                "left out: climb, ledge-on-slope, side-hill, descent."),
]
CourseOption = Annotated[
    list[str] | None,
    typer.Option("--course", help="Obstacle at its level, ledge:30; several make a course to be cleared instead of "
                                  "limits to be found."),
]
Driver = Annotated[str, typer.Option(help="Named driver.")]
Seed = Annotated[int, typer.Option(min=0, help="Of all luck.")]
Least = Annotated[
    float, typer.Option(min=0.0, max=100.0, help="Smallest gain worth having, points of the chance to clear.")
]
SecondDriver = Annotated[str, typer.Option("--second-driver", help="Drives half of the cases in which what is not "
                                           "known is drawn: patient, brisk, ...")]
LuckOnly = Annotated[
    bool, typer.Option("--luck-only", help="Take the sheet's values for certain: quicker, and surer than it should be.")
]
Known = Annotated[
    list[str] | None,
    typer.Option("--known", help="How well something is known, standard deviation in percent: grip=4. 0: exactly. May "
                                 "be given several times."),
]
Out = Annotated[Path | None, typer.Option(help="Folder for the store and pictures; left out, named after the build.")]


def checked_formats(names: str) -> str:
    """Refuse a picture format that there is not before anything is driven.

    :raises SimError: Of the first such name.
    """
    from sim.chart import FORMATS
    from sim.errors import SimError

    wanted = [name.strip().lower() for name in names.split(",") if name.strip()]
    for name in wanted:
        if name not in FORMATS:
            raise SimError("no such picture format", field="formats", value=name,
                           remedy=f"Choose from: {', '.join(FORMATS)}")
    return ",".join(wanted)


Formats = Annotated[str, typer.Option("--formats", callback=checked_formats,
                                      help="Of the pictures: png, svg, pdf, by commas.")]


def read(build: Path, changes: Sequence[Path] | None) -> tuple[Sheet, list[Change]]:
    """Read a sheet and changes and check that they fit each other."""
    from models.change import load_change
    from models.configuration import load_configuration
    from models.sheet import load_sheet

    load_configuration(build, changes or [])
    return load_sheet(build), [load_change(change) for change in changes or []]


def folder_of(out: Path | None, build: Path) -> Path:
    """Where a decision keeps its trials and pictures."""
    return out or Path(f"{build.stem}-decisions")


def stated_priors(sheet: Sheet, driver: str, second: str, known: Sequence[str] | None) -> tuple[Prior, ...]:
    """What is not known of a truck, narrowed by what somebody states.

    :raises SimError: Not ``name=percent``, or no such unknown or driver.
    """
    from sim.decision.unknowns import priors
    from sim.errors import SimError

    stated = {}
    for text in known or ():
        name, _, number = text.partition("=")
        try:
            stated[name.strip()] = float(number)
        except ValueError:
            stated[name.strip()] = -1.0
        if not 0.0 <= stated[name.strip()] <= 50.0:
            raise SimError("not a standard deviation from 0 to 50 percent", field="known", value=text,
                           remedy="Write grip=4")
    return priors(sheet, driver, stated, second)


@contextmanager
def trials(
    trucks: Sequence[Truck], lines: tuple[Line, ...], folder: Path, *, driver: str, seed: int, workers: int | None,
    quiet: bool, cases: Cases | None = None,
) -> Iterator[Field]:
    """Workers, store and a progress line for drawn cases; see :func:`running`."""
    with running(trucks, lines, folder, driver=driver, seed=seed, workers=workers, quiet=quiet,
                 cases=None if cases is None else cases.by_number()) as field:
        yield field


@contextmanager
def running(
    trucks: Sequence[Truck], lines: tuple[Line, ...], folder: Path, *, driver: str, seed: int, workers: int | None,
    quiet: bool, cases: Mapping[int, Case] | None = None,
) -> Iterator[Field]:
    """Workers, store and a progress line; Ctrl-C ends with what is done kept."""
    from sim.cli.batch_cmd import available_cores
    from sim.cli.progress import watcher
    from sim.decision.runner import Stopped, opened, yard
    from sim.trial import driver as drivers

    drivers.named(driver)
    store = folder / "trials.sqlite"
    try:
        with watcher(None, quiet=quiet) as watch, opened(
            trucks, lines, yard(trucks[0]), store, workers=workers or available_cores(), driver=driver, seed=seed,
            watch=watch, cases=cases,
        ) as field:
            yield field
    except Stopped:
        note("")
        say(f"Stopped; what was run is kept in {store}. Go on with:")
        say(f"  {shlex.join(['cragbench', *sys.argv[1:]])}")
        raise typer.Exit(INTERRUPTED) from None


@dataclass
class Asked:
    """One decision command from start to end: how it was asked, and what every one of them says at the end."""

    driver: str
    as_json: bool
    began: float = field(default_factory=time.monotonic)

    def end(
        self, run: Field, lines: Sequence[Line], data: dict[str, Any], files: Sequence[Path],
        told: Sequence[tuple[str, Sequence[Caution]]], show: Callable[[], None], unknowns: Sequence[Prior] = (),
    ) -> None:
        """Print the answer as data, or by ``show`` with what it rests on."""
        from sim.decision.caution import briefly
        from sim.decision.warned import as_data
        from sim.decision.wording import assumed, mix

        took, count = time.monotonic() - self.began, run.run_trials + run.known_trials
        if self.as_json:
            show_json(data | {
                "mix": [{"line": line.name, "weight": line.weight, "range": line.span, "unit": line.unit}
                        for line in lines],
                "unknowns": [{"name": one.name, "sd_percent": one.sd, "measured": one.measured,
                              "choices": one.choices} for one in unknowns],
                "cautions": as_data(told), "trials": count, "seconds": took, "files": [str(file) for file in files]})
            return
        show()
        if run.searches.void:
            note(f"WARNING: {run.searches.void} searches met an invalid trial (the solver failed); their repeats are "
                 "left out.")
        for text in briefly(told):
            note(f"WARNING: {text}.")
        say(f"Points: chance to clear, averaged over the levels {mix(lines)}.")
        if unknowns:
            say(f"{assumed(unknowns)}.")
        known = f", {run.known_trials} of them known before" if run.known_trials else ""
        say(f"{count} trials{known}; {self.driver} driver{' and others' if unknowns else ''}; {took:.0f} s.")
        for file in files:
            say(f"wrote {file}")


def warn(told: Sequence[tuple[str, Sequence[Caution]]]) -> None:
    """Print what to mind, each thing once."""
    from sim.decision.caution import briefly

    for text in briefly(told):
        note(f"WARNING: {text}.")


def judged(found: Judgement) -> dict[str, Any]:
    """A judgement as plain data, points throughout."""
    one = found.effect
    return {
        "verdict": found.word, "hangs_on": found.hangs_on, "more_repeats": found.more, "repeats": one.n,
        "least": found.least, "luck_only": vars(one.gain),
        "luck_and_unknowns": None if found.both is None else vars(found.both),
        "chance_above_least": found.regret.above, "expected": found.regret.expected,
        "regret_doing": found.regret.doing, "regret_leaving": found.regret.leaving, "by_driver": found.by_driver,
        "by_side": {side: vars(gain) for side, gain in found.by_side.items()}, "unknown_shares": found.shares,
        "lines": [
            {"line": e.line.name, "weight": e.share, "base": vars(e.base), "changed": vars(e.changed),
             "unit": e.line.unit, "shift": vars(e.shift), "contribution": vars(e.contribution),
             "without": vars(one.without[k]) if one.without else None} for k, e in enumerate(one.by_line)],
    }


def show_contributions(found: Judgement) -> None:
    """Print what each line brings to the gain, its weight, its limits, and the gain without it."""
    from sim.decision.wording import amount, ranged, scaled, unit

    rows = []
    for k, e in enumerate(found.effect.by_line):
        base, changed = (x.value * (1.0 if e.line.level is None else 100.0) for x in (e.base, e.changed))
        without = ranged(found.effect.without[k]) if found.effect.without else ""
        rows.append((e.line.range_text, f"{100.0 * e.share:.0f} %", f"{amount(base, unit(e.line))} to "
                     f"{amount(changed, unit(e.line))}", ranged(scaled(e.shift, e.line), unit(e.line)),
                     ranged(e.contribution), without))
    rows.append(("whole mix, luck only", "100 %", "", "", ranged(found.effect.gain), ""))
    show_table("What each line brings", ("line", "weight", "limit" if not _stated(found) else "cleared", "shift",
                                         "of the gain, points", "gain without it"), rows)


def _stated(found: Judgement) -> bool:
    return any(e.line.level is not None for e in found.effect.by_line)

"""``cragbench fit``: a new build sheet that agrees with the readings."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sim.cli.console import say, show_json, show_table
from sim.cli.options import Json, ReadingsFile

if TYPE_CHECKING:
    from models.bench.session import Reconciled
    from models.spec import Sheet


def fit(
    build: Annotated[Path, typer.Argument(help="Build sheet (TOML); it is not changed.", show_default=False)],
    readings: ReadingsFile,
    out: Annotated[Path | None, typer.Option(help="New build sheet; left out, nothing is written.")] = None,
    name: Annotated[str | None, typer.Option(help="Name of the truck on the new sheet.")] = None,
    chart: Annotated[Path | None, typer.Option(help="Picture of what moved, without its ending.")] = None,
    as_json: Json = False,
) -> None:
    """Make a build sheet agree with scale, ruler and board; say what moved, what is missing, what to measure next."""
    from models.bench.session import fit as reconcile
    from models.bench.session import write

    if out is not None:
        _check_free(out)
    done = reconcile(build, readings)
    new = None if out is None else write(done, out, name)
    files = []
    if chart is not None:
        from sim.chart.bench_chart import moved_chart
        from sim.chart.style import save

        files = save(moved_chart(done), chart.with_suffix("") if chart.suffix in (".png", ".svg") else chart)
    if as_json:
        show_json({**as_data(done), "written": None if out is None else str(out), "charts": [str(f) for f in files]})
        return
    _show(done)
    if new is not None and out is not None:
        _show_new(new, out)
    else:
        say("Nothing was written: give --out NEW.toml to keep this as a new sheet.")
    for file in files:
        say(f"Wrote {file}")


def _check_free(out: Path) -> None:
    from models.errors import BuildSheetError

    if out.exists():
        raise BuildSheetError(
            "is there already; a sheet is never overwritten.", remedy="Name another file with --out.", file=out
        )


def as_data(done: Reconciled) -> dict[str, Any]:
    """The fit as plain data in bench units."""
    f = done.fit
    return {
        "parts_g": f.parts_g, "scale_g": f.scale_g, "unaccounted_g": f.unaccounted_g,
        "checks": [vars(c) for c in f.checks],
        "moved": [
            {"key": ".".join(m.unknown.key), "unit": m.unknown.unit, "before": m.before, "after": m.after,
             "doubt_before": m.doubt_before, "doubt_after": m.doubt_after}
            for m in f.moved
        ],
        "measured": [{"key": ".".join(s.key), "value": s.value} for m in done.measurements for s in m.settings],
        "warnings": list(done.warnings),
        "next": [{"what": g.what, "narrows": g.target, "unit": g.unit, "from": g.now, "to": g.then}
                 for g in done.gains[:8]],
    }  # fmt: skip


def _show(done: Reconciled) -> None:
    from models.bench.account import CHECKS, MOVES, NEXT, account

    invented = "  (simulated readings of an invented truck)" if done.weighed and done.weighed.readings.simulated else ""
    say(f"{done.sheet.name}{invented}")
    if done.measurements:
        from sim.cli.measure_cmd import show

        show(list(done.measurements))
    told = account(done)
    show_table("Readings against the sheet", CHECKS, told.checks)
    for text in told.totals:
        say(text)
    if told.moves:
        show_table(told.moved, MOVES, told.moves, left=2)
    else:
        say("Nothing had to move.")
    for warning in done.warnings:
        say(f"  ! {warning}")
    say(told.known)
    show_table("What to measure next", NEXT, told.following, left=2)
    if told.caveat:
        say(told.caveat)


def _show_new(new: Sheet, out: Path) -> None:
    from models.massprops import truck_properties, wheel_loads

    truck = truck_properties(new)
    loads = wheel_loads(new, truck)
    marks = {mark: sum(part.source == mark for part in new.parts) for mark in ("measured", "fitted", "sold", "assumed")}
    told = ", ".join(f"{n} {mark}" for mark, n in marks.items() if n)
    say(f"Wrote {out}: {1e3 * truck.mass:.1f} g, front bias {loads.front_percent:.1f} %, CG height "
        f"{1e3 * float(truck.cg[2]):.1f} mm. Parts: {told}. The old sheet is as it was.")

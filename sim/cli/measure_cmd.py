"""``cragbench measure``: bench measurements as guided procedures, and what their readings say."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sim.cli.console import say, show_json, show_table
from sim.cli.options import Json

if TYPE_CHECKING:
    from models.bench.measurement import Measurement
    from models.bench.procedure import Procedure


def measure(
    procedure: Annotated[str | None, typer.Argument(help="One procedure; left out, all.", show_default=False)] = None,
    readings: Annotated[Path | None, typer.Option(help="Readings file (TOML) to work out.")] = None,
    sheet: Annotated[Path | None, typer.Option(help="Build sheet to compare with.")] = None, as_json: Json = False,
) -> None:
    """Show how to measure something at the bench, or work out what was measured."""
    from models.bench.procedure import PROCEDURES, by_name
    from sim.errors import SimError

    chosen = None if procedure is None else by_name(procedure)
    if procedure is not None and chosen is None:
        raise SimError("no such procedure", field="procedure", value=procedure,
                       remedy=f"Choose one of: {', '.join(p.name for p in PROCEDURES)}")
    if (readings is None) != (sheet is None):
        raise SimError("readings are worked out beside a build sheet", field="readings",
                       remedy="Give both --readings and --sheet")
    if readings is not None and sheet is not None:
        _work_out(readings, sheet, None if chosen is None else chosen.name, as_json)
    elif as_json:
        show_json([vars(p) for p in PROCEDURES if chosen in (None, p)])
    elif chosen is not None:
        _guide(chosen)
    else:
        show_table("Bench measurements", ["name", "what", "typical accuracy", "fills"],
                   [(p.name, p.title, p.accuracy, p.gives) for p in PROCEDURES], left=4)
        say("`cragbench measure NAME` shows the steps, the caution and what to write into a readings file.")


def _guide(p: Procedure) -> None:
    say(p.title)
    say(f"  Takes: {p.needs}")
    for n, step in enumerate(p.steps, start=1):
        say(f"  {n}. {step}")
    say(f"  CAUTION: {p.caution}")
    say(f"  Good to: {p.accuracy} (common practice, no source)")
    say(f"  Formula: {p.formula}")
    say(f"  Goes to: {p.gives}")
    if p.example:
        say("  In a readings file:")
        say(textwrap.indent(p.example, "    "))


def _work_out(readings: Path, sheet: Path, only: str | None, as_json: bool) -> None:
    from models.bench.procedure import by_name
    from models.bench.session import measured
    from models.sheet import load_sheet
    from sim.errors import SimError

    found = measured(readings, load_sheet(sheet), only)
    if not found:
        raise SimError("holds no such measurement", file=readings,
                       remedy="`cragbench measure NAME` shows what to write")
    if as_json:
        show_json([as_data(m) for m in found])
        return
    show(found)
    for name in dict.fromkeys(m.procedure for m in found):
        p = by_name(name)
        if p is not None and name in ("tilt", "slip_board", "block_pull", "servo", "wheel_speed"):
            say(f"CAUTION ({p.title.lower()}): {p.caution}")
    say(f"Next: `cragbench fit {sheet} {readings} --out NEW.toml` writes these into a new sheet.")


def as_data(m: Measurement) -> dict[str, Any]:
    """One result as plain data."""
    return {
        "procedure": m.procedure, "what": m.what, "unit": m.unit,
        "value": None if m.found is None else m.found.value,
        "low": None if m.found is None else m.found.low, "high": None if m.found is None else m.found.high,
        "sheet_says": m.sheet_says, "remark": m.remark,
        "sets": [{"key": ".".join(s.key), "value": s.value, "mark": s.mark} for s in m.settings],
    }  # fmt: skip


def show(found: list[Measurement]) -> None:
    """Print results beside what the sheet says."""
    rows = []
    for m in found:
        value = "" if m.found is None else f"{m.found.value:.4g} {m.unit}".rstrip()
        interval = "" if m.found is None else f"{m.found.low:.4g} to {m.found.high:.4g}"
        says = "" if m.sheet_says is None else f"{m.sheet_says:.4g}{' (!)' if m.surprising else ''}"
        rows.append((m.what, value, interval, says))
    show_table("Measured", ["", "found", "95 % interval", "sheet"], rows)
    if any(m.surprising for m in found):
        say("(!) the sheet says something else than the bench; a new sheet takes the bench's word.")
    for m in found:
        if m.remark:
            say(f"  {m.what}: {m.remark}.")

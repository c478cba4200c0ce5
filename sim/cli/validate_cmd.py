"""``cragbench validate``: why the numbers can be believed, check by check."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.text import Text

from sim.cli.console import note, say, show_json, show_table
from sim.cli.options import Json

if TYPE_CHECKING:
    from sim.validation.check import Check, Result
    from sim.validation.report import Row

STYLES = {"pass": "green", "fail": "bold red", "broken": "bold red", "not run": "yellow"}


def validate(
    only: Annotated[
        list[str] | None, typer.Option("--only", help="A group or a check; may be given several times.")
    ] = None,
    quick: Annotated[bool, typer.Option("--quick", help="Leave out what takes more than seconds.")] = False,
    listed: Annotated[bool, typer.Option("--list", help="List the groups and their checks, run nothing.")] = False,
    markdown: Annotated[Path | None, typer.Option(help="Write the page here as Markdown.")] = None,
    picture: Annotated[Path | None, typer.Option(help="Write the picture here (PNG).")] = None,
    workers: Annotated[int | None, typer.Option(min=1, help="Processes; all cores without.")] = None,
    as_json: Json = False,
) -> None:
    """Check the tool against closed forms, published numbers, other engines and other libraries.

    Exit code 1 when a check fails, or when all were asked for and some could not be run.
    """
    from sim.validation import report
    from sim.validation.catalogue import checks
    from sim.validation.runner import run

    wanted = checks(tuple(only or ()), quick=quick)
    if listed:
        for title, names in _listed(wanted):
            say(f"{title}\n" + "\n".join(f"  {name}" for name in names))
        return
    results = run(wanted, workers=workers, watch=_watch(len(wanted), quiet=as_json))
    rows = list(zip(wanted, results, strict=True))
    if as_json:
        show_json(report.data(rows))
    else:
        _show(rows)
    if picture is not None:
        from sim.validation.chart import draw

        draw(rows, picture)
        note(f"Wrote {picture}")
    if markdown is not None:
        _write(markdown, report.markdown(rows, None if picture is None else picture.name))
        note(f"Wrote {markdown}")
    raise typer.Exit(report.exit_code(results, asked_for_all=not only and not quick))


def _listed(wanted: Sequence[Check]) -> list[tuple[str, list[str]]]:
    from sim.validation.catalogue import groups

    kept = {check.name for check in wanted}
    named = [(f"{g.name}: {g.title}", [f"{c.name}: {c.claim}" for c in g.checks if c.name in kept]) for g in groups()]
    return [(title, rows) for title, rows in named if rows]


def _watch(total: int, *, quiet: bool) -> Callable[[Result], None]:
    done = [0]

    def seen(result: Result) -> None:
        done[0] += 1
        if not quiet:
            note(f"{done[0]:3d} of {total}  {result.state:8s} {result.name}  ({result.seconds:.1f} s)")

    return seen


def _show(rows: list[Row]) -> None:
    from sim.validation import report

    for title, some in report.by_group(rows):
        cells = [
            (
                check.name,
                f"{check.source} ({check.known})",
                report.expected(check, result),
                report.got(result),
                check.unit,
                report.error(check, result),
                check.tolerance.words,
                Text(report.verdict(result), style=STYLES[result.state]),
            )
            for check, result in some
        ]
        show_table(title, ("check", "source", "expected", "got", "unit", "error", "tolerance", ""), cells, left=2)
    for check, result in rows:
        if result.state != "pass":
            say(f"{report.verdict(result)}  {check.name}: {check.claim}. {result.note}")
    say(report.summary([result for _, result in rows]))


def _write(path: Path, text: str) -> None:
    from sim.errors import writing

    with writing(path, "Give another folder"):
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text + "\n", encoding="utf-8")

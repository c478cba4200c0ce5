"""``cragbench drilling``: a sheet to drill by, at true scale."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sim.cli import decision_options as options
from sim.cli.console import note, say, show_json

if TYPE_CHECKING:
    from models.change import Change
    from models.spec import Sheet


def drilling(
    build: options.Build,
    change: Annotated[list[Path] | None, typer.Option("--change", help="Change that moves or adds a part with holes; "
                                                      "may be given several times.")] = None,
    part: Annotated[list[str] | None, typer.Option(help="Part to move instead, such as the tray; may be given several "
                                                   "times.")] = None,
    to: Annotated[float | None, typer.Option(help="Where the first such part goes, x in mm; the others go along.")]
    = None,
    lift: Annotated[float, typer.Option(min=-100, max=200, help="mm they are raised as well.")] = 0.0,
    into: Annotated[str | None, typer.Option(help="Part that is drilled; left out, the one under the holes.")] = None,
    paper: Annotated[str, typer.Option(help="a4, letter, or both by a comma.")] = "a4,letter",
    formats: options.Formats = "pdf,svg",
    out: Annotated[Path, typer.Option(help="Folder for the sheets.")] = Path("."),
    as_json: options.Json = False,
) -> None:
    """Draw old and new holes 1:1 with keep-out areas, checks and cautions. Print at 100 % and measure the bars."""
    from models.edit import apply
    from sim.chart import style
    from sim.chart.drilling import drilling as draw
    from sim.decision.drilling import CAUTIONS, template
    from sim.errors import SimError, make_folder

    sheet, changes = options.read(build, change)
    after = apply(sheet, changes)
    if (to is None) != (not part):
        raise SimError("a move needs both --part and --to", field="to", remedy="Give the part and its new x in mm")
    if part and to is not None:
        moved = _move(after, part, to, lift)
        after, changes = apply(after, [moved]), [*changes, moved]
    if not changes:
        raise SimError("nothing is changed, so there is nothing to drill", field="change",
                       remedy="Give --change FILE, or --part and --to")
    made = template(sheet, after, " + ".join(one.name for one in changes), into)
    make_folder(out)
    stem = "-".join([build.stem, *made.title.split()]).replace("/", "-").replace("=", "")[:60]
    files = [file for size in paper.split(",")
             for file in style.save(draw(made, size), out / f"drilling-{stem}-{size}", formats.split(","))]
    if as_json:
        show_json({
            "title": made.title,
            "new": [{"part": h.part, "at_mm": h.at, "diameter_mm": h.diameter} for h in made.new],
            "old": [{"part": h.part, "at_mm": h.at, "diameter_mm": h.diameter} for h in made.old],
            "drilled": None if made.plate is None else made.plate.name,
            "from_edge": " ".join(text.strip() for text in made.from_edge),
            "keep_out": [area.name for area in made.keep_out],
            "faults": made.faults, "cautions": CAUTIONS,
            "files": [str(file) for file in files],
        })
        return
    say(f"{made.title}: {len(made.new)} new holes" + (f" in {made.plate.name}." if made.plate else "."))
    for number, hole in enumerate(made.new, start=1):
        say(f"  {number}: x {hole.at[0]:.1f}  y {hole.at[1]:+.1f} mm, diameter {hole.diameter:g} mm ({hole.part})")
    if made.from_edge:
        say("  " + " ".join(text.strip() for text in made.from_edge))
    for fault in made.faults:
        note(f"WARNING: {fault}")
    for caution in CAUTIONS:
        say(f"- {caution}")
    for file in files:
        say(f"wrote {file}")


def _move(sheet: Sheet, names: list[str], to: float, lift: float) -> Change:
    from models.change import Change
    from models.room import find, room

    first = find(sheet, names[0])
    there = room(sheet, first.name)
    if not there.low <= to <= there.high:
        from models.errors import BuildSheetError

        raise BuildSheetError(
            f"x = {to:g} mm is out of reach: from {there.low:.0f} mm ({there.ends[0]}) to {there.high:.0f} mm "
            f"({there.ends[1]}).", remedy="Choose a position within.", field="to", value=to,
        )
    by = [to - first.at_mm[0], 0.0, lift]
    moved = [{"part": find(sheet, name).name, "by_mm": by} for name in names]
    return Change.model_validate({"schema": 1, "name": f"{first.name} at x = {to:g} mm", "move": moved})

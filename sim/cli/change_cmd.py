"""``cragbench change``: write a change file without typing one."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from sim.cli import decision_options as options
from sim.cli.console import note, say, show_json


def change(
    build: options.Build,
    part: Annotated[str | None, typer.Argument(help="Part it is about; its beginning will do.",
                                               show_default=False)] = None,
    to: Annotated[str | None, typer.Option(help="Where it goes, mm: x, or x,y,z.")] = None,
    by: Annotated[str | None, typer.Option(help="How far it moves, mm: x, or x,y,z.")] = None,
    along: Annotated[list[str] | None, typer.Option("--with", help="Part that goes along; may be given several "
                                                                   "times.")] = None,
    remove: Annotated[bool, typer.Option("--remove", help="Take it off.")] = False,
    add: Annotated[bool, typer.Option("--add", help="It is new: give --mass and --to x,y,z.")] = False,
    mass: Annotated[float | None, typer.Option(min=0, help="g, of the new part or instead of the old; of a pair, "
                                                           "each.")] = None,
    size: Annotated[str | None, typer.Option(help="mm: length,width,height.")] = None,
    body: Annotated[str | None, typer.Option(help="Where it rides: chassis, front_axle, rear_axle, front_knuckles, "
                                                  "front_wheels, rear_wheels.")] = None,
    becomes: Annotated[str | None, typer.Option(help="Name of the part that takes its place.")] = None,
    set_: Annotated[list[str] | None, typer.Option("--set", help="Value of the sheet: servo.stall_kgcm=2.1; may be "
                                                                 "given several times.")] = None,
    unset: Annotated[list[str] | None, typer.Option(help="Value that goes back to what is usual.")] = None,
    price: Annotated[float | None, typer.Option(min=0, help="What it costs.")] = None,
    currency: Annotated[str, typer.Option(help="Of the price.")] = "USD",
    name: Annotated[str | None, typer.Option(help="What the change is called.")] = None,
    out: Annotated[Path | None, typer.Option(help="File to write; left out, named after the change.")] = None,
    as_json: options.Json = False,
) -> None:
    """Write a change: move, remove, add or replace a part, or set a value. The file works with every other command."""
    from models.change_draft import Wish, draft, stays_behind, text_of, value_of
    from models.configuration import configure
    from models.errors import write_new
    from models.massprops import truck_properties, wheel_loads
    from models.sheet import load_sheet

    sheet = load_sheet(build)
    wish = Wish(
        part=part, to=_numbers(to, "to"), by=_numbers(by, "by"), along=along or (), remove=remove, add=add, mass=mass,
        size=_numbers(size, "size"), body=body, becomes=becomes,
        set={key: value_of(value) for key, value in (_pair(text) for text in set_ or [])}, unset=unset or (),
        price=price, currency=currency, name=name,
    )  # fmt: skip
    made = draft(sheet, wish)
    target = out or Path("-".join("".join(c if c.isalnum() else " " for c in made.name.lower()).split())[:60] + ".toml")
    write_new(target, text_of(made), "a change is never overwritten", "Name another with --out.")
    shares = []
    for changes in ((), (made,)):
        truck = configure(sheet, changes).sheet
        shares.append((wheel_loads(truck).front_percent, 1e3 * float(truck_properties(truck).cg[2])))
    behind = stays_behind(sheet, wish)
    if as_json:
        show_json({"file": str(target), "name": made.name, "stays_behind": behind,
                   "front_percent": {"before": shares[0][0], "after": shares[1][0]},
                   "cg_height_mm": {"before": shares[0][1], "after": shares[1][1]}})
        return
    say(f"Wrote {target}: {made.name}. Front bias {shares[0][0]:.1f} to {shares[1][0]:.1f} %, CG height "
        f"{shares[0][1]:.1f} to {shares[1][1]:.1f} mm.")
    for other in behind:
        note(f'NOTE: the {other} stays where it is; --with "{other}" takes it along.')
    say(f"Next: `cragbench sheet {build} --change {target}`, or `cragbench verdict {build} {target}` to drive it.")


def _numbers(text: str | None, field: str) -> list[float] | None:
    from models.errors import BuildSheetError

    if text is None:
        return None
    try:
        return [float(piece) for piece in text.split(",")]
    except ValueError:
        raise BuildSheetError("is not numbers by commas.", remedy="Write 115 or 115,0,55, in mm, with decimal points.",
                              field=field, value=text) from None  # fmt: skip


def _pair(text: str) -> tuple[str, str]:
    from models.errors import BuildSheetError

    key, equals, value = text.partition("=")
    if not equals or not key.strip():
        raise BuildSheetError("is no key=value.", remedy="Write it like servo.stall_kgcm=2.1.", field="set", value=text)
    return key.strip(), value.strip()

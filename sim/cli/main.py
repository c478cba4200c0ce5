"""Entry point: finds the command, and turns a user's mistake into one message and exit code 2."""

from __future__ import annotations

import sys
from importlib import import_module
from typing import Any

import typer
from typer.core import TyperCommand, TyperGroup

from sim.cli.table import ENTRIES, Entry

MISTAKE = 2
INTERRUPTED = 130
HELP = "What does a change do to a small rock crawler? Simulated trials, handbook numbers, honest intervals."


class LazyGroup(TyperGroup):
    """Lists all commands, imports only the one that is called."""

    def __init__(self, **attributes: Any) -> None:
        """Fill in one line of help per command."""
        super().__init__(**attributes)
        self._entries = {entry.name: entry for entry in ENTRIES}
        for entry in ENTRIES:
            self.add_command(TyperCommand(entry.name, help=entry.summary, rich_help_panel=entry.group))

    def list_commands(self, ctx: Any) -> list[str]:
        """Names in the table's order."""
        return list(self._entries)

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """Find the named command and import it."""
        name, _, rest = super().resolve_command(ctx, args)
        return name, load(self._entries[str(name)]), rest


def load(entry: Entry) -> Any:
    """Import one command and make it a part of the command line."""
    found = getattr(import_module(entry.module), entry.attribute)
    if isinstance(found, typer.Typer):
        app = found
    else:
        app = typer.Typer(add_completion=False, rich_markup_mode="rich")
        app.command(name=entry.name)(found)
    command = typer.main.get_command(app)
    command.name = entry.name
    return command


app = typer.Typer(
    cls=LazyGroup,
    help=HELP,
    no_args_is_help=True,
    add_completion=True,
    rich_markup_mode="rich",
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import PackageNotFoundError, version

        try:
            typer.echo(f"cragbench {version('cragbench')}")
        except PackageNotFoundError:
            typer.echo("cragbench (not installed)")
        raise typer.Exit


@app.callback()
def _root(
    version: bool = typer.Option(False, "--version", callback=_version, is_eager=True, help="Show the version."),
) -> None:
    """Options that stand before a command."""


def main(arguments: list[str] | None = None) -> None:
    """Run the command line and exit with its code."""
    command = typer.main.get_command(app)
    try:
        command.main(args=arguments, prog_name="cragbench")
    except KeyboardInterrupt:
        sys.exit(INTERRUPTED)
    except BrokenPipeError:
        # Whoever read our output has seen enough; keep the interpreter from complaining at exit.
        sys.stdout = None
        sys.exit(0)
    except ValueError as error:
        from sim.cli.console import mistakes

        if not isinstance(error, mistakes()):
            raise
        from sim.cli.console import printable

        print(f"Error: {printable(str(error))}", file=sys.stderr)
        sys.exit(MISTAKE)


if __name__ == "__main__":
    main()

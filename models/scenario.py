"""The invented scenario that comes along: three trucks and the changes one might make to them."""

from __future__ import annotations

from pathlib import Path

from models.errors import BuildSheetError, writing

DATA = Path(__file__).parent / "scenario_data"
_CHANGES = "changes"


def builds() -> list[Path]:
    """Build sheets of the scenario, smallest scale first."""
    return [DATA / f"{name}.toml" for name in ("gundi", "dassie", "takin")]


def changes(build: str | Path | None = None) -> list[Path]:
    """Change files of the scenario by name: those for one of its builds (path or name), or all."""
    folder = DATA / _CHANGES
    return sorted((folder if build is None else folder / Path(build).stem.lower()).rglob("*.toml"))


def change(build: str | Path, name: str) -> Path:
    """One change file of a build by its file name, without ending (``battery-forward``).

    :raises BuildSheetError: the scenario has no such change for this build.
    """
    found = {path.stem: path for path in changes(build)}
    if name not in found:
        raise BuildSheetError(f"the scenario has no such change for {Path(build).stem}.",
                              remedy=f"There are: {', '.join(found) or 'none'}.", value=name, field="change")
    return found[name]


def records() -> list[Path]:
    """Simulated readings, the sheet fitted to them and a simulated day of real tries: what the bench commands read."""
    return sorted(file for kind in ("readings", "fitted", "runs") for file in (DATA / kind).glob("*.toml"))


def copy_to(folder: str | Path) -> list[Path]:
    """Copy the scenario into a folder (made if need be), to be edited there; return the files it now holds.

    A file that is there already and was edited is never overwritten.

    :raises BuildSheetError: such a file is there, or the folder cannot be written; then nothing is copied.
    """
    target = Path(folder)
    sources = {target / source.relative_to(DATA): source for source in [*builds(), *changes(), *records()]}
    with writing(target):
        edited = [file for file, source in sources.items() if file.exists() and not _same(file, source)]
        if edited:
            raise BuildSheetError(f"is there already in {target} and differs from the scenario's.",
                                  remedy="Name another folder, or move that file away; nothing was copied.",
                                  file=edited[0])
        for file, source in sources.items():
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_bytes(source.read_bytes())
    return list(sources)


def _same(file: Path, source: Path) -> bool:
    return file.is_file() and file.read_bytes() == source.read_bytes()

"""Reading a build sheet file."""

from __future__ import annotations

from pathlib import Path

from models.checks import check_sheet
from models.errors import BuildSheetError
from models.record import read_record
from models.spec import Sheet


def load_sheet(path: str | Path) -> Sheet:
    """Read, validate and check one build sheet (TOML), as written: nothing assumed is filled in yet.

    Mesh files named by hull shapes are looked for beside the sheet and their paths made absolute.

    :raises BuildSheetError: the file cannot be read, a key or value is wrong, or the truck it describes cannot be.
    """
    file = Path(path)
    sheet = _with_mesh_paths(read_record(Sheet, file), file)
    try:
        check_sheet(sheet)
    except BuildSheetError as fault:
        raise fault.at(file) from None
    return sheet


def _with_mesh_paths(sheet: Sheet, file: Path) -> Sheet:
    """Resolve the mesh files of the hull against the sheet's own folder."""
    shapes = []
    for index, shape in enumerate(sheet.hull):
        if shape.file is not None:
            mesh = (file.parent / shape.file).resolve()
            if not mesh.is_file():
                raise BuildSheetError(
                    "there is no such mesh file beside the sheet.",
                    remedy="Put the STL or OBJ there, give its path relative to the sheet, or use shape = \"box\".",
                    file=file,
                    field=f"hull.{index}.file",
                    value=shape.file,
                )
            shape = shape.model_copy(update={"file": str(mesh)})
        shapes.append(shape)
    return sheet.model_copy(update={"hull": tuple(shapes)})

"""Reading a build sheet file."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from models.checks import check_sheet
from models.errors import BuildSheetError
from models.key import join
from models.record import read_toml, together, validated, without_faults
from models.short import filled
from models.spec import HullShape, Sheet


def load_sheet(path: str | Path) -> Sheet:
    """Read, validate and check one build sheet (TOML), with the blocks it leaves out filled.

    Single open values are filled later, by :func:`models.defaults.resolve`.

    Mesh files named by hull shapes are looked for beside the sheet and their paths made absolute.

    :raises BuildSheetError: the file cannot be read, a key or value is wrong, or the truck it describes cannot be.
    """
    file = Path(path)
    data = filled(read_toml(file))
    try:
        sheet = validated(Sheet, data, file)
    except BuildSheetError as fault:
        raise _with_what_else_is_wrong(fault, data).at(file) from None
    sheet = sheet.model_copy(update={"hull": with_mesh_paths(sheet.hull, file, "hull")})
    try:
        check_sheet(sheet, data)
    except BuildSheetError as fault:
        raise fault.at(file) from None
    return sheet


def _with_what_else_is_wrong(fault: BuildSheetError, data: dict[str, Any]) -> BuildSheetError:
    """The faults of single keys together with those that the sheet would still have without these keys."""
    rest = filled(without_faults(Sheet, data))
    faults = [fault, *fault.others]
    try:
        check_sheet(validated(Sheet, rest), rest)
    except BuildSheetError as more:
        # What was taken out is missing in its table now: what else is said there may follow from that.
        tables = tuple((one.field or "").rpartition(".")[0] or one.field or "" for one in faults)
        further = [one for one in (more, *more.others) if one.value_known and not (one.field or "").startswith(tables)]
        return together([one.alone() for one in (*faults, *further)], data)
    return fault


def with_mesh_paths(shapes: Sequence[HullShape], file: Path, field: str) -> tuple[HullShape, ...]:
    """Make the mesh files of hull shapes absolute: they are looked for beside the file that names them.

    :raises BuildSheetError: there is no such file.
    """
    found = []
    for shape in shapes:
        if shape.file is not None:
            mesh = (file.parent / shape.file).resolve()
            if not mesh.is_file():
                raise BuildSheetError(f"there is no such mesh file in {mesh.parent}.",
                                      remedy="Put the STL or OBJ there, or give its path relative to this file.",
                                      file=file, field=join([field, shape.name, "file"]), value=shape.file)
            shape = shape.model_copy(update={"file": str(mesh)})
        found.append(shape)
    return tuple(found)

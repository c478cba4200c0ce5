"""Values that a sheet may leave open but that are filled in before anything is computed."""

from __future__ import annotations

from models.errors import BuildSheetError


def required(value: float | None, key: str) -> float:
    """Return an optional value of a resolved sheet.

    :raises BuildSheetError: it is still open.
    """
    if value is None:
        raise BuildSheetError("this value is needed here and is still open.", remedy=f"Give {key}.", field=key)
    return value

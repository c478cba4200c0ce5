"""Readings of one thing as a person types them: several with commas between, the unit once or each time."""

from __future__ import annotations

import re

from models.bench.quantity import Kind, read
from models.errors import BuildSheetError

_GROUPED = re.compile(r"[-+]?\d{1,3}(,\d{3})+(?!\d)")
_DECIMAL = re.compile(r"(\d),(\d)")


def several(kind: Kind, text: str, field: str) -> list[str]:
    """Split readings, each with its unit: ``88, 89, 88 g`` has one unit that is meant for all. Nothing gives none.

    :raises BuildSheetError: One of them is no reading of this kind.
    """
    pieces = [with_point(piece.strip(), field) for piece in re.split(r"[,;]\s+", text) if piece.strip()]
    if not pieces:
        return []
    unit = pieces[-1].lstrip("+-0123456789. ")
    whole = [piece if piece.lstrip("+-0123456789. ") else f"{piece} {unit}".strip() for piece in pieces]
    for piece in whole:
        read(kind, piece, field)
    return whole


def with_point(text: str, field: str) -> str:
    """Write the same with a decimal point.

    1,25 is one and a quarter in half of the world. 1,250 may be either and is asked about; 0,250 cannot be thousands.

    :raises BuildSheetError: A comma with two meanings.
    """
    if "," not in text:
        return text
    found = _GROUPED.match(text)
    if text.count(",") > 1 or "." in text or (found is not None and not text.lstrip("+-").startswith("0")):
        raise BuildSheetError("a comma followed by three digits can be a decimal point or a thousands mark.",
                              remedy="Write 1.25 or 1250, without thousands marks.", field=field, value=text)
    return _DECIMAL.sub(r"\1.\2", text)

"""The word somebody meant: a hint only where one of the known words is near."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

_CUTOFF = 0.65
"""Share of letters in common (Ratcliff and Obershelp's ratio) below which a hint misleads."""


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word that is most like this one: begun alike, or with few letters wrong; None if none is near."""
    words = list(known)
    near = difflib.get_close_matches(word.lower(), [w.lower() for w in words], n=1, cutoff=_CUTOFF)
    if near:
        return next(w for w in words if w.lower() == near[0])
    begun = [w for w in words if len(word) > 1 and w.lower().startswith(word.lower())]
    return begun[0] if len(begun) == 1 else None


def meant(word: str, known: Iterable[str], otherwise: str) -> str:
    """Ask for the near word; say something else where none is near."""
    near = nearest(word, known)
    return f'Did you mean "{near}"?' if near else otherwise

"""The one error that terrain raises for a user's mistake."""

from __future__ import annotations

LONGEST_VALUE = 60
"""Characters of a bad value that a message repeats."""
LONGEST_PATH = 300


def _shown(value: object) -> str:
    """Repeat a value on one line, control characters escaped, long text cut."""
    text = _printable(f"{value:g}" if isinstance(value, float) else str(value))
    return text if len(text) <= LONGEST_VALUE else text[: LONGEST_VALUE - 3] + "..."


def _printable(text: str) -> str:
    return text if text.isprintable() else text.encode("unicode_escape").decode("ascii")


def _path(text: str) -> str:
    """A path whole, or its end when it is very long: the name is what tells files apart."""
    text = _printable(text)
    return text if len(text) <= LONGEST_PATH else "..." + text[3 - LONGEST_PATH :]


class TerrainError(ValueError):
    """What is wrong with some ground, where, and what to do about it.

    ``str()`` gives one line: file, field = value, what is wrong, the remedy; parts that are not known are left out.
    """

    def __init__(
        self, what: str, *, file: object | None = None, field: str | None = None, value: object | None = None,
        remedy: str | None = None,
    ) -> None:
        self.what = what
        self.file = None if file is None else str(file)
        self.field = field
        self.value = value
        self.remedy = remedy
        super().__init__(self._line())

    def _line(self) -> str:
        parts = []
        if self.file is not None:
            parts.append(_path(self.file))
        if self.field is not None:
            parts.append(self.field if self.value is None else f"{self.field} = {_shown(self.value)}")
        elif self.value is not None:
            parts.append(_shown(self.value))
        parts.append(self.what)
        line = ": ".join(parts)
        return line if self.remedy is None else f"{line}; {self.remedy}"

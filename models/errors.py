"""The one error of this package: a build sheet or change file that cannot be used as it stands."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

_LONGEST_VALUE = 60
_MOST_FAULTS = 19
"""Told after the first; a file that is no sheet at all has no end of them."""


def shown(value: object) -> str:
    """Give a user's value as it would stand in the file: control characters escaped, long ones cut."""
    if isinstance(value, str):
        return f'"{_cut(_printable(value))}"'
    return _cut(_written(value))


def _written(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return repr(value).removesuffix(".0")
    if isinstance(value, list | tuple):
        return f"[{', '.join(shown(entry) for entry in value)}]"
    return "{...}" if isinstance(value, Mapping) else _printable(repr(value))


def _printable(text: str) -> str:
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)


def _cut(text: str) -> str:
    return text if len(text) <= _LONGEST_VALUE else text[: _LONGEST_VALUE - 1] + "…"


class BuildSheetError(ValueError):
    """A fault in a build sheet or change: what is wrong, where, and what to do about it.

    Its text is one or two lines: ``file: field = value: problem`` and then the remedy; the change, if it came from one,
    stands before the field. Of several faults of a file each has its own.
    """

    _NOTHING = object()

    def __init__(
        self, problem: str, *, remedy: str = "", file: str | Path | None = None, field: str | None = None,
        value: object = _NOTHING, change: str | None = None, others: Sequence[BuildSheetError] = (),
    ) -> None:
        """Hold the pieces; any but the problem may be missing. Where it happened can be added later (:meth:`at`).

        :param others: faults of the same file that come after this one; the text tells all of them.
        """
        self.others = tuple(others)
        self.problem = problem
        self.remedy = remedy
        self.file = None if file is None else str(file)
        self.field = field
        self.change = change
        self.value = None if value is self._NOTHING else value
        self.value_known = value is not self._NOTHING
        super().__init__(self._text())

    def _text(self) -> str:
        where = "" if self.field is None else _cut(_printable(self.field))
        if where and self.value_known:
            where = f"{where} = {shown(self.value)}"
        file = "" if self.file is None else _cut(_printable(Path(self.file).name))
        change = "" if self.change is None else f"change {shown(self.change)}"
        first = ": ".join(piece for piece in (file, change, where, self.problem) if piece)
        text = f"{first}\n  {self.remedy}" if self.remedy else first
        told = [str(other) for other in self.others[:_MOST_FAULTS]]
        if len(self.others) > _MOST_FAULTS:
            told.append(f"and {len(self.others) - _MOST_FAULTS} more problems.")
        return "\n".join([text, *told])

    def alone(self) -> BuildSheetError:
        """Return the same fault without those that come after it."""
        return BuildSheetError(self.problem, remedy=self.remedy, file=self.file, field=self.field, change=self.change,
                               value=self.value if self.value_known else self._NOTHING)

    def at(self, file: str | Path | None = None, change: str | None = None) -> BuildSheetError:
        """Return the same fault with its file or change named, unless it already has one."""
        return BuildSheetError(
            self.problem,
            remedy=self.remedy,
            file=file if self.file is None else self.file,
            field=self.field,
            value=self.value if self.value_known else self._NOTHING,
            change=change if self.change is None else self.change,
            others=[other.at(file, change) for other in self.others],
        )


@contextmanager
def writing(file: Path, remedy: str = "Name a folder that you may write to.") -> Iterator[None]:
    """Turn the operating system's refusal to write ``file`` into a BuildSheetError that names it."""
    try:
        yield
    except OSError as fault:
        raise BuildSheetError(f"cannot be written: {fault.strerror}.", remedy=remedy, file=file) from None


def write_new(file: Path, text: str, never: str = "a file is never overwritten", remedy: str = "Name another.") -> None:
    """Write a text file where there is none.

    :param never: said of a file that is there already.
    :raises BuildSheetError: there is such a file, or it cannot be written.
    """
    with writing(file):
        try:
            with file.open("x", encoding="utf-8") as out:
                out.write(text)
        except FileExistsError:
            raise BuildSheetError(f"is there already; {never}.", remedy=remedy, file=file) from None

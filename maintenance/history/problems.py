"""What is wrong with a history folder, and what is worth telling about it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from maintenance.log.rules import EntryRefused

DOUBTS_AT_MOST = 500
AT_MOST = 20  # problems that are told at once: more help nobody


@dataclass(frozen=True)
class Problem:
    """Where and why: file, line (0: the file as a whole), column (may be empty), reason."""

    file: str
    line: int
    column: str
    reason: str

    def __str__(self) -> str:
        where = self.file + (f", line {self.line:,}" if self.line else "") + (f", {self.column}" if self.column else "")
        return f"{where}: {self.reason}"


class HistoryRefused(ValueError):
    """The folder cannot be taken; nothing of it was saved."""

    def __init__(self, problems: Iterable[Problem], *, more: bool = False) -> None:
        self.problems = list(problems)
        lines = [str(problem) for problem in self.problems]
        if more:
            lines.append(f"After {AT_MOST} problems the rest was not looked at.")
        lines.append("Nothing was saved.")
        super().__init__("\n".join(lines))


class BadCell(ValueError):
    """A cell that cannot be read; the message is the reason."""


class BadRow(EntryRefused):
    """A row that cannot be true; `field` is the column to look in. What the log itself refuses comes the same way."""

    def __init__(self, reason: str, field: str = "") -> None:
        super().__init__(reason, field=field)


class Findings:
    """Collects problems, up to the most that are told, and notes.

    spelled: (file, column) or (file, "") -> what the folder calls it, where that is a former name.
    """

    def __init__(self) -> None:
        self.problems: list[Problem] = []
        self.notes: list[str] = []
        self.doubts: list[Problem] = []
        self.spelled: dict[tuple[str, str], str] = {}

    def problem(self, file: str, line: int, column: str, reason: str) -> None:
        self.problems.append(self._found(file, line, column, reason))
        if len(self.problems) >= AT_MOST:
            raise HistoryRefused(self.problems, more=True)

    def doubt(self, file: str, line: int, column: str, reason: str) -> None:
        """What can be true, and looks as if it were not: said, and taken."""
        if len(self.doubts) < DOUBTS_AT_MOST:
            self.doubts.append(self._found(file, line, column, reason))

    def _found(self, file: str, line: int, column: str, reason: str) -> Problem:
        heading = self.spelled.get((file, column), column) if column else ""
        return Problem(self.spelled.get((file, ""), file), line, heading, reason)

    def note(self, text: str) -> None:
        self.notes.append(text)

    def stop_if_wrong(self) -> None:
        if self.problems:
            raise HistoryRefused(self.problems)

"""What was worked out for the last page and serves the next: for answers that depend on nothing but their key."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from typing import Generic, TypeVar

Answer = TypeVar("Answer")
AT_MOST = 50_000


class Remembered(Generic[Answer]):
    """Answers by key, for the life of the process; all are forgotten when there are too many."""

    def __init__(self, at_most: int = AT_MOST) -> None:
        self._answers: dict[Hashable, Answer] = {}
        self._at_most = at_most

    def clear(self) -> None:
        self._answers.clear()

    def of(self, key: Hashable, work_out: Callable[[], Answer]) -> Answer:
        if key not in self._answers:
            answer = work_out()
            if len(self._answers) >= self._at_most:
                self._answers.clear()
            self._answers[key] = answer
        return self._answers[key]

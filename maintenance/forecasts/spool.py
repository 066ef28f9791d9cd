"""A list that lies on the disk: what is read or worked out for every die of a large shop, and needed again later."""

from __future__ import annotations

import pickle
import tempfile
from collections.abc import Iterable, Iterator
from itertools import islice
from typing import Generic, TypeVar

T = TypeVar("T")


class OnDisk(Generic[T]):
    """Written once, read in its order as often as asked, also by several at a time. The file goes with the object."""

    def __init__(self, items: Iterable[T] = ()) -> None:
        self._file = tempfile.TemporaryFile()  # noqa: SIM115 - it goes with the object
        self._end = self._count = 0
        self.extend(items)

    def append(self, item: T) -> None:
        self._file.seek(self._end)
        pickle.dump(item, self._file, pickle.HIGHEST_PROTOCOL)
        self._end = self._file.tell()
        self._count += 1

    def extend(self, items: Iterable[T]) -> None:
        for item in items:
            self.append(item)

    def __len__(self) -> int:
        return self._count

    def __iter__(self) -> Iterator[T]:
        at = 0
        while at < self._end:
            self._file.seek(at)
            item = pickle.load(self._file)
            at = self._file.tell()
            yield item


def batches(items: Iterable[T], size: int) -> Iterator[list[T]]:
    """So many at a time."""
    each = iter(items)
    while some := list(islice(each, size)):
        yield some

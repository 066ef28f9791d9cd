"""PURE. The works a toolroom does on a piece, and which count each sets back to nought."""

from __future__ import annotations

from dataclasses import dataclass

from diestore.texts import gettext_noop


@dataclass(frozen=True)
class Operation:
    key: str
    meaning: str
    fresh_edge: bool  # hits since sharpened start again
    removes: bool  # takes from the grind allowance
    touches_up: bool = False  # somebody saw the edge and touched it up; its hits run on
    raises: bool = False  # the piece stands higher by it, or lower
    coats: bool = False
    called: str = ""  # where people call it otherwise than the records do

    @property
    def words(self) -> str:
        return self.called or self.key

    @property
    def in_between(self) -> bool:
        """Gives a share of the edge back, if any; its hits run on."""
        return self.touches_up or self.coats

    @property
    def on_the_edge(self) -> bool:
        return self.fresh_edge or self.touches_up


OPERATIONS: dict[str, Operation] = {
    operation.key: operation
    for operation in (
        Operation(gettext_noop("ground"), "Ground on the face.", fresh_edge=True, removes=True),
        Operation(
            "dressed in the press",
            "Touched up with a stone, die still in the press.",
            False,
            True,
            True,
            called=gettext_noop("stoned in the press"),
        ),
        Operation(
            gettext_noop("turned to a fresh edge"), "Turned over or round to an edge not used before.", True, False
        ),
        Operation(gettext_noop("welded and recut"), "Built up by welding and cut to size again.", True, False),
        Operation(gettext_noop("recoated"), "Coated again; the edge is as sharp as before.", False, False, coats=True),
        Operation(
            gettext_noop("spacer"),
            "Shimmed up to make good what was ground away.",
            False,
            False,
            raises=True,
        ),
        Operation(gettext_noop("repaired"), "Repaired without touching the edge.", False, False),
    )
}

"""What of a page is still English where another language is on: the texts that hold a common English word.

A word alone may be a name in any language, so only words that stand in no Spanish text count. What the shop typed is
taken out first; what is marked as being in another language (`lang`), code and what is typed in boxes is passed.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from html.parser import HTMLParser

from django.apps import apps
from django.db import models

PASSED = {"script", "style", "code", "pre", "textarea"}
SPOKEN = {"aria-label", "title", "placeholder", "alt"}
ALONE = {"area", "base", "br", "col", "hr", "img", "input", "link", "meta", "source", "wbr"}
WORDS = """
    the of and is are was were with from not have which this that for by it its at to or on what who how when where
    an be been their there they you your every each none yet still before after until since known here then than only
    nothing nobody does did made takes left more most new now all back show find search save cancel change date name
    note edge edges hits hit die dies job jobs spare spares press presses log entry entries shelf order orders due
    sharpening sharpenings reading readings grind grinds part parts piece pieces position positions tool tools
"""
COMMON = frozenset(WORDS.split())
_WORD = re.compile(r"[^\W\d_]+(?:['’][^\W\d_]+)?")


class _Texts(HTMLParser):
    """The texts of a page that are in its own language."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self._open: list[tuple[str, bool]] = []

    def handle_starttag(self, tag, attrs) -> None:
        said = dict(attrs)
        passed = tag in PASSED or (tag != "html" and not (said.get("lang") or "es").startswith("es"))
        if tag not in ALONE:
            self._open.append((tag, passed))
        if not passed and not self._is_passed:
            self.found += [said[name] for name in SPOKEN & set(said) if said[name]]

    def handle_endtag(self, tag) -> None:
        while self._open:
            if self._open.pop()[0] == tag:
                return

    def handle_data(self, data) -> None:
        if data.strip() and not self._is_passed:
            self.found.append(" ".join(data.split()))

    @property
    def _is_passed(self) -> bool:
        return any(passed for _, passed in self._open)


def left_in(page: str, typed: Iterable[str] = ()) -> Iterator[str]:
    """The texts of a page with a common English word in them. typed: by the shop."""
    reader = _Texts()
    reader.feed(page)
    of_the_shop = [" ".join(one.split()) for one in sorted(typed, key=len, reverse=True)]
    for text in dict.fromkeys(reader.found):
        rest = text
        for words in of_the_shop:
            if words in rest:
                rest = rest.replace(words, " ")
        if COMMON & {word.lower() for word in _WORD.findall(rest)}:
            yield text


def typed_by_the_shop() -> set[str]:
    """Every text of the database that is not one of a list."""
    found: set[str] = set()
    for model in apps.get_models():
        free = [
            field.name for field in model._meta.concrete_fields
            if isinstance(field, models.CharField | models.TextField) and not field.choices
        ]  # fmt: skip
        for row in model._default_manager.values_list(*free) if free else ():
            found.update(one for one in row if one and COMMON & {word.lower() for word in _WORD.findall(one)})
    return found

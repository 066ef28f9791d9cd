"""PURE. What people read, in the language of whoever looks.

A text is written in English where it is used, whole, with names for what varies, and marked: `_("{hits:,} hits left")`.
The catalogues beside the apps (`locale/`) hold it in the other languages. Pages and forms mark theirs with Django's own
functions; the pure rooms know no Django and mark with these. Until `speak` has been called each text is itself.
"""

from __future__ import annotations

from typing import Protocol


class Translations(Protocol):
    """What `django.utils.translation` has, of which these are asked."""

    def gettext(self, message: str) -> str: ...

    def pgettext(self, context: str, message: str) -> str: ...

    def ngettext(self, singular: str, plural: str, number: int) -> str: ...

    def npgettext(self, context: str, singular: str, plural: str, number: int) -> str: ...


class _English:
    def gettext(self, message: str) -> str:
        return message

    def pgettext(self, context: str, message: str) -> str:
        return message

    def ngettext(self, singular: str, plural: str, number: int) -> str:
        return singular if number == 1 else plural

    def npgettext(self, context: str, singular: str, plural: str, number: int) -> str:
        return self.ngettext(singular, plural, number)


_spoken: Translations = _English()


def speak(translations: Translations) -> None:
    """From now on texts are asked for there: by the site, once, when it starts."""
    global _spoken
    _spoken = translations


def gettext(message: str) -> str:
    """The text in the language that is on; itself where nobody has translated it."""
    return _spoken.gettext(message) if message else ""  # a catalogue answers "" with its own head


def pgettext(context: str, message: str) -> str:
    """The same, of a word that says something else elsewhere."""
    return _spoken.pgettext(context, message)


def ngettext(singular: str, plural: str, number: int) -> str:
    """The same, in the form that goes with the number."""
    return _spoken.ngettext(singular, plural, number)


def gettext_noop(message: str) -> str:
    """Marks a text that is kept now and translated where it is shown."""
    return message


def pgettext_noop(context: str, message: str) -> str:
    """The same, of a word that says something else elsewhere."""
    return message


def counted(n: int, one: str, many: str) -> str:
    """A count with its word: "one die", "4 dies", "no dies".

    In a language with genders the catalogue's singular carries its own "one", and none is a nought with the plural.
    """
    if n == 0:
        none = f"no {many}"
        word = _spoken.npgettext(COUNTED, one, many, 2)
        return none if word == many else f"0 {word}"
    if n == 1:
        word = _spoken.npgettext(COUNTED, one, many, 1)
        return f"one {one}" if word == one else word
    return f"{n:,} {_spoken.npgettext(COUNTED, one, many, n)}"


COUNTED = "counted"  # the context of such words in the catalogues

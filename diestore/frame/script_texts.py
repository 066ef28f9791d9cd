"""What the scripts of the pages say: `say("...")` there, the same text here, and its translation with the page."""

from __future__ import annotations

import json

from django.utils.translation import get_language, gettext
from django.utils.translation import gettext_noop as _

TEXTS = (
    _("Found"),
    _("Keys"),
    _("Close"),
    _("take the last digit away"),
    _("begin again"),
    _("{n} entry waits for the network."),
    _("{n} entries wait for the network."),
    _("{n} entry is not taken yet: open and put right."),
    _("{n} entries are not taken yet: open and put right."),
    _("typed {when}"),
    _("Open it"),
    _("Throw it away"),
    _("Throw away “{title}”? It was never saved."),
    _("something is to be put right"),
    _("The network is away, and this tablet cannot keep the entry. Leave the page open and save again later."),
    _("The network is away. The entry is kept on this tablet and sent when it is back."),
    _("Its pictures are not kept: add them then."),
    _("Not taken yet: {refused} Put it right and save."),
    _("{n} cell changed, not saved yet"),
    _("{n} cells changed, not saved yet"),
    _("At {pace} a minute that is about {rounded}."),
    _("today"),
    _("now"),
    _("hours"),
    _("not ground"),
    _("now {length}"),
    _("only this, stoned"),
    _("only this"),
    _("stoned in the press"),
    _("All {edges} edges"),
    _("{n} piece"),
    _("{n} pieces"),
    _("{edges} edges. Open only what differs."),
    _("found {named}"),
    _("The photo goes along when the form is sent."),
    _("This file is too large, and no picture that this tablet can read. Take the photo anew."),
    _("{seconds} s so far."),
    _("its writer has to sign in again on this tablet"),
    _("sign in again"),
    _("its form cannot be reached ({status})"),
    _("the service answers {status}"),
    _("sharp"),
    _("dull"),
    _("chipped"),
    _("broken"),
    _("galled"),
    _("not looked"),
)


def for_page() -> str:
    """As the page holds them for its scripts; nothing where they say what they are written in."""
    if (get_language() or "en") == "en":
        return ""
    return json.dumps({text: gettext(text) for text in TEXTS}, ensure_ascii=False)

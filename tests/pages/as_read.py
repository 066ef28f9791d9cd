"""A page as a browser reads it: white space of any length is one space, and none at the edges of what is a block."""

from __future__ import annotations

import re

BLOCKS = (
    "html|head|body|title|meta|link|script|main|header|footer|nav|section|article|aside|div|p|ul|ol|li|dl|dt|dd|table|"
    "caption|colgroup|col|thead|tbody|tfoot|tr|td|th|form|fieldset|legend|h1|h2|h3|h4|h5|h6|details|summary|figure|"
    "figcaption|hr|svg|g|path|rect|circle|line|polyline|polygon|text|defs|use|option|select|optgroup"
)
_BLOCK = re.compile(rf"\s*(</?(?:{BLOCKS})(?=[\s>/])[^>]*>)\s*", re.I)


def as_read(answer) -> str:
    html = re.sub(r"\s+", " ", answer.content.decode())
    return _BLOCK.sub(r"\1", re.sub(r" ?(/?>)", r"\1", html))

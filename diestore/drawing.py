"""Plots as SVG that stands in a page: text stays text, colours are those of the page, light or dark.

A plot is drawn in colours nobody would choose (INK, FIRST ...), which `svg` replaces by the page's own.
"""

from __future__ import annotations

import io
import re

from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

INK, INK_2, LINE, FIRST, SECOND = "#010101", "#020202", "#030303", "#040404", "#050505"
_PAGE = {
    INK: "var(--ink)",
    INK_2: "var(--ink-2)",
    LINE: "var(--line)",
    FIRST: "var(--blue)",
    SECOND: "var(--straw-ink)",
}
SETTINGS = {"svg.fonttype": "none", "svg.hashsalt": "plot", "font.size": 10}


def blank(width_in: float = 9.2, height_in: float = 4.2, place: tuple[float, ...] = (0.085, 0.135, 0.9, 0.8)):
    """A see-through figure with one pair of axes in the page's manner. Call it inside `rc_context(SETTINGS)`."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width_in, height_in))
    figure.patch.set_alpha(0)
    axes = figure.add_axes(place)
    axes.patch.set_alpha(0)
    axes.tick_params(which="both", colors=INK_2, width=0.8)
    axes.grid(True, color=LINE, linewidth=0.8)
    for name, spine in axes.spines.items():
        spine.set_visible(name in ("left", "bottom"))
        spine.set_color(INK_2)
    return figure, axes


def svg(figure, title: str) -> SafeString:
    """The figure as an inline drawing with a name that is read aloud."""
    text = io.StringIO()
    figure.savefig(text, format="svg", metadata={"Date": None, "Creator": None})
    drawn = text.getvalue()
    drawn = drawn[drawn.index("<svg") :]
    drawn = re.sub(r"<metadata>.*?</metadata>|<style.*?</style>", "", drawn, flags=re.DOTALL)
    for colour, own in _PAGE.items():
        drawn = drawn.replace(colour, own)
    drawn = re.sub(r"font: ([\d.]+)px [^;\"]+", r"font: \1px var(--font)", drawn)
    box = re.search(r'viewBox="[^"]+"', drawn).group()
    head = f'<svg {box} width="100%" role="img" aria-label="{escape(title)}" xmlns="http://www.w3.org/2000/svg" '
    head += 'stroke-linejoin="round" stroke-linecap="butt" '  # what the library says in a style sheet of its own
    head += 'xmlns:xlink="http://www.w3.org/1999/xlink">'
    return mark_safe(head + drawn[drawn.index(">") + 1 :])

"""Plots as SVG that stands in a page: text stays text, colours are those of the page, light or dark."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

# Drawn in colours nobody would choose, which are then replaced by the page's own.
INK, INK_2, LINE, FIRST, SECOND = "#010101", "#020202", "#030303", "#040404", "#050505"
_PAGE = {
    INK: "var(--ink)",
    INK_2: "var(--ink-2)",
    LINE: "var(--line)",
    FIRST: "var(--blue)",
    SECOND: "var(--straw-ink)",
}
SETTINGS = {"svg.fonttype": "none", "svg.hashsalt": "plot", "font.size": 10}


@dataclass(frozen=True, kw_only=True)
class Line:
    """A line with its band. x rising, all above nought."""

    name: str
    x: Sequence[float]
    y: Sequence[float]
    low: Sequence[float]
    high: Sequence[float]
    dashed: bool = False


@dataclass(frozen=True, kw_only=True)
class Mark:
    """A line straight up, with a word."""

    x: float
    word: str


def against_volume(lines: Sequence[Line], *, x_label: str, y_label: str, title: str, marks: Sequence[Mark] = ()):
    """Both axes in even steps of the logarithm: a cost that falls with the volume."""
    from matplotlib import rc_context
    from matplotlib.figure import Figure
    from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

    with rc_context(SETTINGS):
        figure = Figure(figsize=(9.2, 4.2))
        figure.patch.set_alpha(0)
        axes = figure.add_axes((0.085, 0.135, 0.9, 0.8))
        axes.patch.set_alpha(0)
        for line, colour in zip(lines, (FIRST, SECOND), strict=False):
            axes.fill_between(line.x, line.low, line.high, color=colour, alpha=0.16, linewidth=0)
            axes.plot(line.x, line.y, color=colour, linewidth=2.2, linestyle=(0, (6, 3)) if line.dashed else "-")
        axes.set_xscale("log")
        axes.set_yscale("log")
        axes.set_xlim(lines[0].x[0], lines[0].x[-1])
        axes.set_xlabel(x_label, color=INK_2)
        axes.set_ylabel(y_label, color=INK_2)
        for axis in (axes.xaxis, axes.yaxis):
            axis.set_major_formatter(FuncFormatter(lambda v, _: f"{v:,.10g}"))
            axis.set_minor_formatter(NullFormatter())
        axes.yaxis.set_major_locator(LogLocator(base=10, subs=(1, 2, 5)))
        axes.tick_params(which="both", colors=INK_2, width=0.8)
        axes.grid(True, color=LINE, linewidth=0.8)
        for name, spine in axes.spines.items():
            spine.set_visible(name in ("left", "bottom"))
            spine.set_color(INK_2)
        for mark in marks:
            if lines[0].x[0] < mark.x < lines[0].x[-1]:
                axes.axvline(mark.x, color=INK, linewidth=1.1, linestyle=(0, (2, 3)))
                right = mark.x > (lines[0].x[0] * lines[0].x[-1]) ** 0.5
                axes.annotate(
                    mark.word,
                    (mark.x, 0.97),
                    xycoords=("data", "axes fraction"),
                    xytext=(-6 if right else 6, 0),
                    textcoords="offset points",
                    ha="right" if right else "left",
                    va="top",
                    color=INK,
                )
        return svg(figure, title)


def svg(figure, title: str) -> SafeString:
    """The figure as an inline drawing with a name that is read aloud."""
    text = io.StringIO()
    figure.savefig(text, format="svg", metadata={"Date": None, "Creator": None})
    drawn = text.getvalue()
    drawn = drawn[drawn.index("<svg") :]
    drawn = re.sub(r"<metadata>.*?</metadata>", "", drawn, flags=re.DOTALL)
    for colour, own in _PAGE.items():
        drawn = drawn.replace(colour, own)
    drawn = re.sub(r"font: ([\d.]+)px [^;\"]+", r"font: \1px var(--font)", drawn)
    box = re.search(r'viewBox="[^"]+"', drawn).group()
    head = f'<svg {box} width="100%" role="img" aria-label="{escape(title)}" xmlns="http://www.w3.org/2000/svg" '
    head += 'xmlns:xlink="http://www.w3.org/1999/xlink">'
    return mark_safe(head + drawn[drawn.index(">") + 1 :])

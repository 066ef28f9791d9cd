"""Plots with computed curves as SVG that stands in a page or on paper, in the same classes as the drawings of pages.

matplotlib knows colours and no classes. So each part of a plot is drawn in a colour that nobody would choose, one for
each way to be drawn (`Ink`), and `svg` writes the class in place of the colour and of all else that matplotlib says of
its looks. What a class looks like stands in `look.css`. matplotlib is loaded when a plot is drawn and not before.
"""

from __future__ import annotations

import io
import re
from enum import StrEnum

from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

from . import scales

WIDTH, HEIGHT = 1000, 430  # in the drawing's own units, one a pixel at its natural size
LEFT, RIGHT, TOP, BOTTOM = 96, 30, 14, 56  # room around the axes
LETTERS = 13  # as all drawings are lettered


class Ink(StrEnum):
    """Ways to be drawn: the classes of look.css that a part of a plot carries."""

    RULE = "rule"
    AXIS = "axis"
    QUIET = "t2"
    WORD = "tb"
    LINE_1 = "line1"
    BAND_1 = "band1"
    LINE_2 = "line2"
    BAND_2 = "band2"
    LINE_3 = "line3"
    LINE_4 = "line4"
    LINE_5 = "line5"
    STEPS = "axis"
    BAND_3 = "band3"
    BAR_1 = "bar1"
    BAR_2 = "bar2"
    BAR_3 = "bar3"
    FINE = "line1 fine dots"
    HALF = "rule2 dots"
    LEVEL = "now dash"
    UPRIGHT = "now dots"
    DOT = "solid"
    MARK_1 = "line1 solid1"
    PAST = "past"
    PAST_MARK = "past solid"
    PAST_OPEN = "past paper"

    @property
    def colour(self) -> str:
        """What stands for it while matplotlib draws."""
        return _OF[self]


_COLOURS = {f"#01{n:02x}01": one for n, one in enumerate(Ink)}
_OF = {one: colour for colour, one in _COLOURS.items()}
SETTINGS = {"svg.fonttype": "none", "svg.hashsalt": "plot", "font.size": LETTERS}


def blank(width: int = WIDTH, height: int = HEIGHT, *, x: str, y: str):
    """A see-through figure with one pair of axes in the manner of the pages. Call it inside `rc_context(SETTINGS)`.

    width, height: in the drawing's own units. x, y: what the axes are called.
    """
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width / 72, height / 72), dpi=72)
    figure.patch.set_visible(False)
    across, up = width - LEFT - RIGHT, height - TOP - BOTTOM
    axes = figure.add_axes((LEFT / width, BOTTOM / height, across / width, up / height))
    axes.patch.set_visible(False)
    axes.tick_params(which="both", color=Ink.RULE.colour, labelcolor=Ink.QUIET.colour, length=0, pad=7)
    axes.grid(True, color=Ink.RULE.colour)
    for name, spine in axes.spines.items():
        spine.set_visible(name in ("left", "bottom"))
        spine.set_color(Ink.AXIS.colour)
    axes.set_xlabel(x, color=Ink.QUIET.colour)
    axes.set_ylabel(y, color=Ink.QUIET.colour)
    axes.xaxis.set_label_coords(0.5, (26 - BOTTOM) / up)  # where no figures of the scale reach, in larger letters too
    axes.yaxis.set_label_coords((20 - LEFT) / across, 0.5)
    return figure, axes


def round_ticks(axis, *, by_ratio: bool = False, most: int = scales.MOST) -> None:
    """The same round values beside a plot as beside a drawing."""
    from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

    values = (scales.ratio_values if by_ratio else scales.even_values)(*sorted(axis.get_view_interval()), most)
    axis.set_major_locator(FixedLocator(values))
    axis.set_minor_locator(NullLocator())  # drawn, they take two fifths of the time
    axis.set_major_formatter(FuncFormatter(lambda v, _: scales.counted(v)))


def svg(figure, title: str) -> SafeString:
    """The figure as an inline drawing with a name that is read aloud."""
    text = io.StringIO()
    figure.savefig(text, format="svg", metadata={"Date": None, "Creator": None})
    drawn = text.getvalue()
    drawn = drawn[drawn.index("<svg") :]
    drawn = re.sub(r"<metadata>.*?</metadata>|<style.*?</style>", "", drawn, flags=re.DOTALL)
    drawn = re.sub(r' transform="rotate\(-0 [^"]*"', "", drawn)
    drawn = re.sub(r' id="[A-Za-z]+(?:2d)?_\d+"| id="matplotlib[^"]*"', "", drawn)  # the same in every plot of a page
    drawn = re.sub(r' style="([^"]*)"', _classed, drawn)
    drawn = re.sub(r' d="([^"]*)"', _shortened, drawn)
    box = re.search(r'viewBox="[^"]+"', drawn).group()
    head = f'<svg class="plot" {box} width="100%" role="img" aria-label="{escape(title)}" '
    head += 'xmlns="http://www.w3.org/2000/svg" '
    head += 'stroke-linejoin="round" stroke-linecap="butt" '  # what the library says in a style sheet of its own
    head += 'xmlns:xlink="http://www.w3.org/1999/xlink">'
    return mark_safe(head + drawn[drawn.index(">") + 1 :])


def _shortened(path: re.Match) -> str:
    """The same path with places to a hundredth, in one line."""
    return f' d="{re.sub(r"-?[0-9]+[.][0-9]{3,}", lambda n: f"{float(n[0]):.2f}", " ".join(path[1].split()))}"'


_ANCHORS = {"middle": "mid", "end": "end"}


def _classed(style: re.Match) -> str:
    """The class that a style of matplotlib's stands for."""
    css = style[1]
    names = [str(one) for colour, one in _COLOURS.items() if colour in css]
    if anchor := re.search(r"text-anchor: (\w+)", css):
        names.append(_ANCHORS.get(anchor[1], ""))
    return f' class="{" ".join(filter(None, names))}"' if any(names) else ""

"""Plots carry the classes of the style sheet and nothing that matplotlib says of looks."""

import re
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest

import diestore
from diestore.drawing import plots
from diestore.drawing.plots import Ink

pytestmark = pytest.mark.no_database
LOOK = Path(diestore.__file__).parent / "static" / "diestore" / "look.css"


@pytest.fixture(scope="module")
def drawn() -> str:
    from matplotlib import rc_context

    with rc_context(plots.SETTINGS):
        figure, axes = plots.blank(x="hits", y="µm <b>")
        axes.fill_between([0, 72_000], [1, 2], [3, 4], color=Ink.BAND_1.colour, linewidth=0)
        mark = Ink.MARK_1.colour
        axes.plot([0, 72_000], [0.5, 3], color=Ink.LINE_1.colour, marker="o", mfc=mark, mec=mark)
        axes.annotate("limit", (3, 3), color=Ink.WORD.colour)
        axes.set_xlim(0, 72_000)
        plots.round_ticks(axes.xaxis)
        return plots.svg(figure, "a & b")


def test_looks_are_classes_and_no_colour_is_left(drawn):
    root = ElementTree.fromstring(drawn)
    assert "style=" not in drawn and not re.search(r"#[0-9a-f]{6}\b(?!\))", drawn)
    classes = {element.get("class") for element in root.iter() if element.get("class")}
    assert {"plot", "band1", "line1", "line1 solid1", "rule", "axis", "t2 mid", "t2 end", "tb"} <= classes
    texts = {text.text: text for text in root.iter("{http://www.w3.org/2000/svg}text")}
    assert {"hits", "µm <b>", "limit", "70,000"} <= set(texts)
    assert "font" not in "".join(text.get("class") + str(text.attrib) for text in texts.values())
    assert root.get("viewBox") == "0 0 1000 430" and root.get("aria-label") == "a & b"


def test_two_plots_of_a_page_share_no_id_but_that_of_the_same_shape(drawn):
    ids = re.findall(r' id="([^"]+)"', drawn)
    assert len(ids) == len(set(ids))
    assert all(re.fullmatch(r"[mp][0-9a-f]{10}", one) for one in ids)


def test_every_class_of_a_plot_stands_in_the_style_sheet():
    look = LOOK.read_text(encoding="utf-8")
    for name in {one for names in plots.Ink for one in names.split()}:
        assert re.search(rf"\.{name}\b", look), name


def test_nothing_of_matplotlib_is_loaded_before_a_plot_is_drawn():
    rooms = "diestore.drawing.plots, maintenance.screens.edge.plots, reports.cost.plot"
    told = f"import django; django.setup(); import sys, {rooms}; print('matplotlib' in sys.modules)"
    asked = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=True)
    assert asked.stdout.strip() == "False"

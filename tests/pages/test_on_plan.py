"""Places of a form tapped on the plan of the die: each mark picks the box of its own place, and the list stays."""

import re

import pytest
from django.urls import reverse

from tests import factories as make

from .as_read import as_read

pytestmark = pytest.mark.django_db


@pytest.fixture
def die():
    made = make.die(feed_pitch_mm=30, strip_width_mm=50)
    for n, code in enumerate(("1-A", "2-A", "2-B", "3-A")):
        make.position(made, code, x_mm=30.0 * int(code[0]), y_mm=5.0 * n)
    make.position(made, "3-P", kind="pilot", length_mm=None, x_mm=90.0, y_mm=20.0)
    make.run(made, 1, 900)
    return made


def shown(client, task: str, die) -> str:
    return as_read(client.get(f"{reverse(f'maintenance:log_{task}')}?die={die.pk}"))


@pytest.mark.parametrize("task", ["replacement", "reading", "mishap"])
def test_a_tap_on_a_mark_picks_the_box_of_its_place(as_role, die, task):
    html = shown(as_role("lead"), task, die)
    taps = dict(re.findall(r'<label for="(\w+)"\s+class="tap"[^>]*?title="(\S+)', html))
    assert sorted(taps.values()) == ["1-A", "2-A", "2-B", "3-A", "3-P"]
    for box, code in taps.items():
        value = re.search(rf'value="(\d+)"[^>]*\bid="{box}"', html)[1]
        assert die.positions.get(pk=value).code == code
    assert "The same as a list" in html


def test_of_a_sharpening_a_tap_opens_the_tile_of_that_piece(as_role, die):
    html = shown(as_role("lead"), "sharpening", die)
    for pk, code in re.findall(r'<a href="#piece-(\d+)"\s+class="tap"[^>]*?title="(\S+)', html):
        assert die.positions.get(pk=pk).code == code and f'id="piece-{pk}"' in html
    assert html.count('class="tap"') == 4


def test_without_figures_the_list_stands_alone(as_role, die):
    die.positions.filter(code="2-A").update(x_mm=None)
    html = shown(as_role("lead"), "reading", die)
    assert 'class="tap"' not in html and "The same as a list" not in html and "2-A" in html

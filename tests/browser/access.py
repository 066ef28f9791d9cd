"""What shuts people out of a page: asked by axe-core, in the light and in the dark, and whether it fits a telephone."""

from __future__ import annotations

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

DESK, TABLET, PHONE = (1280, 900), (820, 1180), (390, 844)
ALL = {"resultTypes": ["violations"]}
IN_THE_DARK = {"runOnly": ["color-contrast"], **ALL}  # the page is the same but for its colours
AXE = Axe().axe_script


def violations(page: Page, options: dict = ALL) -> list[str]:
    """Each rule that is broken, with the first thing that breaks it."""
    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE)
    found = page.evaluate("options => axe.run(document, options)", options)["violations"]
    return [f"{rule['id']}: {rule['nodes'][0]['html'][:120]} ({len(rule['nodes'])})" for rule in found]


def in_both_schemes(page: Page) -> list[str]:
    """All rules in the light, those of colour in the dark too."""
    page.emulate_media(color_scheme="light", reduced_motion="reduce")  # no colour is half on its way
    light = violations(page)
    page.emulate_media(color_scheme="dark", reduced_motion="reduce")
    return [*light, *(f"in the dark, {words}" for words in violations(page, IN_THE_DARK))]


def too_wide(page: Page, size: tuple[int, int]) -> int:
    """By how many pixels a page is wider than a screen of that size; the screen stays so."""
    page.set_viewport_size({"width": size[0], "height": size[1]})
    return page.evaluate("document.scrollingElement.scrollWidth") - size[0]

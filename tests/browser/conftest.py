"""One browser for the module, a small shop behind a real server, and a page that is watched all the while."""

from __future__ import annotations

import os
import shutil
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from diestore.access import roles
from diestore.access.models import UserSettings
from diestore.register.models import Station
from tests import factories as make
from tests.pages import money_shop as shop

REQUIRED = os.environ.get("DIESTORE_BROWSER_TESTS") == "required"
TABLET = {"width": 820, "height": 1180}
QUIET = (  # a browser that asks nobody else for anything, and runs as any user
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
)
PEOPLE = {roles.SETTER: "Jory T.", roles.TOOLMAKER: "Maud K.", roles.LEAD: "Edda L."}


@pytest.fixture(scope="module")
def browser():
    where = shutil.which("chromium") or shutil.which("chromium-browser")
    if where is None:
        why = "no Chromium on this machine: install the package chromium"
        if REQUIRED:
            pytest.fail(why)
        pytest.skip(why)
    with pytest.MonkeyPatch.context() as environment, sync_playwright() as playwright:
        # Playwright keeps an event loop in this thread, in which Django refuses its database without this.
        environment.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
        running = playwright.chromium.launch(executable_path=where, args=list(QUIET))
        yield running
        running.close()


@pytest.fixture
def small_shop(transactional_db, settings):
    """Two dies with a past and a forecast, an item that is short, rates, and somebody in each role."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]  # made and checked in no time
    item = shop.spare("PP-6.0-M2", on_hand=2, lead_days=200)
    for code, description in (("H-900", "hinge leaf, left and right"), ("H-901", "")):
        die = shop.worked_die(code, item, cycles=3, description=description)
        for number, operation in (("1", "pierce"), ("2", "notch"), ("3", "cut off")):
            Station.objects.update_or_create(
                die=die, code=number, defaults={"sequence": int(number), "operation": operation}
            )
        make.position(die, "2-AD", kind="die_section", side="lower", length_mm=140.0)
        make.position(die, "3-A", kind="cut_off_punch", length_mm=60.0)
        make.position(die, "3-P", kind="pilot", length_mm=None)
    make.order(make.Die.objects.get(code="H-900"), parts=60_000)
    shop.rates()
    for role in roles.ROLES:
        user = make.user(role)
        person = make.person(PEOPLE[role]) if role in PEOPLE else None
        UserSettings.objects.create(user=user, plant=make.plant(), person=person)
    shop.forecast()


class Visit:
    """Somebody at a browser. What goes wrong behind the page is written into `complaints`."""

    def __init__(self, context: BrowserContext, home: str) -> None:
        self.home = home
        self.page: Page = context.new_page()
        self.complaints: list[str] = []
        say = self.complaints.append
        self.page.on("console", lambda m: say(f"console: {m.text}") if m.type in ("error", "warning") else None)
        self.page.on("pageerror", lambda error: say(f"script: {error}"))
        self.page.on("request", lambda r: None if self._is_ours(r.url) else say(f"asks elsewhere: {r.url}"))
        self.page.on("response", lambda r: say(f"{r.status}: {r.url}") if r.status >= 400 else None)
        self.page.on("requestfailed", lambda r: None if self._left_early(r) else say(f"failed: {r.url} ({r.failure})"))

    def _left_early(self, request) -> bool:
        """Whether the browser gave something of ours up itself, since the visit went on to the next page."""
        return request.failure == "net::ERR_ABORTED" and self._is_ours(request.url)

    def _is_ours(self, url: str) -> bool:
        told, home = urlsplit(url), urlsplit(self.home)
        return told.scheme == "data" or (told.scheme, told.netloc) == (home.scheme, home.netloc)

    def sign_in(self, name: str) -> Page:
        self.go("/")
        self.page.get_by_label("User").fill(name)
        self.page.get_by_label("Password").fill("not a real password")
        self.page.get_by_role("button", name="Sign in").click()
        # Going on before the first page has its mark breaks that request off, and it would be told as one that failed.
        self.page.wait_for_load_state("networkidle")
        return self.page

    def go(self, path: str) -> Page:
        self.page.goto(self.home + path)
        return self.page

    def sideways(self) -> int:
        """How many pixels of the page lie outside the window."""
        return self.page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")


@pytest.fixture
def open_browser(browser: Browser, live_server, small_shop):
    """`open_browser("setter")`: a tablet, signed in as that role. In the end nobody may have a complaint."""
    visits: list[Visit] = []
    contexts: list[BrowserContext] = []

    def open_as(role: str, **options) -> Visit:
        context = browser.new_context(viewport=TABLET, accept_downloads=True, **options)
        context.set_default_timeout(20_000)
        contexts.append(context)
        visit = Visit(context, live_server.url)
        visits.append(visit)
        visit.sign_in(role)
        return visit

    yield open_as
    complaints = [words for visit in visits for words in visit.complaints]
    for context in contexts:
        context.close()
    assert complaints == []

"""The log as a browser sees it: what a shown form would send, and the addresses of the log."""

import datetime as dt
import re
from html.parser import HTMLParser

from django.urls import reverse
from django.utils import timezone

from diestore.access import roles
from maintenance.log import queries
from maintenance.models import EVENTS

FORMS = {
    "log_run": roles.LOG_RUN,
    "log_sharpening": roles.LOG_SHARPENING,
    "log_replacement": roles.LOG_REPLACEMENT,
    "log_stop": roles.LOG_STOP,
    "log_reading": roles.LOG_READING,
    "log_correction": roles.LOG_RUN,
    "log_mishap": roles.LOG_MISHAP,
    "log_set_up": roles.LOG_RUN,
}


def at(code, die):
    return die.positions.get(code=code)


def address(name, die=None, **more):
    query = "&".join(f"{k}={v}" for k, v in ({"die": die.pk} if die else {} | more).items() | more.items())
    return reverse(f"maintenance:{name}") + (f"?{query}" if query else "")


def typed(moment: dt.datetime) -> str:
    return timezone.localtime(moment).strftime("%Y-%m-%dT%H:%M")


def page(response) -> str:
    return re.sub(r"\s+", " ", response.content.decode())


class Filled(HTMLParser):
    """What a browser would send of the log's form as the page shows it."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.data: dict[str, str] = {}
        self.inside = False
        self.select = self.textarea = None
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        a = dict(attrs)
        if tag == "form":
            self.inside = "log" in a.get("class", "").split()
        if not self.inside:
            return
        if tag == "input" and (a.get("type") not in ("radio", "checkbox") or "checked" in a):
            self.data[a["name"]] = a.get("value", "on" if a.get("type") == "checkbox" else "")
        elif tag == "select":
            self.select = a["name"]
        elif tag == "option" and ("selected" in a or self.select not in self.data):
            self.data[self.select] = a.get("value", "")
        elif tag == "textarea":
            self.textarea, self.data[a["name"]] = a["name"], ""

    def handle_data(self, data):
        if self.textarea:
            self.data[self.textarea] += data.strip()

    def handle_endtag(self, tag):
        if tag == "textarea":
            self.textarea = None
        elif tag == "form":
            self.inside = False


def sent(response, **change) -> dict:
    """The form as the page shows it, with the named fields changed; None takes a field out."""
    data = Filled(response.content.decode()).data
    data.pop("csrfmiddlewaretoken", None)
    return {k: v for k, v in (data | change).items() if v is not None}


def send(client, name, die, *, follow=False, query=None, **change):
    url = address(name, die, **(query or {}))
    return client.post(url, sent(client.get(url), **change), follow=follow)


def said(response) -> str:
    return " ".join(str(m) for m in response.context["messages"])


def everything():
    return {model.__name__: model.objects.count() for model in EVENTS}


def shelf(position):
    row = queries.stock_of_spares().get(position.item_id)
    return row.on_hand if row else 0


def start_to_end(hours=2):
    now = timezone.now()
    return {"started": typed(now - dt.timedelta(hours=hours)), "ended": typed(now)}

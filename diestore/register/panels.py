"""Panels on a die's page: the register draws the frame, the apps above it hang their panels in.

An app registers a renderer when it starts; the register never imports what stands above it. Rendered on the server in
one answer, so that the page prints whole and works without script.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from django.http import HttpRequest
from django.urls import reverse
from django.utils.safestring import SafeString

from .models import Die

Renderer = Callable[[HttpRequest, Die], SafeString | str]


@dataclass(frozen=True)
class Panel:
    name: str
    order: int
    render: Renderer
    permission: str | None = None


_panels: dict[str, Panel] = {}


def register(name: str, *, order: int, render: Renderer, permission: str | None = None) -> None:
    """Hang a panel on the die's page. `order`: small numbers stand higher."""
    _panels[name] = Panel(name, order, render, permission)


def render_all(request: HttpRequest, die: Die) -> list[SafeString | str]:
    """The panels that this person may see, in order, empty ones left out."""
    shown = sorted(_panels.values(), key=lambda p: (p.order, p.name))
    bits = [p.render(request, die) for p in shown if p.permission is None or request.user.has_perm(p.permission)]
    return [bit for bit in bits if bit]


@dataclass(frozen=True)
class Act:
    """Something to do about a die, as a button at the head of its page."""

    label: str
    url_name: str
    order: int
    permission: str


_acts: list[Act] = []


def register_act(label: str, url_name: str, *, order: int, permission: str) -> None:
    """Put a button on the die's page; its address takes the die as ?die=PK."""
    _acts.append(Act(label, url_name, order, permission))


def acts_for(request: HttpRequest, die: Die) -> list[dict]:
    return [
        {"label": act.label, "url": f"{reverse(act.url_name)}?die={die.pk}"}
        for act in sorted(_acts, key=lambda a: a.order)
        if request.user.has_perm(act.permission)
    ]

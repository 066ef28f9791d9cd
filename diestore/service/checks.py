"""What `manage.py check --deploy` looks at beside Django's own checks."""

from __future__ import annotations

from django.conf import settings
from django.core.checks import Error, Tags, Warning, register
from django.db import DatabaseError


@register(Tags.security, deploy=True)
def the_demo_is_off(app_configs, **kwargs) -> list:
    if not settings.DEMO:
        return []
    return [Error("DIESTORE_DEMO is set: passwords that everybody knows open this service.", id="diestore.E001")]


@register(Tags.security, deploy=True)
def proxies_are_counted(app_configs, **kwargs) -> list:
    """Behind a proxy that nobody counted, everybody comes from one address, and is held with whoever guesses there."""
    if not settings.HTTPS or settings.PROXIES_SAID:
        return []
    return [
        Warning(
            "DIESTORE_PROXIES is not set: behind a proxy every sign-in seems to come from one address, and somebody "
            "who guesses at passwords holds the sign-in of all. Nor is its word taken that a request came by HTTPS.",
            hint="Set it to the number of proxies of yours before this service; 0 where there is none, or where the "
            "server tells the true address already.",
            id="diestore.W001",
        )
    ]


@register(Tags.database)
def one_key_for_all_hosts(app_configs, databases=None, **kwargs) -> list:
    """Run by `migrate` and by `check --database default`: another key or another clock than the other hosts'."""
    from . import hosts

    if not databases:
        return []
    try:
        found = hosts.worries(hosts.serving())
    except DatabaseError:  # the tables are not there yet, or the database is gone: that is said elsewhere
        return []
    return [Warning(sentence, id="diestore.W002") for sentence in found]

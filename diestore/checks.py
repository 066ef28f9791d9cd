"""What `manage.py check --deploy` looks at beside Django's own checks."""

from __future__ import annotations

from django.conf import settings
from django.core.checks import Error, Tags, Warning, register


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
            "who guesses at passwords holds the sign-in of all.",
            hint="Set it to the number of proxies of yours before this service; 0 where there is none, or where the "
            "server tells the true address already.",
            id="diestore.W001",
        )
    ]

"""The demo's users, one a role, and a tablet that several share. Their passwords and PINs are public, so they open
nothing but the demo."""

from __future__ import annotations

from dataclasses import dataclass

from django.conf import settings
from django.core.exceptions import PermissionDenied, ValidationError
from django.utils.translation import gettext as _

from . import roles


@dataclass(frozen=True, kw_only=True)
class DemoUser:
    name: str
    role: str
    person: str = ""  # who of the demo shop it is, where the role has somebody at the bench
    shared: bool = False  # a tablet at the bench: it has the rights of the role, and who logs is picked on it

    @property
    def password(self) -> str:
        return f"demo-{self.name}"


USERS = (
    DemoUser(name="setter", role=roles.SETTER, person="Jory T."),
    DemoUser(name="toolmaker", role=roles.TOOLMAKER, person="Maud K."),
    DemoUser(name="lead", role=roles.LEAD, person="Edda L."),
    DemoUser(name="buyer", role=roles.BUYER),
    DemoUser(name="sales", role=roles.SALES),
    DemoUser(name="admin", role=roles.ADMINISTRATOR),
    DemoUser(name="tablet", role=roles.TOOLMAKER, shared=True),
)
PINS = {"Maud K.": "4071", "Jory T.": "2690"}  # of those who may be picked on the tablet
PASSWORDS = frozenset(user.password for user in USERS)


class OnlyInTheDemo:
    """Sign-in with a demo password is refused wherever the demo does not run."""

    def authenticate(self, request, username=None, password=None, **kwargs):
        if password in PASSWORDS and not settings.DEMO:
            raise PermissionDenied(_("This password is the demo's."))
        return None


class NotADemoPassword:
    """Nobody gives a real account one of the demo's passwords."""

    def validate(self, password, user=None):
        if password in PASSWORDS and not settings.DEMO:
            raise ValidationError(
                _("This password stands in the demo's description. Take another."), code="demo_password"
            )

    def get_help_text(self) -> str:
        return _("Your password is not one of the demo's.")


def create_users(plant) -> None:
    """The demo's users, each in the group of its role. Twice is fine."""
    from django.contrib.auth.models import Group, User

    from . import tablet
    from .models import Person, UserSettings

    if not settings.DEMO:
        raise RuntimeError("Demo users are made in the demo's own database only.")
    for demo in USERS:
        administers = demo.role == roles.ADMINISTRATOR
        user, is_new = User.objects.get_or_create(
            username=demo.name, defaults={"is_staff": administers, "is_superuser": administers}
        )
        if is_new:
            user.set_password(demo.password)
            user.save()
        user.groups.set([Group.objects.get(name=demo.role)])
        named = {"plant": plant, "shared_device": demo.shared}
        person = Person.objects.filter(plant=plant, name=demo.person).first()
        UserSettings.objects.get_or_create(user=user, defaults=named | {"person": person})
    for person in Person.objects.filter(plant=plant, name__in=PINS, pin_hash=""):
        person.pin_hash = tablet.hash_of(PINS[person.name])
        person.save(update_fields=["pin_hash"])

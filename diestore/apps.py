from django.apps import AppConfig
from django.db.models.signals import post_migrate
from django.urls import register_converter

from diestore.row_keys import RowKey


class DiestoreConfig(AppConfig):
    name = "diestore"
    verbose_name = "Register"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from django.utils import translation

        from diestore import texts
        from diestore.access.roles import grant_roles
        from diestore.finding import finders, of_register
        from diestore.service import checks  # noqa: F401  registers itself

        texts.speak(translation)
        register_converter(RowKey, "key")
        finders.put_in(*of_register.FINDERS)
        post_migrate.connect(grant_roles, dispatch_uid="diestore.grant_roles")

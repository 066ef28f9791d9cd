from django.apps import AppConfig
from django.db.models.signals import post_migrate
from django.urls import register_converter


class MaintenanceConfig(AppConfig):
    name = "maintenance"
    verbose_name = "Maintenance"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from diestore.finding import finders as finding
        from maintenance.models.constraints import install_rules
        from maintenance.screens.entry.addresses import EntrySort, FormerSort

        from . import finders, night, tasks  # noqa: F401  what follows from changes, and from the time of day, hangs there

        register_converter(EntrySort, "entry")
        register_converter(FormerSort, "former_entry")
        finding.put_in(*finders.FINDERS)
        post_migrate.connect(install_rules, sender=self, dispatch_uid="maintenance.install_rules")

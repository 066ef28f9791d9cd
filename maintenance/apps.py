from django.apps import AppConfig
from django.db.models.signals import post_migrate, post_save


class MaintenanceConfig(AppConfig):
    name = "maintenance"
    verbose_name = "Maintenance"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from diestore import backup, service_state

        from . import counting, panels
        from .database_rules import install_rules
        from .models import HitCorrection, Run
        from .upkeep import clocks, fits

        panels.hang()
        backup.checks["clocks"] = clocks
        service_state.parts.append(fits)

        post_migrate.connect(install_rules, sender=self, dispatch_uid="maintenance.install_rules")
        for model in (Run, HitCorrection):
            post_save.connect(counting.entry_saved, sender=model, dispatch_uid=f"maintenance.counted_{model.__name__}")

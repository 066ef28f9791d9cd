from django.apps import AppConfig
from django.db.models.signals import post_migrate, post_save


class MaintenanceConfig(AppConfig):
    name = "maintenance"
    verbose_name = "Maintenance"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from maintenance.counters import settle
        from maintenance.models import HitCorrection, Run
        from maintenance.models.constraints import install_rules

        post_migrate.connect(install_rules, sender=self, dispatch_uid="maintenance.install_rules")
        for model in (Run, HitCorrection):
            post_save.connect(settle.entry_saved, sender=model, dispatch_uid=f"maintenance.counted_{model.__name__}")

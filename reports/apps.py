from django.apps import AppConfig


class ReportsConfig(AppConfig):
    name = "reports"
    verbose_name = "Reports"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from diestore.finding import finders as finding

        from . import finders, tasks  # noqa: F401  what follows from changes and fits hangs there

        finding.put_in(*finders.FINDERS)

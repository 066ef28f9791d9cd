from django.apps import AppConfig


class ReportsConfig(AppConfig):
    name = "reports"
    verbose_name = "Reports"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from maintenance import tasks

        from . import tasks as own

        tasks.after_fit.append(own.plan)
        tasks.after_entry.append(own.plan_after_entry)

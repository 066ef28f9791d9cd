import django.db.models.deletion
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models

import maintenance.models


class Migration(migrations.Migration):
    dependencies = [
        ("diestore", "0003_task_workers"),
        ("maintenance", "0003_entries_by_time"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="RecordRestart",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("at", models.DateTimeField(help_text="When it happened.")),
                (
                    "recorded_at",
                    models.DateTimeField(default=django.utils.timezone.now, help_text="When the service learnt it."),
                ),
                (
                    "sequence",
                    models.IntegerField(default=0, help_text="Settles the order of entries at the same time."),
                ),
                (
                    "through",
                    models.CharField(
                        choices=[
                            ("form", "a form"),
                            ("import", "a loaded folder"),
                            ("counter", "a press counter"),
                            ("interface", "another program"),
                        ],
                        default="form",
                        max_length=10,
                    ),
                ),
                ("device", models.CharField(blank=True, max_length=80)),
                ("key", models.CharField(default=maintenance.models.fresh_key, max_length=160, unique=True)),
                ("note", models.TextField(blank=True)),
                ("struck_at", models.DateTimeField(blank=True, null=True)),
                ("struck_reason", models.CharField(blank=True, max_length=300)),
                ("reason", models.CharField(max_length=200)),
                (
                    "die",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="restarts", to="diestore.die"
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="diestore.person",
                    ),
                ),
                (
                    "replaced_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="replaces",
                        to="maintenance.recordrestart",
                    ),
                ),
                (
                    "struck_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="diestore.person",
                    ),
                ),
                (
                    "user",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["at", "sequence", "key"],
                "abstract": False,
                "indexes": [
                    models.Index(fields=["at"], name="recordrestart_by_time"),
                    models.Index(fields=["recorded_at"], name="recordrestart_by_record"),
                    models.Index(
                        condition=models.Q(("struck_at__isnull", False)),
                        fields=["struck_at"],
                        name="recordrestart_struck",
                    ),
                    models.Index(fields=["die", "at"], name="restart_by_die"),
                ],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("replaced_by__isnull", True),
                                ("struck_at__isnull", True),
                                ("struck_by__isnull", True),
                                ("struck_reason", ""),
                            ),
                            models.Q(
                                ("struck_at__isnull", False),
                                ("struck_by__isnull", False),
                                models.Q(("struck_reason", ""), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="recordrestart_struck_out_whole",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("reason", ""), _negated=True), name="restart_has_a_reason"
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="PastForecasts",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("as_of", models.DateTimeField(help_text="What came is known up to here.")),
                ("made_at", models.DateTimeField(default=django.utils.timezone.now)),
                ("code_version", models.CharField(max_length=40)),
                ("records_hash", models.CharField(blank=True, max_length=64)),
                ("scores", models.JSONField(default=dict)),
                (
                    "by_die",
                    models.JSONField(
                        default=dict, help_text="Die to statements that have come out, and those that held."
                    ),
                ),
                ("wrong_calls", models.JSONField(default=list)),
                ("refusal", models.CharField(blank=True, max_length=300)),
                (
                    "plant",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="past_forecasts", to="diestore.plant"
                    ),
                ),
            ],
            options={"ordering": ["-made_at", "-id"]},
        ),
        migrations.CreateModel(
            name="DriftFlag",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("since", models.DateTimeField()),
                ("as_of", models.DateTimeField()),
                ("found_at", models.DateTimeField(default=django.utils.timezone.now)),
                ("dull_ends", models.IntegerField()),
                ("expected", models.FloatField(help_text="Dull ends that its record up to then led to expect.")),
                ("chance", models.FloatField(help_text="Of so many or more by luck.")),
                (
                    "die",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.CASCADE, related_name="drift_flag", to="diestore.die"
                    ),
                ),
            ],
            options={"ordering": ["chance", "die"]},
        ),
    ]

from __future__ import annotations

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("orders", "0002_limits_of_a_commission"),
    ]

    operations = [
        migrations.CreateModel(
            name="StoredPlan",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("key", models.CharField(max_length=64, unique=True)),
                ("answer", models.JSONField(blank=True, null=True)),
                ("found_at", models.DateTimeField(blank=True, null=True)),
                ("looking_since", models.DateTimeField(blank=True, null=True)),
                ("progress", models.JSONField(blank=True, default=dict)),
            ],
            options={
                "ordering": ["pk"],
            },
        ),
    ]

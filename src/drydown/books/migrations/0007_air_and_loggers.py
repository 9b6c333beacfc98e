"""Air by the hour, and what loggers send."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("books", "0006_tank"),
    ]

    operations = [
        migrations.CreateModel(
            name="Channel",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("topic", models.CharField(max_length=200, unique=True)),
                ("device", models.CharField(max_length=80)),
                ("quantity", models.CharField(blank=True, max_length=10)),
                ("place", models.CharField(blank=True, max_length=80)),
                (
                    "epoch",
                    models.PositiveIntegerField(
                        default=0, help_text="rises when a device counts from the start again"
                    ),
                ),
                ("last_seq", models.BigIntegerField(null=True)),
                ("last_at", models.DateTimeField(null=True)),
            ],
            options={
                "ordering": ["device", "topic"],
            },
        ),
        migrations.CreateModel(
            name="AirHour",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("kind", models.CharField(choices=[("seen", "seen"), ("ahead", "ahead")], max_length=5)),
                ("at", models.DateTimeField()),
                ("issued_at", models.DateTimeField(null=True)),
                ("taken_at", models.DateTimeField()),
                ("temp_c", models.FloatField()),
                ("rh", models.FloatField()),
                ("ghi_wm2", models.FloatField()),
                ("wind_ms", models.FloatField()),
                ("rain_mm", models.FloatField()),
                ("sky_wm2", models.FloatField()),
                ("source", models.CharField(max_length=120)),
            ],
            options={
                "ordering": ["at"],
                "constraints": [models.UniqueConstraint(fields=("kind", "at"), name="one_air_an_hour")],
            },
        ),
        migrations.CreateModel(
            name="Gap",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("epoch", models.PositiveIntegerField(default=0)),
                ("first", models.BigIntegerField()),
                ("last", models.BigIntegerField()),
                ("seen_at", models.DateTimeField()),
                (
                    "channel",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="gaps", to="books.channel"
                    ),
                ),
            ],
            options={
                "ordering": ["seen_at"],
            },
        ),
        migrations.CreateModel(
            name="Measure",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("epoch", models.PositiveIntegerField(default=0)),
                ("seq", models.BigIntegerField()),
                ("at", models.DateTimeField()),
                ("value", models.FloatField()),
                ("received_at", models.DateTimeField()),
                (
                    "channel",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="measures",
                        to="books.channel",
                    ),
                ),
            ],
            options={
                "ordering": ["at", "seq"],
                "indexes": [models.Index(fields=["channel", "at"], name="books_measu_channel_cf8093_idx")],
                "constraints": [
                    models.UniqueConstraint(fields=("channel", "epoch", "seq"), name="one_value_a_number")
                ],
            },
        ),
    ]

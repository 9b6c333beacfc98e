"""Kinds of bench sheets: roasted, ground, brewed."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("books", "0007_air_and_loggers")]

    operations = [
        migrations.AlterField(
            model_name="benchsheet",
            name="kind",
            field=models.CharField(
                choices=[
                    ("count", "defects counted"),
                    ("screens", "sieved"),
                    ("moisture", "moisture"),
                    ("density", "density, hundred beans"),
                    ("photo", "sized by photo"),
                    ("handed", "handed on"),
                    ("session", "tasting session opened"),
                    ("tasting", "tasted"),
                    ("roast", "roasted"),
                    ("grind", "ground, sieved"),
                    ("brew", "brewed"),
                ],
                max_length=8,
            ),
        ),
    ]

from typing import Any

from django.db import migrations, models
from django.db.models import Q
from django.db.models.functions import Lower


def part_the_doubled(apps: Any, _editor: Any) -> None:
    """Doubles that a race left behind keep their numbers and get a mark, so that both can be told apart."""
    Grower, Device = apps.get_model("books", "Grower"), apps.get_model("books", "Device")
    seen: set[tuple[str, ...]] = set()
    for grower in Grower.objects.order_by("number"):
        mark = (grower.name.lower(), grower.village.lower())
        if mark in seen:
            Grower.objects.filter(pk=grower.pk).update(village=f"{grower.village} ({grower.number})"[-80:])
        seen.add(mark)
    names: set[str] = set()
    for device in Device.objects.filter(closed_at=None).order_by("id"):
        if device.name.lower() in names:
            Device.objects.filter(pk=device.pk).update(name=f"{device.name[:48]} ({device.pk})")
        names.add(device.name.lower())


class Migration(migrations.Migration):
    """What must be there once only: a grower of a name in a village, an open device of a name."""

    dependencies = [("books", "0004_merged_growers")]

    operations = [
        migrations.RunPython(part_the_doubled, migrations.RunPython.noop),
        migrations.AddConstraint(
            model_name="grower",
            constraint=models.UniqueConstraint(Lower("name"), Lower("village"), name="one_grower_of_a_name"),
        ),
        migrations.AddConstraint(
            model_name="device",
            constraint=models.UniqueConstraint(
                Lower("name"), condition=Q(closed_at=None), name="one_open_device_of_a_name"
            ),
        ),
    ]

from typing import Any

from django.db import migrations, models


def tanks_of_today(apps: Any, _editor: Any) -> None:
    """Lots that ferment stand in the tank they were put into last."""
    Lot, Happening = apps.get_model("books", "Lot"), apps.get_model("books", "Happening")
    for lot in Lot.objects.all():
        last = Happening.objects.filter(lot=lot, undone=False, kind__in=("ferment", "wash")).order_by(
            "-entry_id"
        )
        put = last.first()
        if put is not None and put.kind == "ferment":
            Lot.objects.filter(pk=lot.pk).update(tank=str(put.details.get("tank", "")))


class Migration(migrations.Migration):
    """A lot says which tank it is in; the words of its stages stand with its steps."""

    dependencies = [("books", "0005_once_only")]

    operations = [
        migrations.AddField("lot", "tank", models.CharField(blank=True, max_length=80, default=""), False),
        migrations.AlterField(
            "lot", "stage", models.CharField(db_index=True, default="gathering", max_length=12)
        ),
        migrations.RunPython(tanks_of_today, migrations.RunPython.noop),
    ]

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    """Growers who were one person under two numbers."""

    dependencies = [("books", "0003_bench")]

    operations = [
        migrations.AddField(
            model_name="grower",
            name="merged_into",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="once",
                to="books.grower",
            ),
        ),
    ]

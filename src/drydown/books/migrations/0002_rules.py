from django.db import migrations

from drydown.books.journal.triggers import lay_triggers


class Migration(migrations.Migration):
    """The journal's rules, held by the database itself."""

    dependencies = [("books", "0001_initial")]
    operations = [migrations.RunPython(lay_triggers)]

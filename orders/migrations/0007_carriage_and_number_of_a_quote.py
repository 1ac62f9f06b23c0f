import django.core.validators
import studio.models
from django.core.management.base import CommandError
from django.db import migrations, models


def refuse_if_taken_back(apps, schema_editor):
    """Before this step a quote has no place for what it says of carriage."""
    quotes = apps.get_model("orders", "Quote").objects.using(schema_editor.connection.alias)
    told = quotes.exclude(carriage="unsaid")
    if told.exists():
        refs = list(told.order_by("pk").values_list("ref", flat=True)[:4])
        more = told.count() - len(refs)
        named = f"{', '.join(refs)}{f' and {more} more' if more else ''}"
        raise CommandError(
            f"Not taken back: {named} would lose what a quote says of carriage. "
            "Stay at orders 0007 or later, or restore a copy from before."
        )


class Migration(migrations.Migration):

    dependencies = [
        ('orders', '0006_quotes'),
    ]

    operations = [
        migrations.AddField(
            model_name='quote',
            name='accepted_quantity',
            field=models.PositiveIntegerField(blank=True, editable=False, null=True, verbose_name='good sheets ordered'),
        ),
        migrations.AddField(
            model_name='quote',
            name='carriage',
            field=models.CharField(choices=[('unsaid', 'Say nothing of it'), ('apart', 'Not included'), ('added', 'Added, as a line of its own'), ('within', 'Included in the price')], default='unsaid', max_length=6),
        ),
        migrations.AddField(
            model_name='quote',
            name='carriage_minor',
            field=studio.models.WholeField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0), django.core.validators.MaxValueValidator(9000000000000000)], verbose_name='what carriage comes to'),
        ),
        # Last, so that it is looked at first on the way back.
        migrations.RunPython(migrations.RunPython.noop, refuse_if_taken_back, elidable=False),
    ]

import django.core.validators
import studio.models
from django.db import migrations, models


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
    ]

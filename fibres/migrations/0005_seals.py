import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('fibres', '0004_places_and_stocktakes'),
    ]

    operations = [
        migrations.CreateModel(
            name='Seal',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('number', models.BigIntegerField(unique=True)),
                ('digest', models.CharField(max_length=64)),
                ('movement', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='seal', to='fibres.movement')),
            ],
            options={
                'verbose_name': 'the seals of the ledger',
                'verbose_name_plural': 'seals',
                'ordering': ['number'],
            },
        ),
    ]

from django.db import migrations

from fibres.calc import chain

AT_A_TIME = 2000
COLUMNS = {
    "movement": "pk",
    "lot": "lot_id",
    "lot_ref": "lot__ref",
    "kind": "kind",
    "oven_dry_mg": "oven_dry_mg",
    "as_is_mg": "as_is_mg",
    "moisture": "moisture",
    "happened_on": "happened_on",
    "why": "why",
    "reverses": "reverses_id",
    "entry_key": "entry__request_key",
    "act": "entry__act",
    "said": "entry__said",
    "page": "entry__page",
    "who": "entry__by__username",
    "recorded_at": "entry__recorded_at",
}


def seal(apps, schema_editor):
    """Seal the movements that are there, in the order of the ledger, a part at a time.

    What is sealed already stays so: the step can be taken again after it was taken back.
    """
    using = schema_editor.connection.alias
    seals = apps.get_model("fibres", "Seal").objects.using(using)
    movements = apps.get_model("fibres", "Movement").objects.using(using)
    last = seals.order_by("number").last()
    number, digest, done = (last.number, last.digest, last.movement_id) if last else (
        0, chain.BEGINNING, 0
    )
    while rows := list(
        movements.filter(pk__gt=done).order_by("pk").values_list(*COLUMNS.values())[:AT_A_TIME]
    ):
        made = []
        for row in rows:
            line = chain.written(**dict(zip(COLUMNS, row, strict=True)))
            number += 1
            digest = chain.next_digest(digest, number=number, line=line)
            made.append(seals.model(number=number, movement_id=row[0], digest=digest))
        seals.bulk_create(made, batch_size=500)
        done = rows[-1][0]


class Migration(migrations.Migration):

    dependencies = [
        ("fibres", "0005_seals"),
        ("studio", "0001_initial"),
    ]

    operations = [
        # Taken back, the seals stay until their table goes with the step before.
        migrations.RunPython(seal, migrations.RunPython.noop, elidable=False),
    ]

from django.db import migrations


def number_of(quote, prices):
    """Return the number a quote was accepted at, as far as it can be told; else None.

    Accepting wrote number and price into the commission. Where the number was changed since, the
    price alone may still tell one.
    """
    commission = quote.commission
    if commission is None:
        return None
    each = commission.agreed_price_minor
    at_price = [row["sheets"] for row in prices if row["each_minor"] == each]
    if commission.good_quantity in at_price:
        return commission.good_quantity
    return at_price[0] if len(at_price) == 1 else None


def fill(apps, schema_editor):
    """Keep with each accepted quote the number that was ordered."""
    using = schema_editor.connection.alias
    quotes = apps.get_model("orders", "Quote").objects.using(using)
    documents = apps.get_model("orders", "QuoteDocument").objects.using(using)
    known = quotes.filter(state="accepted", accepted_quantity__isnull=True)
    for quote in known.select_related("commission"):
        document = documents.filter(quote=quote.pk).first()
        number = number_of(quote, document.body["prices"]) if document else None
        if number is not None:
            quote.accepted_quantity = number
            quote.save(update_fields=["accepted_quantity"])


class Migration(migrations.Migration):

    dependencies = [
        ('orders', '0007_carriage_and_number_of_a_quote'),
    ]

    operations = [
        migrations.RunPython(fill, migrations.RunPython.noop, elidable=True),
    ]

"""Form fields for quantities: text a person types in, a quantity or a stored number out.

Every field reads with :func:`studio.reading.read_quantity` or :func:`studio.money.read_money`,
so a page and a command understand the same words. Text that cannot be read is a form fault
and stays in its field as typed. In a ``ModelForm`` declare the field with ``stored=True``
under the name of the model's column::

    class LotForm(HouseModelForm):
        as_is_mg = MassField(stored=True, label="Mass as weighed")

It then shows the stored milligrams as a mass and gives whole milligrams back.
"""

from studio.fields.days import DayField
from studio.fields.numbers import CountField, MoneyField, NumberField, RateField, ShareField
from studio.fields.quantities import (
    GrammageField,
    LengthField,
    MassField,
    QuantityField,
    SizeField,
    VolumeField,
)
from studio.fields.typed import TypedField, plain, read

__all__ = [
    "CountField",
    "DayField",
    "GrammageField",
    "LengthField",
    "MassField",
    "MoneyField",
    "NumberField",
    "QuantityField",
    "RateField",
    "ShareField",
    "SizeField",
    "TypedField",
    "VolumeField",
    "plain",
    "read",
]

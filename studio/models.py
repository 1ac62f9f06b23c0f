"""What both apps share: the studio itself, its moulds, its counters and the entry book."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models, transaction
from django.urls import reverse

from studio.appendonly import AppendOnly
from studio.money import CURRENCIES

LARGEST = 9 * 10**15
ONE = Decimal(1)


class ShareField(models.DecimalField):
    """A share from 0 to 1, percent on screen; never summed or compared in SQL."""

    def __init__(self, *args: object, **kwargs: object) -> None:
        kwargs.setdefault("max_digits", 7)
        kwargs.setdefault("decimal_places", 6)
        kwargs.setdefault("validators", [MinValueValidator(0), MaxValueValidator(1)])
        super().__init__(*args, **kwargs)


class WholeField(models.BigIntegerField):
    """A whole number of milligrams, micrometres or minor units, from 0 up."""

    def __init__(self, *args: object, **kwargs: object) -> None:
        kwargs.setdefault("validators", [MinValueValidator(0), MaxValueValidator(LARGEST)])
        super().__init__(*args, **kwargs)


class Closable(models.Model):
    """A row that is kept for its history and can be closed: hidden from choices, still read."""

    closed_on = models.DateField(null=True, blank=True, editable=False)

    class Meta:
        abstract = True

    def unique_error_message(
        self, model_class: type[models.Model], unique_check: tuple[str, ...]
    ) -> ValidationError:
        """Say in plain words that a name is taken."""
        noun = model_class._meta.verbose_name
        return ValidationError(
            f"Another {noun} has this name already. Give another, or change that one.",
            code="unique",
        )

    @property
    def is_closed(self) -> bool:
        """Whether the row is hidden from choices."""
        return self.closed_on is not None


class Entry(AppendOnly):
    """One act: who, when and what; the key lets a second click find the first."""

    request_key = models.UUIDField(unique=True)
    act = models.CharField(max_length=40)
    said = models.CharField(max_length=200)
    page = models.CharField(max_length=200)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    recorded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        verbose_name = "the entry book"
        verbose_name_plural = "entries"
        ordering = ["pk"]

    def __str__(self) -> str:
        return self.said

    @property
    def who(self) -> str:
        """Name of the person, or the command line."""
        return self.by.get_username() if self.by else "command line"


class Counter(models.Model):
    """The next number of a series of references."""

    name = models.CharField(max_length=20, unique=True)
    last = models.PositiveBigIntegerField(default=0)

    class Meta:
        verbose_name = "counter"

    def __str__(self) -> str:
        return f"{self.name} {self.last}"

    @classmethod
    def next(cls, name: str) -> int:
        """Take the next number, under a lock, inside the caller's transaction."""
        return cls.take(name, 1)[0]

    @classmethod
    def take(cls, name: str, count: int, *, beyond: int = 0) -> range:
        """Take the next numbers at once; those up to ``beyond`` are in use already."""
        with transaction.atomic():  # noqa: TID251 - part of the caller's act
            cls.objects.get_or_create(name=name)
            counter = cls.objects.select_for_update().get(name=name)
            first = max(counter.last, beyond) + 1
            counter.last = first + count - 1
            counter.save(update_fields=["last"])
        return range(first, first + count)


class Studio(models.Model):
    """The studio: one row of names, rates and habits."""

    class Units(models.TextChoices):
        METRIC = "metric", "Metric: kg, g, mm, g/m²"
        US = "US", "US: lb, oz, inches"

    class Theme(models.TextChoices):
        DEVICE = "", "As the device says"
        LIGHT = "light", "Light"
        DARK = "dark", "Dark"

    class PriceBy(models.TextChoices):
        MARKUP = "markup", "Markup: a share added to the cost"
        MARGIN = "margin", "Margin: a share kept of the price"

    class BookCost(models.TextChoices):
        FIRST_IN_FIRST_OUT = "fifo", "First in, first out: the oldest lot is used first"
        AVERAGE = "average", "Moving average: all lots of a fibre at one price"

    class Aims(models.TextChoices):
        RECIPE_FIRST = "recipe first", "The recipe first, then the cheaper lot"
        COST_FIRST = "cost first", "The cheaper lot first, then the recipe"

    name = models.CharField("name of the studio", max_length=80, default="Halfstuff studio")
    units = models.CharField(max_length=8, choices=Units.choices, default=Units.METRIC)
    theme = models.CharField(
        "colours", max_length=8, choices=Theme.choices, default=Theme.DEVICE, blank=True
    )
    currency = models.CharField(
        max_length=3, choices=[(code, code) for code in CURRENCIES], default="GBP"
    )
    sheet_moisture = ShareField("moisture of a finished sheet", default=Decimal("0.06"))
    assurance = ShareField("how sure the safe count is", default=Decimal("0.95"))
    hourly_rate_minor = WholeField("pay for an hour", default=2200)
    overhead_minor_per_hour = WholeField("rooms, felts and moulds, an hour", default=400)
    setup_minutes = models.PositiveIntegerField("minutes to set up and clear", default=75)
    minutes_per_pull = models.DecimalField(
        "minutes a pull", max_digits=6, decimal_places=2, default=Decimal("6")
    )
    trial_pulls = models.PositiveIntegerField("trial pulls", default=2)
    heel_mg = WholeField("fibre left in the vat, oven-dry", default=0)
    heel_recovered = ShareField("share of the heel kept for another making", default=Decimal("0"))
    broke_recovered = ShareField("share of broke used again", default=Decimal("0"))
    energy_kwh_per_kg = models.DecimalField(
        "kWh to beat a kilogram", max_digits=7, decimal_places=3, default=Decimal("1.5")
    )
    energy_kwh_per_pull = models.DecimalField(
        "kWh to press and dry a pull", max_digits=7, decimal_places=4, default=Decimal("0.05")
    )
    energy_minor_per_kwh = models.DecimalField(
        "price of a kWh",
        max_digits=16,
        decimal_places=4,
        default=Decimal("30"),
        validators=[MinValueValidator(0)],
    )
    water_litres_per_pull = models.DecimalField(
        "litres of water a pull", max_digits=7, decimal_places=2, default=Decimal("4")
    )
    water_minor_per_m3 = WholeField("price of a cubic metre of water", default=400)
    packing_minor_per_sheet = WholeField("packing a sheet", default=5)
    price_by = models.CharField(max_length=8, choices=PriceBy.choices, default=PriceBy.MARGIN)
    price_rate = models.DecimalField(
        "rate of markup or margin",
        max_digits=7,
        decimal_places=6,
        default=Decimal("0.3"),
        validators=[MinValueValidator(0), MaxValueValidator(9)],
    )
    tax_rate = ShareField("tax added to the price", default=Decimal("0"))
    making_days = models.PositiveIntegerField(
        "days to form, dry and pack a commission",
        default=7,
        validators=[MaxValueValidator(365)],
    )
    furnish_consistency = ShareField(
        "consistency at which stuff is made up", default=Decimal("0.02")
    )
    vat_consistency = ShareField(
        "consistency of the vat where no draw is known", default=Decimal("0.005")
    )
    couched_solids = ShareField("fibre in a sheet as couched", default=Decimal("0.175"))
    grammage_tolerance = ShareField(
        "how far a sheet may fall short of its grammage", default=Decimal("0.1")
    )
    beater_least_mg = WholeField("smallest beater load, oven-dry", default=340_000)
    beater_most_mg = WholeField("largest beater load, oven-dry", default=900_000)
    blender_mg = WholeField("blender load, oven-dry", default=27_000)
    blender_litres = models.DecimalField(
        "water in a blender load, litres",
        max_digits=6,
        decimal_places=3,
        default=Decimal("1.25"),
        validators=[MinValueValidator(Decimal("0.1"))],
    )
    pulls_a_day = models.PositiveIntegerField(
        "pulls that vat and press manage in a day",
        null=True,
        blank=True,
        validators=[MinValueValidator(1)],
    )
    sizing_cure_days = models.PositiveIntegerField(
        "days that sizing takes to cure", default=7, validators=[MaxValueValidator(365)]
    )
    packing_days = models.PositiveIntegerField(
        "days to sort and pack", default=1, validators=[MaxValueValidator(365)]
    )
    retree_price_share = ShareField("price of retree, as a share of good", default=Decimal("0.9"))
    book_cost = models.CharField(
        "how the book cost of fibre is kept",
        max_length=8,
        choices=BookCost.choices,
        default=BookCost.FIRST_IN_FIRST_OUT,
    )
    price_spread = ShareField(
        "how far the price of fibre may move either way", default=Decimal("0.1")
    )
    minutes_spread = ShareField(
        "how far the minutes of a making may move either way", default=Decimal("0.2")
    )
    quote_days = models.PositiveIntegerField(
        "days that a quote holds",
        default=30,
        validators=[MinValueValidator(1), MaxValueValidator(365)],
    )
    quote_deposit = ShareField("deposit, as a share of the price", default=Decimal("0.5"))
    quote_includes = models.TextField("what the price of a quote includes", blank=True)
    size_tolerance_um = WholeField("how far a side of a sheet may differ", default=4000)
    aims = models.CharField(
        "what comes first when lots are chosen",
        max_length=12,
        choices=Aims.choices,
        default=Aims.RECIPE_FIRST,
    )

    # Set on the row that pages are shown with: its units may be those of one person.
    is_as_seen = False

    class Meta:
        verbose_name = "studio"
        constraints = [
            models.CheckConstraint(
                name="studio_is_one_row",
                condition=models.Q(pk=1),
                violation_error_message="There is one studio, and it is set up already.",
            )
        ]

    def __str__(self) -> str:
        return self.name

    def save(self, *args: Any, **kwargs: Any) -> None:
        """Keep the row, unless it carries the units of one person."""
        if self.is_as_seen:
            message = "This is the studio as one person sees it. Change Studio.current() instead."
            raise TypeError(message)
        super().save(*args, **kwargs)

    @classmethod
    def current(cls) -> Studio:
        """Return the studio, or one with every default where none has been set up."""
        return cls.objects.filter(pk=1).first() or cls(pk=1)

    @classmethod
    def seen_by(cls, user: Any) -> Studio:
        """Return the studio in the units that a person chose, for pages; it cannot be saved."""
        chosen = Preference.objects.filter(user_id=getattr(user, "pk", None)).values("units")
        row = cls.objects.annotate(own_units=models.Subquery(chosen[:1])).filter(pk=1).first()
        if row is None:
            # Nobody has chosen anything where no studio is set up.
            row = cls(pk=1)
        row.units, row.is_as_seen = getattr(row, "own_units", "") or row.units, True
        return row


class Preference(models.Model):
    """What one person chose for their own pages."""

    user = models.OneToOneField(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="preference"
    )
    units = models.CharField(max_length=8, choices=Studio.Units.choices, blank=True)

    def __str__(self) -> str:
        return f"{self.user}: {self.units or 'as the studio'}"


class AccessToken(Closable):
    """A key with which another program reads as one person; only its digest is kept."""

    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="access_tokens"
    )
    name = models.CharField("what it is for", max_length=60)
    digest = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField(auto_now_add=True)
    used_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return self.name


class Mould(Closable):
    """A mould by the opening inside its deckle."""

    name = models.CharField(max_length=60, unique=True)
    width_um = WholeField("opening, across")
    height_um = WholeField("opening, along")
    draw_um = WholeField("draw: depth of vat whose fibre stays on it", null=True, blank=True)
    remarks = models.TextField(blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        """Return the page where the mould is changed."""
        return reverse("mould", args=[self.pk])


class Vat(Closable):
    """A vat by its inside plan and the depth it is worked at."""

    name = models.CharField(max_length=60, unique=True)
    width_um = WholeField("inside, across")
    height_um = WholeField("inside, along")
    depth_um = WholeField("working depth")
    remarks = models.TextField(blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        """Return the page where the vat is changed."""
        return reverse("vat", args=[self.pk])

    @property
    def litres(self) -> Decimal:
        """What it holds at its working depth."""
        return Decimal(self.width_um * self.height_um * self.depth_um) / Decimal(10**15)

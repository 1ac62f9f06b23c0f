"""One run at the vat: what is planned, what is noted at the vat, and what came of it."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from fibres.models import Addition, Drying, Fibre, Lot, Movement
from orders.models.commissions import Commission, Sheet
from studio.models import Closable, Mould, ShareField, Vat, WholeField

MOST_SHEETS = 1_000_000
COUNT_LIMITS = [MaxValueValidator(MOST_SHEETS)]


class Dryer(Closable):
    """A dryer, loft or set of boards, by what it holds and how long that takes."""

    name = models.CharField(max_length=60, unique=True)
    drying = models.CharField(max_length=10, choices=Drying.choices, default=Drying.RESTRAINT)
    pulls_per_load = models.PositiveIntegerField(
        "pulls in a load", validators=[MinValueValidator(1), MaxValueValidator(100_000)]
    )
    days_per_load = models.DecimalField(
        "days a load takes",
        max_digits=5,
        decimal_places=2,
        validators=[MinValueValidator(Decimal("0.05")), MaxValueValidator(365)],
    )

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        """Return the page where the dryer is changed."""
        return reverse("dryer", args=[self.pk])


class Making(models.Model):
    """One run at the vat for one sheet, for a commission or for the studio's own stock.

    Until it is finished nothing in the store has moved: what is noted at the vat lies in rows of
    its own, and finishing posts all of it in one transaction.
    """

    class State(models.TextChoices):
        PLANNED = "planned", "Planned"
        AT_THE_VAT = "at the vat", "At the vat"
        FINISHED = "finished", "Finished"
        GIVEN_UP = "given up", "Given up"

    class Heel(models.TextChoices):
        NOT_SAID = "", "Not said yet"
        KEPT = "kept", "Kept as a lot"
        THROWN = "thrown", "Thrown away"
        NONE = "none", "Nothing left"

    MARKS = {
        State.PLANNED: "agreed",
        State.AT_THE_VAT: "making",
        State.FINISHED: "closed",
        State.GIVEN_UP: "closed",
    }
    OPEN = (State.PLANNED, State.AT_THE_VAT)

    ref = models.CharField(max_length=16, unique=True)
    sheet = models.ForeignKey(Sheet, on_delete=models.PROTECT, related_name="makings")
    commission = models.ForeignKey(
        Commission, on_delete=models.PROTECT, related_name="makings", null=True, blank=True
    )
    wanted_good = models.PositiveIntegerField(
        "good sheets wanted", validators=[MinValueValidator(1), *COUNT_LIMITS]
    )
    pulls = models.PositiveIntegerField(
        "pulls to form", validators=[MinValueValidator(1), *COUNT_LIMITS]
    )
    planned_on = models.DateField("day at the vat")
    state = models.CharField(max_length=10, choices=State.choices, default=State.PLANNED)
    mould = models.ForeignKey(
        Mould, on_delete=models.PROTECT, related_name="makings", null=True, blank=True
    )
    vat = models.ForeignKey(
        Vat, on_delete=models.PROTECT, related_name="makings", null=True, blank=True
    )
    dryer = models.ForeignKey(
        Dryer, on_delete=models.PROTECT, related_name="makings", null=True, blank=True
    )
    drying = models.CharField(max_length=10, choices=Drying.choices, default=Drying.RESTRAINT)
    consistency = ShareField("consistency of the vat", null=True, blank=True)
    thick_consistency = ShareField("consistency of what tops it up", default=Decimal("0.02"))
    beaten_minutes = models.PositiveIntegerField("beaten, minutes", null=True, blank=True)
    repeats = models.ForeignKey(
        "self", on_delete=models.PROTECT, related_name="repeated_by", null=True, blank=True
    )
    started_at = models.DateTimeField(null=True, blank=True, editable=False)
    finished_on = models.DateField(null=True, blank=True, editable=False)
    heel = models.CharField(
        "what is left in the vat", max_length=8, choices=Heel.choices, default="", blank=True
    )
    heel_fibre = models.ForeignKey(
        Fibre, on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    heel_as_is_mg = WholeField("heel, drained, as is", null=True, blank=True)
    heel_moisture = ShareField("moisture of the heel", null=True, blank=True)
    heel_lot = models.OneToOneField(
        Lot, on_delete=models.PROTECT, related_name="heel_of", null=True, editable=False
    )
    broke_fibre = models.ForeignKey(
        Fibre, on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    broke_as_is_mg = WholeField("broke and trimmings kept, as is", null=True, blank=True)
    broke_moisture = ShareField("moisture of the broke", null=True, blank=True)
    broke_lot = models.OneToOneField(
        Lot, on_delete=models.PROTECT, related_name="broke_of", null=True, editable=False
    )
    sample = models.CharField("sample kept", max_length=40, blank=True)
    test_report = models.CharField("test report, number and day", max_length=120, blank=True)
    remarks = models.TextField(blank=True)

    class Meta:
        ordering = ["-planned_on", "-pk"]
        indexes = [models.Index(fields=["state", "planned_on"])]
        constraints = [
            models.CheckConstraint(
                name="making_forms_at_least_one_pull",
                condition=Q(pulls__gte=1, wanted_good__gte=1),
                violation_error_message="Give a whole number of pulls and sheets, 1 or more.",
            ),
            models.CheckConstraint(
                name="making_tops_up_with_some_fibre",
                condition=Q(thick_consistency__gt=0),
                violation_error_message="What tops up the vat must hold some fibre.",
            ),
        ]

    def __str__(self) -> str:
        return self.ref

    def get_absolute_url(self) -> str:
        """Return the page of the making."""
        return reverse("making", args=[self.ref])

    @property
    def is_open(self) -> bool:
        """Whether it can still be changed."""
        return self.state in self.OPEN

    @property
    def state_mark(self) -> tuple[str, str]:
        """The mark and the word of its state."""
        return self.MARKS[self.State(self.state)], str(self.get_state_display())


class Issue(models.Model):
    """What was weighed out of one lot; it has left the store once it has a movement."""

    making = models.ForeignKey(Making, on_delete=models.PROTECT, related_name="issues")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="issues")
    as_is_mg = WholeField("weighed out, as is")
    moisture = ShareField("moisture when weighed")
    oven_dry_mg = WholeField("weighed out, oven-dry")
    movement = models.OneToOneField(
        Movement, on_delete=models.PROTECT, related_name="issue", null=True, editable=False
    )
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                name="issue_holds_fibre",
                condition=Q(oven_dry_mg__gt=0, oven_dry_mg__lte=F("as_is_mg")),
                violation_error_message="Give a mass that holds some fibre.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.lot_id} {self.as_is_mg} mg"


class Dose(models.Model):
    """What was added to the fibre of a making beside fibre."""

    making = models.ForeignKey(Making, on_delete=models.PROTECT, related_name="doses")
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=16, choices=Addition.Kind.choices)
    mass_mg = WholeField("added, dry")
    bottle = models.CharField("bottle or pack", max_length=40, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["making", "name"],
                name="making_has_each_dose_once",
                violation_error_message="This is in the making already. Change its mass.",
            )
        ]

    def __str__(self) -> str:
        return self.name


class Post(models.Model):
    """One pile of felts and wet sheets, and what its sheets were when they were dry."""

    making = models.ForeignKey(Making, on_delete=models.PROTECT, related_name="posts")
    number = models.PositiveIntegerField("post of sheets", validators=[MinValueValidator(1)])
    pulls = models.PositiveIntegerField(default=0, validators=COUNT_LIMITS)
    good = models.PositiveIntegerField("good sheets", default=0, validators=COUNT_LIMITS)
    retree = models.PositiveIntegerField("retree sheets", default=0, validators=COUNT_LIMITS)
    broke = models.PositiveIntegerField("broke sheets", default=0, validators=COUNT_LIMITS)

    class Meta:
        ordering = ["number"]
        constraints = [
            models.UniqueConstraint(
                fields=["making", "number"],
                name="making_numbers_each_post_once",
                violation_error_message="This post is there already.",
            )
        ]

    def __str__(self) -> str:
        return f"post {self.number}"


class Fault(models.Model):
    """How often one fault was seen among the sheets of a post."""

    class Kind(models.TextChoices):
        THIN = "thin", "Thin place"
        HOLE = "hole", "Hole"
        DROP = "drop", "Water drop"
        CLOT = "clot", "Clot of fibre"
        BUBBLE = "bubble", "Bubble"
        TORN = "torn", "Torn in couching or parting"
        CREASE = "crease", "Crease or cockle"
        SPECK = "speck", "Speck or dirt"
        EDGE = "edge", "Bad deckle"
        LIGHT = "light", "Too light"
        HEAVY = "heavy", "Too heavy"

    post = models.ForeignKey(Post, on_delete=models.CASCADE, related_name="faults")
    kind = models.CharField(max_length=8, choices=Kind.choices)
    times = models.PositiveIntegerField(default=0, validators=COUNT_LIMITS)

    class Meta:
        ordering = ["kind"]
        constraints = [
            models.UniqueConstraint(fields=["post", "kind"], name="post_counts_each_fault_once")
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.times}"


class Spell(models.Model):
    """Minutes spent on one operation of a making, added up."""

    class Operation(models.TextChoices):
        SET_UP = "set up", "Setting up and clearing"
        PREPARE = "prepare", "Soaking, cooking and beating"
        FORM = "form", "Forming and couching"
        PRESS = "press", "Pressing and parting"
        DRY = "dry", "Loading and unloading the dryer"
        SIZE = "size", "Surface sizing"
        SORT = "sort", "Sorting and counting"
        TRIM = "trim", "Cutting and tearing"
        PACK = "pack", "Packing"

    making = models.ForeignKey(Making, on_delete=models.PROTECT, related_name="spells")
    operation = models.CharField(max_length=8, choices=Operation.choices)
    minutes = models.DecimalField(
        max_digits=8,
        decimal_places=2,
        default=Decimal("0"),
        validators=[MinValueValidator(0), MaxValueValidator(100_000)],
    )

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["making", "operation"], name="making_counts_each_operation_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.operation} {self.minutes}"


class TrialSheet(models.Model):
    """One sheet of a making, dried and weighed, and measured where somebody measured it."""

    # Its consistency is the one that the vat was charged to; later the vat has thinned.
    FIRST_PULL = 1

    making = models.ForeignKey(Making, on_delete=models.PROTECT, related_name="trial_sheets")
    number = models.PositiveIntegerField("pull", default=1, validators=[MinValueValidator(1)])
    mass_mg = WholeField("weighed, with its moisture")
    moisture = ShareField("moisture when weighed", default=Decimal("0.06"))
    consistency = ShareField("consistency of the vat then", null=True, blank=True)
    width_um = WholeField("dry size, across", null=True, blank=True)
    height_um = WholeField("dry size, along", null=True, blank=True)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"sheet {self.number}: {self.mass_mg} mg"

    @property
    def oven_dry_mg(self) -> Fraction:
        """The sheet without its water: its fibre, and what else is in it."""
        return self.mass_mg * (1 - Fraction(self.moisture))

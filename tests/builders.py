"""Rows for tests, each right by itself; a test names only what it is about."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta
from decimal import Decimal
from itertools import count
from typing import Any

from django.contrib.auth import get_user_model
from django.contrib.auth.models import AbstractUser, Group
from django.test import Client as Browser
from django.utils import timezone

from fibres import purchasing, stocktaking
from fibres.models import (
    Drying,
    Fibre,
    Furnish,
    FurnishPart,
    Lot,
    Offer,
    OfferBreak,
    Purchase,
    PurchaseLine,
    Shrinkage,
    Source,
    Stocktake,
)
from fibres.purchasing import Arrived
from fibres.services import Receipt, receive
from orders import parcels, quoting, sheetsinhand
from orders.models import (
    Client,
    Commission,
    Delivery,
    Dryer,
    Making,
    Quote,
    Sheet,
    SheetMovement,
)
from studio import people
from studio.entries import enter
from studio.models import Mould, Studio, Vat
from studio.roles import OWNER
from studio.units import to_mg

KG = 1_000_000
PASSWORD = "kozo and gampi 41"

_number = count(1)


def day(days_ago: int = 0) -> date:
    """Return the studio's today, or a day before it (after it, where below 0)."""
    return timezone.localdate() - timedelta(days=days_ago)


def make_user(role: str = "", *, name: str = "", password: str | None = None) -> AbstractUser:
    """Make an account with one role, or with none."""
    people.make_roles()
    name = name or f"{role or 'nobody'}{next(_number)}"
    user = get_user_model().objects.create_user(username=name, password=password)
    if role:
        user.groups.add(Group.objects.get(name=role))
    user.is_superuser = role == OWNER
    user.save()
    return user


def signed_in(user: AbstractUser) -> Browser:
    """Return a test client through whose session a person is signed in."""
    browser = Browser()
    browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return browser


def make_studio(**changes: Any) -> Studio:
    """Make or change the one studio."""
    studio = Studio.current()
    for name, value in changes.items():
        setattr(studio, name, value)
    studio.full_clean()
    studio.save()
    return studio


def make_mould(**changes: Any) -> Mould:
    """Make a mould whose opening is 320 × 450 mm."""
    return _kept(
        Mould,
        {"name": f"Mould {next(_number)}", "width_um": 320_000, "height_um": 450_000},
        changes,
    )


def make_vat(**changes: Any) -> Vat:
    """Make a vat of 600 × 500 mm that is worked 200 mm deep: 60 litres."""
    return _kept(
        Vat,
        {
            "name": f"Vat {next(_number)}",
            "width_um": 600_000,
            "height_um": 500_000,
            "depth_um": 200_000,
        },
        changes,
    )


def make_dryer(**changes: Any) -> Dryer:
    """Make a dryer that holds 50 pulls flat for two days."""
    return _kept(
        Dryer,
        {
            "name": f"Dryer {next(_number)}",
            "drying": Drying.RESTRAINT,
            "pulls_per_load": 50,
            "days_per_load": Decimal(2),
        },
        changes,
    )


def make_fibre(**changes: Any) -> Fibre:
    """Make a virgin fibre at 8 % moisture of which 95 % is left after preparation."""
    return _kept(
        Fibre,
        {
            "name": f"Abaca {next(_number)}",
            "code": "AB",
            "family": Fibre.Family.LEAF,
            "source_class": Fibre.SourceClass.VIRGIN,
        },
        changes,
    )


def make_source(**changes: Any) -> Source:
    """Make a supplier."""
    return _kept(
        Source,
        {"name": f"Tidewater Fibres {next(_number)}", "kind": Source.Kind.SUPPLIER},
        changes,
    )


def make_offer(
    fibre: Fibre | None = None,
    source: Source | None = None,
    *,
    breaks: Mapping[int, int] | None = None,
    **changes: Any,
) -> Offer:
    """Make an offer of 5 kg packs at 8 % moisture for 9.40 a kilogram as sold."""
    offer: Offer = _kept(
        Offer,
        {
            "fibre": fibre or make_fibre(),
            "source": source or make_source(),
            "pack_mg": 5 * KG,
            "moisture": Decimal("0.08"),
            "minor_per_kg": 940,
        },
        changes,
    )
    for from_packs, minor_per_kg in (breaks or {}).items():
        _kept(
            OfferBreak,
            {"offer": offer, "from_packs": from_packs, "minor_per_kg": minor_per_kg},
            {},
        )
    return offer


def make_purchase(
    *offers: Offer,
    packs: int = 3,
    is_planned: bool = False,
    received: int = 0,
    expected_on: date | None = None,
    freight_minor: int = 1_000,
    by: Any = None,
) -> Purchase:
    """Order 3 packs of each offer 20 days ago, as the service does; some may have come since."""
    offers = offers or (make_offer(),)
    lines = [purchasing.from_offer(offer, packs, on=day()) for offer in offers]
    terms = {"freight_minor": freight_minor, "by": by}
    if is_planned:
        return purchasing.plan(offers[0].source, lines, order_by=day(-10), **terms)
    purchase = purchasing.place(
        offers[0].source, lines, ordered_on=day(20), expected_on=expected_on or day(-5), **terms
    )
    if received:
        purchasing.receive(
            purchase,
            [arrived(line, received) for line in purchase.lines.all()],
            received_on=day(2),
            by=by,
        )
    return Purchase.objects.get(pk=purchase.pk)


def arrived(line: PurchaseLine, packs: int, **changes: Any) -> Arrived:
    """Return packs of a line that came as their label says."""
    return Arrived(
        **{
            "line": line,
            "packs": packs,
            "as_is_mg": packs * line.pack_mg,
            "moisture": line.moisture,
            **changes,
        }
    )


def make_lot(
    fibre: Fibre | None = None,
    source: Source | None = None,
    *,
    as_is_mg: int = 10 * KG,
    moisture: str | Decimal = "0.08",
    received_on: date | None = None,
    by: Any = None,
    **receipt: Any,
) -> Lot:
    """Receive 10 kg as is at 8 % moisture, 30 days ago, as the service does."""
    return receive(
        Receipt(
            fibre=fibre or make_fibre(),
            source=source or make_source(),
            as_is_mg=as_is_mg if isinstance(as_is_mg, int) else to_mg(as_is_mg),
            moisture=Decimal(moisture),
            received_on=received_on or day(30),
            **receipt,
        ),
        by=by,
    )


def make_stocktake(*lots: Lot, place: str = "", by: Any = None) -> Stocktake:
    """Begin to count the lots of a place, with one made for it where none is named.

    Whoever counts the same already is joined.
    """
    going_on = Stocktake.objects.filter(state=Stocktake.State.COUNTING, place=place).first()
    if going_on is not None:
        return going_on
    if not lots:
        make_lot(place=place)
    return stocktaking.begin(place, by=by)


def make_furnish(
    parts: Mapping[Fibre, str | Decimal] | None = None,
    *,
    shrinkage: tuple[str, str] | None = None,
    drying: str = Drying.RESTRAINT,
    **changes: Any,
) -> Furnish:
    """Make a furnish of fibres by share; of one fibre where none is given."""
    furnish = _kept(Furnish, {"name": f"Furnish {next(_number)}"}, changes)
    for fibre, share in (parts or {make_fibre(): "1"}).items():
        _kept(FurnishPart, {"furnish": furnish, "fibre": fibre, "share": Decimal(share)}, {})
    if shrinkage:
        across, along = map(Decimal, shrinkage)
        _kept(
            Shrinkage,
            {"furnish": furnish, "drying": drying, "across": across, "along": along},
            {},
        )
    return furnish


def make_client(**changes: Any) -> Client:
    """Make a client."""
    return _kept(Client, {"name": f"Bramble Letterpress {next(_number)}"}, changes)


def make_sheet(furnish: Furnish | None = None, **changes: Any) -> Sheet:
    """Make an A4 sheet of 120 g/m² with deckle edges."""
    return _kept(
        Sheet,
        {
            "name": f"Text A4 {next(_number)}",
            "width_um": 210_000,
            "height_um": 297_000,
            "grammage": Decimal(120),
            "furnish": furnish or make_furnish(),
        },
        changes,
    )


def make_commission(
    sheet: Sheet | None = None, client: Client | None = None, **changes: Any
) -> Commission:
    """Make an agreed commission for 100 good sheets in 30 days."""
    return _kept(
        Commission,
        {
            "ref": f"T-{next(_number):04d}",
            "title": "Wedding invitations",
            "client": client or make_client(),
            "sheet": sheet or make_sheet(),
            "good_quantity": 100,
            "due": day(-30),
            "state": Commission.State.AGREED,
        },
        changes,
    )


def make_making(
    sheet: Sheet | None = None, commission: Commission | None = None, **changes: Any
) -> Making:
    """Plan a making of 100 good sheets for today; for a commission its sheet."""
    return _kept(
        Making,
        {
            "ref": f"M-{next(_number):04d}",
            "sheet": sheet or (commission.sheet if commission else make_sheet()),
            "commission": commission,
            "wanted_good": 100,
            "pulls": 120,
            "planned_on": day(),
        },
        changes,
    )


def make_finished(
    commission: Commission | None = None,
    *,
    good: int = 100,
    retree: int = 0,
    broke: int = 0,
    finished_on: date | None = None,
    **changes: Any,
) -> Making:
    """Make a making that was finished three days ago: one post, and its sheets in hand."""
    on = finished_on or day(3)
    making = make_making(commission=commission, planned_on=on, **changes)
    making.state, making.finished_on = Making.State.FINISHED, on
    making.save()
    making.posts.create(number=1, good=good, retree=retree, broke=broke)
    entry = enter("finish making", f"Finished {making.ref}", page="/", key=None, by=None)
    for quality, sheets in (("good", good), ("retree", retree)):
        if sheets:
            SheetMovement.objects.create(
                making=making,
                quality=quality,
                kind=SheetMovement.Kind.MADE,
                sheets=sheets,
                happened_on=on,
                entry=entry,
            )
    return making


def make_quote(
    sheet: Sheet | None = None,
    client: Client | None = None,
    *,
    commission: Commission | None = None,
    is_issued: bool = False,
    by: Any = None,
    **changes: Any,
) -> Quote:
    """Draft a quote for 100 good sheets that holds for 30 days, as the service does; or issue it.

    A sheet that is made for it is of a fibre that came as a gift, so that its price is known.
    """
    if commission is None and sheet is None:
        fibre = make_fibre()
        make_lot(fibre, paid_minor=0)
        sheet = make_sheet(make_furnish({fibre: "1"}))
    usual = {"good_quantity": 100, "valid_until": day(-30), "title": "Menus for a supper"}
    quote = Quote(
        commission=commission,
        client=client or (commission.client if commission else make_client()),
        sheet=sheet or (commission.sheet if commission else None),
        **{**usual, **changes},
    )
    quoting.draft(quote, by=by)
    if is_issued:
        quoting.issue(quote, by=by, without_price=True)
    return Quote.objects.get(pk=quote.pk)


def make_delivery(
    commission: Commission | None = None, *, good: int = 40, retree: int = 2, by: Any = None
) -> Delivery:
    """Send 40 good and 2 retree sheets of a making of 100, as the service does."""
    commission = commission or make_commission()
    making = make_finished(commission, retree=retree)
    rows = [sheetsinhand.Sending(making, "good", good)]
    rows += [sheetsinhand.Sending(making, "retree", retree)] if retree else []
    note = sheetsinhand.ParcelNote(sent_on=day(1), sent_to="Bramble House", sheet_mg=7_400)
    return parcels.send(commission, rows, note, by=by)


def make_spoilt(making: Making | None = None, *, sheets: int = 3) -> SheetMovement:
    """Enter good sheets of a finished making as spoilt, as the service does."""
    making = making or make_finished()
    sheetsinhand.spoil(making, "good", sheets, happened_on=day(1), why="Damp", by=None)
    return making.sheet_movements.filter(kind="spoilt").latest("pk")


def _kept(model: Any, usual: dict[str, Any], changes: dict[str, Any]) -> Any:
    row = model(**{**usual, **changes})
    row.full_clean()
    row.save()
    return row

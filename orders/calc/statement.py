"""What may be said of the fibre in a making: recycled content, and how long it is aimed to last.

Everything is reckoned from what was issued, not from what the recipe meant. Masses are whole
milligrams of usable fibre: oven-dry as issued, less what preparation takes, because a claim is
about what is in the sheet.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import floor

from studio.errors import RangeError
from studio.units import NO_BREAK_SPACE, System, show_mass, show_share
from studio.working import Line

VIRGIN, PRE_CONSUMER, POST_CONSUMER, IN_HOUSE = CLASSES = (
    "virgin", "pre-consumer", "post-consumer", "in-house",
)  # fmt: skip
WORDS = {
    POST_CONSUMER: "Post-consumer",
    PRE_CONSUMER: "Pre-consumer",
    IN_HOUSE: "Own broke and heel",
    VIRGIN: "Virgin",
}
FROM_ISSUED = "from what was issued"
FROM_FURNISH = "as planned, to be confirmed from what goes into the vat"
BECAUSE = {
    POST_CONSUMER: "counts as recycled",
    PRE_CONSUMER: "counts as recycled",
    IN_HOUSE: "does not count as recycled (ISO 14021)",
    VIRGIN: "",
}


@dataclass(frozen=True, slots=True)
class IssuedFibre:
    """Usable fibre that one lot gave to a making.

    ``is_own`` marks broke or a heel of an earlier making, whatever fibre it is entered as.
    """

    fibre: str
    source_class: str
    usable_mg: int
    is_own: bool = False

    @property
    def counts_as(self) -> str:
        """The class that it counts as."""
        return IN_HOUSE if self.is_own else self.source_class


@dataclass(frozen=True, slots=True)
class ClaimBeside:
    """A claim of at least so much recycled fibre, beside the share that was issued."""

    claim: Fraction
    found: Fraction

    @property
    def is_kept(self) -> bool:
        """Whether at least so much of the fibre issued counts as recycled."""
        return self.found >= self.claim

    @property
    def by(self) -> Fraction:
        """How far the share is above the claim; below 0 where it falls short of it."""
        return self.found - self.claim

    def words(self) -> str:
        """Say whether the claim is kept, and by how much; rounded so that it says no more."""
        said = f"At least {show_share(self.claim)} recycled was agreed: "
        tenths = floor(self.by * 1000)
        off = f"{show_share(Fraction(abs(tenths), 1000))} of the fibre"
        if not self.is_kept:
            return f"{said}not kept, {off} too little, from what was issued."
        over = f"{off} to spare" if tenths else "with nothing to spare"
        return f"{said}kept, {over}, from what was issued."


@dataclass(frozen=True, slots=True)
class FibreStatement:
    """How much of the fibre issued is of which class, in usable milligrams."""

    virgin_mg: int
    pre_consumer_mg: int
    post_consumer_mg: int
    in_house_mg: int

    @property
    def total_mg(self) -> int:
        """All fibre that was issued."""
        return sum(mass for _, mass in self._by_class())

    @property
    def recycled_mg(self) -> int:
        """What counts as recycled: pre- and post-consumer, and nothing of the studio's own."""
        return self.pre_consumer_mg + self.post_consumer_mg

    @property
    def recycled_share(self) -> Fraction:
        """The recycled share, exactly; 0 where nothing was issued."""
        return self._share(self.recycled_mg)

    @property
    def recycled_percent(self) -> int:
        """The recycled share in whole percent, rounded down so that no claim says too much."""
        return _percent(self.recycled_share)

    def reaches(self, share: Decimal) -> bool:
        """Tell whether a claim of at least so much recycled fibre holds."""
        return self.beside(share).is_kept

    def beside(self, claim: Decimal) -> ClaimBeside:
        """Hold a claim of at least so much recycled fibre beside what was issued."""
        return ClaimBeside(claim=Fraction(claim), found=self.recycled_share)

    def lines(self, system: System = "metric") -> list[Line]:
        """Set out each class with its mass and share, then what counts as recycled."""
        lines = [
            Line(
                WORDS[name],
                show_mass(mass, system=system),
                ", ".join(filter(None, (show_share(self._share(mass)), BECAUSE[name]))),
            )
            for name, mass in self._by_class()
            if mass
        ]
        total = show_mass(self.total_mg, system=system)
        return [
            *lines,
            Line("Fibre in the sheets", total, "usable fibre, from what was issued", "line"),
            Line(
                "Recycled",
                f"{self.recycled_percent}{NO_BREAK_SPACE}%",
                "by mass, rounded down to a whole percent",
                "answer",
            ),
        ]

    def sentences(self, whence: str = FROM_ISSUED) -> str:
        """Say what may be claimed, in sentences that can be sent to a client.

        ``whence`` says what it is reckoned from.
        """
        if not self.total_mg:
            return "Nothing was issued, so nothing can be said of its fibre."
        return " ".join(filter(None, (self._recycled_words(whence), self._own_words())))

    def _recycled_words(self, whence: str) -> str:
        if not self.recycled_mg:
            return "Nothing in it counts as recycled."
        share = _percent_words(self.recycled_share)
        if self.pre_consumer_mg and self.post_consumer_mg:
            post, pre = (
                _percent_words(self._share(mass))
                for mass in (self.post_consumer_mg, self.pre_consumer_mg)
            )
            kinds = f"{post} post-consumer, {pre} pre-consumer"
        else:
            kind = "post-consumer" if self.post_consumer_mg else "pre-consumer"
            kinds = f"all of that {kind}"
        return f"{share} recycled by mass of fibre, {kinds}, {whence}."

    def _own_words(self) -> str:
        if not self.in_house_mg:
            return ""
        share = show_share(self._share(self.in_house_mg))
        return (
            f"Own broke and heel is {share} of it and does not count as recycled (ISO"
            f"{NO_BREAK_SPACE}14021)."
        )

    def _share(self, mass_mg: int) -> Fraction:
        return Fraction(mass_mg, self.total_mg) if self.total_mg else Fraction(0)

    def _by_class(self) -> tuple[tuple[str, int], ...]:
        return (
            (POST_CONSUMER, self.post_consumer_mg),
            (PRE_CONSUMER, self.pre_consumer_mg),
            (IN_HOUSE, self.in_house_mg),
            (VIRGIN, self.virgin_mg),
        )


def _percent(share: Fraction) -> int:
    return int(share * 100)


def _percent_words(share: Fraction) -> str:
    percent = _percent(share)
    if not percent:
        return f"Less than 1{NO_BREAK_SPACE}%"
    return f"{percent}{NO_BREAK_SPACE}%"


def fibre_statement(issued: Sequence[IssuedFibre]) -> FibreStatement:
    """Return what may be said of the fibre of a making, by the mass that was issued.

    Parameters
    ----------
    issued : sequence of IssuedFibre [mg]
        What each lot gave, in usable fibre; several of one fibre are added up.

    Returns
    -------
    FibreStatement [mg]
        Usable fibre by class.

    Raises
    ------
    RangeError
        If a mass is below 0 or a class is none of the four.

    Notes
    -----
    Recycled content is a share of mass in the product; only pre- and post-consumer material
    counts. Broke, trimmings and heel that go back into the process they came from do not, but
    they weigh in the whole. It holds for one making, not for an average over several.
    Source: [ISO14021].

    Examples
    --------
    >>> parts = [
    ...     IssuedFibre("White office paper", "post-consumer", 750_000),
    ...     IssuedFibre("Own broke", "in-house", 100_000),
    ...     IssuedFibre("Cotton linter", "virgin", 150_000),
    ... ]
    >>> fibre_statement(parts).recycled_percent
    75
    """
    sums = dict.fromkeys(CLASSES, 0)
    for one in issued:
        if one.counts_as not in sums:
            known = ", ".join(CLASSES)
            raise RangeError(
                f"{one.fibre}: {one.source_class!r} is no class of fibre. Known are {known}.",
                field="source_class",
                value=one.source_class,
            )
        if one.usable_mg < 0:
            raise RangeError(
                f"{one.fibre}: the fibre issued must be 0 mg or more, got {one.usable_mg} mg.",
                field="usable_mg",
                value=one.usable_mg,
            )
        sums[one.counts_as] += one.usable_mg
    return FibreStatement(
        virgin_mg=sums[VIRGIN],
        pre_consumer_mg=sums[PRE_CONSUMER],
        post_consumer_mg=sums[POST_CONSUMER],
        in_house_mg=sums[IN_HOUSE],
    )


def permanence(
    fibres: Sequence[str],
    *,
    additions: Sequence[str] = (),
    may_carry_wood: bool = False,
    report: str = "",
    is_made: bool = True,
) -> str:
    r"""Return what may be said of how long the sheets of a making last.

    Parameters
    ----------
    fibres : sequence of str [-]
        Names of the fibres in it, the largest first.
    additions : sequence of str [-]
        Names of what was added.
    may_carry_wood : bool [-]
        Whether waste paper, or broke of unknown paper, is in it, which may carry mechanical
        pulp and its lignin.
    report : str [-]
        Number and day of a test report; empty where there is none.
    is_made : bool [-]
        Whether the sheets are there already, or only offered.

    Returns
    -------
    str [-]
        Two sentences. Without a report they never say more than what was aimed at.

    Raises
    ------
    RangeError
        If no fibre is named.

    Notes
    -----
    ISO 9706 asks for pH, alkaline reserve, lignin and tear, which only a laboratory measures;
    the studio knows what went in. Does not judge whether the furnish could pass.
    Source: [ISO9706].

    Examples
    --------
    >>> permanence(["Cotton linter"], additions=["Calcium carbonate"])
    'Made with Cotton linter and Calcium carbonate. Aimed at permanence, not tested to
    ISO\xa09706.'
    """
    if not fibres:
        raise RangeError("Name at least one fibre: nothing was issued.", field="fibres")
    made = f"{'Made' if is_made else 'To be made'} with {_listed([*fibres, *additions])}."
    if report:
        return f"{made} Tested, see report {report}."
    if may_carry_wood:
        return (
            f"{made} No claim of permanence: waste paper, and broke of it, may carry mechanical "
            f"pulp, and it is not tested to ISO{NO_BREAK_SPACE}9706."
        )
    return f"{made} Aimed at permanence, not tested to ISO{NO_BREAK_SPACE}9706."


def _listed(names: Sequence[str]) -> str:
    """Join names with commas and a last "and", each once."""
    *first, last = dict.fromkeys(names)
    return f"{', '.join(first)} and {last}" if first else last

"""Which copies are kept: 7 daily, 5 weekly, 12 monthly, by the studio's own days."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from studio.copies import naming
from studio.copies.naming import Kept, copy_name, read_name, superfluous

LONDON = ZoneInfo("Europe/London")
AUCKLAND = ZoneInfo("Pacific/Auckland")
MOST_KEPT = 7 + 5 + 12


def at(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


def copies(*moments: str) -> list[Kept]:
    return [Kept(moment, at(moment)) for moment in moments]


def daily(first: str, last: str) -> list[Kept]:
    day, found = at(first), []
    while day <= at(last):
        found.append(Kept(day.date().isoformat(), day))
        day += timedelta(days=1)
    return found


def kept(made: list[Kept], zone=UTC) -> set[str]:
    return {one.name for one in made} - set(superfluous(made, zone=zone))


def test_a_winter_of_daily_copies_by_hand():
    # 1 March 2026 is a Sunday, the last day of its week.
    days = {f"2026-02-{day}" for day in (23, 24, 25, 26, 27, 28)} | {"2026-03-01"}
    weeks = {"2026-03-01", "2026-02-22", "2026-02-15", "2026-02-08", "2026-02-01"}
    months = {"2026-03-01", "2026-02-28", "2026-01-31", "2025-12-31", "2025-11-30", "2025-10-31"}
    made = daily("2025-10-01T12:00", "2026-03-01T12:00")
    assert kept(made) == days | weeks | months


def test_after_two_years_no_more_are_kept_than_the_rule_names():
    found = kept(daily("2024-01-01T12:00", "2026-03-01T12:00"))
    assert "2025-04-30" in found
    assert "2025-03-31" not in found
    assert len(found) <= MOST_KEPT


def test_the_last_of_a_day_stays_and_the_earlier_ones_go():
    made = copies("2026-11-28T08:00", "2026-11-28T20:00", "2026-11-29T08:00")
    assert superfluous(made, zone=UTC) == ["2026-11-28T08:00"]


def test_copies_after_a_long_pause_do_not_push_out_the_old_ones():
    made = copies("2020-05-01T08:00", "2023-07-09T08:00", "2026-11-29T08:00")
    assert superfluous(made, zone=UTC) == []


def test_the_hour_that_comes_twice_is_of_one_day():
    # Clocks in London go back on 25 October 2026 at 01:00 UTC: 01:30 is there twice.
    made = copies("2026-10-25T00:30", "2026-10-25T01:30")
    assert {one.at.astimezone(LONDON).strftime("%H:%M") for one in made} == {"01:30"}
    assert superfluous(made, zone=LONDON) == ["2026-10-25T00:30"]


def test_a_night_without_its_hour_parts_days_where_the_studio_does():
    # Clocks in London go forward on 29 March 2026; 23:30 UTC is 00:30 of the next day from then.
    made = copies("2026-03-28T23:30", "2026-03-29T22:30", "2026-03-29T23:30")
    assert superfluous(made, zone=LONDON) == []
    assert superfluous(made, zone=UTC) == ["2026-03-29T22:30"]


def test_days_are_those_of_the_studio():
    # 23:30 on 1 January and 00:30 on 2 January in Auckland, thirteen hours ahead.
    made = copies("2026-01-01T10:30", "2026-01-01T11:30")
    assert superfluous(made, zone=AUCKLAND) == []
    assert superfluous(made, zone=UTC) == ["2026-01-01T10:30"]


def test_leap_day_stands_for_its_february():
    made = daily("2028-02-01T12:00", "2028-06-30T12:00")
    assert "2028-02-29" in kept(made)
    assert "2028-02-28" not in kept(made)


def test_new_years_day_may_be_of_the_last_week_of_the_old_year():
    # Friday, 1 January 2027 is of week 53 of 2026, as 31 December is: one week, not two, so that
    # Sunday, 27 December is the fifth. 1 to 7 February are one week and the seven days.
    week_before, old, new = "2026-12-27T12:00", "2026-12-31T12:00", "2027-01-01T12:00"
    january = [f"2027-01-{day}T12:00" for day in (24, 31)]
    february = [f"2027-02-{day:02}T12:00" for day in range(1, 8)]
    older = "2026-12-20T12:00"
    made = copies(older, week_before, old, new, *january, *february)
    assert superfluous(made, zone=UTC) == [older]


@given(
    st.lists(
        st.datetimes(min_value=datetime(2020, 1, 1), max_value=datetime(2032, 1, 1)),  # noqa: DTZ001
        max_size=60,
    )
)
def test_the_newest_never_goes_and_the_rule_is_done_in_one_go(moments):
    made = [Kept(str(number), at(str(moment))) for number, moment in enumerate(moments)]
    for zone in (UTC, LONDON, AUCKLAND):
        gone = set(superfluous(made, zone=zone))
        left = [one for one in made if one.name not in gone]
        assert superfluous(left, zone=zone) == []
        assert len(left) <= MOST_KEPT
        if made:
            newest = max(made, key=lambda one: one.at)
            assert max(one.at for one in left) == newest.at


def test_name_is_read_back_as_the_moment_it_was_made():
    moment = at("2026-11-29T18:53:12")
    name = copy_name("halfstuff", ".sqlite3", moment)
    assert name == "halfstuff-2026-11-29T18-53-12Z.sqlite3"
    assert read_name(name, "halfstuff", ".sqlite3") == Kept(name, moment)


def test_name_that_is_taken_gets_a_number_and_counts_as_the_newer():
    moment = at("2026-11-29T18:53:12")
    first = copy_name("halfstuff", ".sqlite3", moment)
    second = copy_name("halfstuff", ".sqlite3", moment, taken={first})
    read = [read_name(name, "halfstuff", ".sqlite3") for name in (first, second)]
    assert second == "halfstuff-2026-11-29T18-53-12Z-2.sqlite3"
    assert superfluous(filter(None, read), zone=UTC) == [first]


@pytest.mark.parametrize(
    "name",
    [
        "halfstuff.sqlite3",
        "halfstuff-2026-11-29.sqlite3",
        "halfstuff-2026-13-29T18-53-12Z.sqlite3",
        "halfstuff-2026-02-29T18-53-12Z.sqlite3",
        "halfstuff-2026-11-29T18-53-12Z.sqlite3.sha256",
        "halfstuff-2026-11-29T18-53-12Z.dump",
        "halfstuff-before-upgrade-2026-11-29T18-53-12Z.sqlite3",
        "halfstuff-set-aside-2026-11-29T18-53-12Z.sqlite3",
        "my halfstuff-2026-11-29T18-53-12Z.sqlite3",
        "demo-2026-11-29T18-53-12Z.sqlite3",
        ".halfstuff-2026-11-29T18-53-12Z.sqlite3.part",
        "halfstuff-٢٠٢٦-11-29T18-53-12Z.sqlite3",
        "halfstuff-2026-11-29T18-53-12Z.sqlite3\n",
    ],
)
def test_what_was_named_otherwise_is_no_copy_of_ours(name):
    assert read_name(name, "halfstuff", ".sqlite3") is None


def test_database_names_that_no_disk_takes_become_plain():
    assert naming.stem_of("../../etc") == "etc"
    assert naming.stem_of("") == "studio"

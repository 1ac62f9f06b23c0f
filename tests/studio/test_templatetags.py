import datetime
from decimal import Decimal

import pytest
import time_machine
from django.template import Context, Template, TemplateSyntaxError
from django.utils.safestring import SafeString

from studio.templatetags import studio as tags
from studio.units import Q

TODAY = datetime.datetime(2026, 11, 25, 12, tzinfo=datetime.UTC)


def rendered(source, **context):
    return Template("{% load studio %}" + source).render(Context(context))


@pytest.mark.parametrize(
    ("source", "value", "words"),
    [
        ("{{ value|mass }}", 14_620_000, "14.62\u00a0kg"),
        ("{{ value|mass }}", 7_040, "7.04\u00a0g"),
        ("{{ value|mass }}", Q("2.5", "kg"), "2.50\u00a0kg"),
        ("{{ value|mass:'US' }}", 2_267_962, "5\u00a0lb\u00a00.0\u00a0oz"),
        ("{{ value|kg }}", 14_620_000, "14.62"),
        ("{{ value|kg }}", -410_000, "\u22120.41"),
        ("{{ value|kg:3 }}", 360_000, "0.360"),
        ("{{ value|kg }}", 0, "0"),
        ("{{ value|grams }}", 7_040, "7.04\u00a0g"),
        ("{{ value|share }}", Decimal("0.065"), "6.5\u00a0%"),
        ("{{ value|grammage }}", Decimal("110"), "110\u00a0g/m²"),
        ("{{ value|measure }}", 391_500, "391.5\u00a0mm"),
        ("{{ value|number }}", 1250, "1250"),
        ("{{ value|money:'GBP' }}", 1250, "£12.50"),
        ("{{ value|money:'GBP' }}", -1250, "\u2212£12.50"),
        ("{{ value|money:'SEK' }}", 1250, "12.50\u00a0SEK"),
        ("{{ value|money:'JPY' }}", 1250, "¥1250"),
        ("{{ value|figure:'GBP' }}", 1250, "12.50"),
        ("{{ value|figure:'GBP' }}", 0, "0.00"),
        ("{{ value|in_words }}", 10, "ten"),
        ("{{ value|in_words }}", 11, "11"),
        ("{{ value|spell }}", datetime.timedelta(minutes=15), "15 minutes"),
        ("{{ value|spell }}", datetime.timedelta(seconds=1), "1 minute"),
        ("{{ value|spell }}", datetime.timedelta(hours=24), "24 hours"),
        ("{{ value|spell }}", datetime.timedelta(minutes=121), "3 hours"),
    ],
)
def test_value_is_worded(source, value, words):
    assert rendered(source, value=value) == words


@pytest.mark.parametrize("value", [None, ""])
@pytest.mark.parametrize(
    "filter_", ["mass", "kg", "grams", "share", "grammage", "measure", "number", "money:'GBP'",
                "figure:'GBP'", "day", "spell", "code"],
)  # fmt: skip
def test_figure_that_does_not_apply_is_an_empty_cell(filter_, value):
    assert rendered("{{ value|" + filter_ + "|default_if_none:'None' }}", value=value) == ""


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (datetime.date(2026, 11, 26), "Thu 26 Nov"),
        (datetime.date(2027, 1, 8), "Fri 8 Jan 2027"),
        (datetime.date(2025, 12, 31), "Wed 31 Dec 2025"),
        (datetime.datetime(2026, 12, 1, 9, tzinfo=datetime.UTC), "Tue 1 Dec"),
        (datetime.datetime(2026, 12, 1, 9), "Tue 1 Dec"),  # noqa: DTZ001
    ],
)
def test_day_names_the_year_only_when_it_is_not_this_one(value, words):
    with time_machine.travel(TODAY, tick=False):
        assert rendered("{{ value|day }}", value=value) == words


def test_size_is_worded_from_two_numbers_and_empty_without_them():
    assert rendered("{% size_um 460000 320000 %}") == ("460\u00a0×\u00a0320\u00a0mm")
    assert rendered("{% size_um 215900 279400 'US' %}") == "8.5\u00a0×\u00a011\u00a0in"
    assert rendered("{% size_um width 320000 %}", width=None) == ""


def test_code_does_not_break_and_is_escaped():
    assert rendered("{{ value|code }}", value="C-118") == '<span class="code">C-118</span>'
    assert rendered("{{ value|code }}", value="<b>") == '<span class="code">&lt;b&gt;</span>'
    assert isinstance(tags.code("C-118"), SafeString)


@pytest.mark.parametrize(
    ("sentence", "html"),
    [
        ("C-003 lacks it.", '<span class="code">C-003</span> lacks it.'),
        (
            "Give AB-0003, or wait for P-001/1.",
            'Give <span class="code">AB-0003</span>, or wait for '
            '<span class="code">P-001/1</span>.',
        ),
        ("(C-1)", '(<span class="code">C-1</span>)'),
        # No codes: a word, a day, four letters, and what goes on after the figures.
        ("half-stuff, 2026-11-25, ABCD-1, C-1b, A-C-1",) * 2,
        ("<b>C-1</b> & co", '&lt;b&gt;<span class="code">C-1</span>&lt;/b&gt; &amp; co'),
        ("<a href='/C-1/'>", '&lt;a href=&#x27;/<span class="code">C-1</span>/&#x27;&gt;'),
        # What is safe already is neither escaped again nor broken inside a tag.
        (
            SafeString('<a href="/C-1/">C-1</a> &amp; co'),
            '<a href="/C-1/"><span class="code">C-1</span></a> &amp; co',
        ),
        ("", ""),
        (None, ""),
    ],
)
def test_codes_in_a_sentence_do_not_break_and_the_sentence_is_escaped(sentence, html):
    assert rendered("{{ value|codes }}", value=sentence) == html


def test_mark_is_a_word_with_its_sheet():
    assert rendered("{% mark 'short' word %}", word="Short <3 Dec") == (
        '<span class="mark short">Short &lt;3 Dec</span>'
    )
    assert rendered("{% mark 'short' '' %}") == ""


def test_mark_that_is_not_drawn_is_refused():
    with pytest.raises(TemplateSyntaxError, match="No such mark: 'red'"):
        rendered("{% mark 'red' 'Short' %}")

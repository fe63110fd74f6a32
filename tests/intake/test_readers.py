"""Cells as people write them: what is read, and what is refused with which words."""

from datetime import UTC, date, datetime

import pytest

from fleet.intake import numbers, readers
from fleet.intake.errors import Unreadable
from fleet.intake.run import Hints

metres = numbers.number("m", 0, 500, "18.4")
diameter = numbers.number("mm", 30, 3000, "150", mistaken=("m", "in"))
above_zero = numbers.number("m", 0, 500, "18.4", above=True)
COMMA, POINT = Hints(decimal_comma=True), Hints(decimal_comma=False)

FIGURES = [  # reader, cell, hints, value or sentence
    (metres, "12.5", Hints(), 12.5),
    (metres, "12,5", Hints(), 12.5),
    (metres, " 12,50 ", Hints(), 12.5),
    (metres, 12.5, Hints(), 12.5),
    (metres, "", Hints(), None),
    (metres, "n/a", Hints(), None),
    (metres, "1 234,5", Hints(), "Give a value from 0 to 500 m."),
    (metres, "12.5 m", Hints(), "Give the number without its unit, like 18.4."),
    (metres, "40 ft", Hints(), "Give metres as a number, like 18.4; this is in feet."),
    (metres, "about 12", Hints(), "Give metres as a number, like 18.4."),
    (metres, "1_0", Hints(), "Give metres as a number, like 18.4."),
    (metres, "nan", Hints(), "Give metres as a number, like 18.4."),
    (metres, float("nan"), Hints(), "Give metres as a number, like 18.4."),
    (metres, "inf", Hints(), "Give metres as a number, like 18.4."),
    (metres, True, Hints(), "Give a number, like 18.4; this cell holds yes or no."),
    (metres, date(2025, 4, 3), Hints(), "Give a number, like 18.4; this cell holds a date."),
    (above_zero, "-3", Hints(), "Above zero, please."),
    (above_zero, "0", Hints(), "Above zero, please."),
    (metres, "1,234", Hints(), "1,234 could be 1.234 or 1234: write it without grouping and with a point."),
    (metres, "1,234", COMMA, 1.234),
    (metres, "0,234", Hints(), 0.234),
    (metres, "1.234", COMMA, "1.234 could be 1.234 or 1234: write it without grouping and with a point."),
    (metres, "1.234", Hints(), 1.234),
    (diameter, "1,234", POINT, 1234.0),
    (diameter, "1.234,5", Hints(), 1234.5),
    (diameter, "1,234.5", Hints(), 1234.5),
    (diameter, "1'234", Hints(), 1234.0),
    (diameter, "1\u202f234", Hints(), 1234.0),
    (diameter, "0.15", Hints(), "0.15 mm cannot be. In metres it would be 150 mm: write that, or say when matching "
                                "the columns that this one is in metres."),
    (diameter, "6", Hints(), "6 mm cannot be. In inches it would be 152.4 mm: write that, or say when matching "
                             "the columns that this one is in inches."),
    (numbers.whole(0, 10_000), "12.0", Hints(), 12),
    (numbers.whole(0, 10_000), "12.5", Hints(), "Give a whole number, like 12."),
]  # fmt: skip


@pytest.mark.parametrize(("read", "cell", "hints", "wanted"), FIGURES)
def test_figures(read, cell, hints, wanted):
    if isinstance(wanted, str):
        with pytest.raises(Unreadable) as refusal:
            read(cell, hints)
        assert str(refusal.value) == wanted
    else:
        assert read(cell, hints) == wanted


DAYS = [
    ("2025-04-03", None, date(2025, 4, 3)),
    ("2025/4/3", None, date(2025, 4, 3)),
    ("3/4/2025", None, "Could be 3 April or 4 March: write 2025-04-03, or say when matching the columns which comes "
                       "first."),
    ("3/4/2025", "dmy", date(2025, 4, 3)),
    ("3/4/2025", "mdy", date(2025, 3, 4)),
    ("13/4/2025", None, date(2025, 4, 13)),
    ("4-13-2025", None, date(2025, 4, 13)),
    ("4.4.2025", None, date(2025, 4, 4)),
    ("3 Apr 2025", None, date(2025, 4, 3)),
    ("April 3rd, 2025", None, date(2025, 4, 3)),
    ("3-Sept-2025", None, date(2025, 9, 3)),
    ("31/4/2025", None, "There is no such day. Write it as 2025-04-03."),
    ("3/4/25", None, "Write the year with four digits, as 2025-04-03."),
    ("45750", None, "This is a spreadsheet's day number (it would be 2025-04-03). Format the column as a date."),
    (45750.0, None, "This is a spreadsheet's day number (it would be 2025-04-03). Format the column as a date."),
    ("0025-04-03", None, "The year cannot be right. Write the day as 2025-04-03."),
    ("last week", None, "Write the day as 2025-04-03."),
    (datetime(2025, 4, 3, 12), None, date(2025, 4, 3)),
    ("", None, None),
]  # fmt: skip


@pytest.mark.parametrize(("cell", "order", "wanted"), DAYS)
def test_days(cell, order, wanted):
    hints = Hints(date_order=order)
    if isinstance(wanted, str):
        with pytest.raises(Unreadable) as refusal:
            readers.a_day(cell, hints)
        assert str(refusal.value) == wanted
    else:
        assert readers.a_day(cell, hints) == wanted


MOMENTS = [
    ("2025-04-03T14:30:00+03:00", datetime(2025, 4, 3, 11, 30, tzinfo=UTC)),
    ("2025-04-03 14:30", datetime(2025, 4, 3, 14, 30)),
    ("13/4/2025 2:30 pm", datetime(2025, 4, 13, 14, 30)),
    ("13/4/2025 14:30 +03:00", datetime(2025, 4, 13, 11, 30, tzinfo=UTC)),
    ("2025-04-03", "Give the hour as well, as 2025-04-03 14:30."),
    ("13/4/2025 25:30", "There is no such hour. Write the time as 2025-04-03 14:30."),
    ("noon", "Write the day as 2025-04-03."),
]


@pytest.mark.parametrize(("cell", "wanted"), MOMENTS)
def test_moments(cell, wanted):
    if isinstance(wanted, str):
        with pytest.raises(Unreadable) as refusal:
            readers.a_moment(cell, Hints())
        assert str(refusal.value) == wanted
    else:
        assert readers.a_moment(cell, Hints()) == wanted


def test_a_time_without_zone_is_the_sites_time():
    assert readers.in_zone(datetime(2025, 4, 3, 14, 30), "Africa/Nairobi") == datetime(2025, 4, 3, 11, 30, tzinfo=UTC)
    with pytest.raises(Unreadable, match="clocks went forward"):
        readers.in_zone(datetime(2025, 3, 30, 2, 30), "Europe/Berlin")
    with pytest.raises(Unreadable, match="came twice"):
        readers.in_zone(datetime(2025, 10, 26, 2, 30), "Europe/Berlin")


def test_words_choices_and_yes_or_no():
    kinds = readers.choice({"drilled": "drilled", "dug": "dug"}, {"borehole": "drilled"})
    assert kinds("Borehole ", Hints()) == "drilled"
    with pytest.raises(Unreadable, match=r"Write one of: drilled, dug\."):
        kinds("spring", Hints())
    assert [readers.yes_no(cell, Hints()) for cell in ("Yes", "0", "", True, 1.0, "ndiyo")] == [
        True, False, None, True, True, True,
    ]  # fmt: skip
    with pytest.raises(Unreadable, match=r"Write yes or no\."):
        readers.yes_no("maybe", Hints())
    words = readers.text(10)
    assert words(" Ekal ", Hints()) == "Ekal"
    assert words(1234.0, Hints()) == "1234"
    assert words("=1+1", Hints()) == "=1+1"  # kept as typed; what leaves the house is made harmless
    assert words("'=1+1", Hints()) == "=1+1"
    with pytest.raises(Unreadable, match="at most 10"):
        words("x" * 11, Hints())
    with pytest.raises(Unreadable, match="cannot be shown"):
        words("a\x07b", Hints())

"""Other programs in the place of those that are."""

from __future__ import annotations

import pytest

from config.models.site import Zone
from config.program.parser import parse_span
from config.program.spans import ClockEdge
from controller.forecast.year import do_instead, end_evenings_at
from tests.sites import zone

ONE = ClockEdge(hour=1, minute=0)


def made(*program, special=()):
    """A zone."""
    return Zone.model_validate(zone("path", *program, special=special))


@pytest.mark.parametrize(
    ("written", "then"),
    [
        ("dusk to midnight", "dusk to 01:00"),
        ("sunset+30m to 22:30", "sunset+30m to 01:00"),
        ("dusk for 4h", "dusk to 01:00"),
        ("dusk to dawn, at most 6h", "dusk to 01:00"),
        ("17:00 to 23:00, while dark", "17:00 to 01:00, while dark"),
        ("12:00 to 13:00", "12:00 to 01:00"),
        ("05:30 to dawn", "05:30 to dawn"),
        ("dawn-1h to dawn", "dawn-1h to dawn"),
        ("00:00 to 02:00", "00:00 to 02:00"),
    ],
)
def test_only_evenings_end_at_another_time(written, then):
    """A span that begins in the evening ends then, whatever its end was; one of the morning does not."""
    assert end_evenings_at(made(written), ONE).program == (parse_span(then),)


def test_special_nights_end_then_too_and_dark_ones_stay_dark():
    """Every night of the zone is imagined, in the order of its special nights."""
    told = end_evenings_at(made("dusk to 22:00", special=[("Fri", ["dusk to 23:00"]), ("Sat", [])]), ONE)
    assert [[str(span) for span in each.program] for each in told.special_nights] == [["dusk to 01:00"], []]
    assert [str(each.nights) for each in told.special_nights] == ["Fri", "Sat"]


def test_another_program_leaves_special_nights_alone():
    """What is done instead is done on all nights but those."""
    here = made("dusk to 22:00", special=[("Fri", ["dusk to 23:00"])])
    told = do_instead(here, [parse_span("20:00 to 21:00")])
    assert [str(span) for span in told.program] == ["20:00 to 21:00"]
    assert told.special_nights[0].program == here.special_nights[0].program
    assert told.id == here.id

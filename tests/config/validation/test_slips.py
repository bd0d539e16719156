"""What is said about the slips that people make in a site file: each answered with its own remedy."""

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from config.errors import SiteFileError
from config.file.loader import parse_site
from config.validation.slips import explain_value, is_toml
from tests.config.site_texts import GOOD
from tests.config.validation.test_refusals import read_blocks

SLIPS = list(read_blocks("slips.txt"))


def said_about(text):
    """Every problem of a text, or every warning; “nothing” where there is none."""
    try:
        loaded = parse_site(text, "")
    except SiteFileError as error:
        return [str(problem).lstrip(": ") for problem in error.problems]
    return [f"warning: {str(warning).lstrip(': ')}" for warning in loaded.warnings] or ["nothing"]


@pytest.mark.parametrize(("out", "put", "told"), SLIPS)
def test_each_slip_has_its_own_remedy(out, put, told):
    """A slip is told once, on its line, with what to write in its place."""
    assert GOOD.count(out) == 1
    assert said_about(GOOD.replace(out, put)) == told


@pytest.mark.parametrize(("out", "put", "told"), SLIPS)
def test_an_answer_fits_two_lines(out, put, told):
    """What is said, without what the file has there, is at most two lines on a terminal of 100 columns."""
    for line in told:
        place, _, rest = line.partition(": ")
        written = max((each.partition("=")[2].strip() for each in put.split("\n")), key=len)
        assert len(place) + len(rest.replace(written, "")) <= 200, line


NUMBERS = st.decimals(-170, 170, places=4, allow_nan=False).filter(lambda number: abs(number) >= 1)


@settings(deadline=None)
@given(NUMBERS, st.sampled_from(["{} W", "{}W", "{} VA", "{} °C", "{};", "£{}"]), st.sampled_from([".", ","]))
def test_a_number_comes_out_of_its_decoration(number, decoration, point):
    """A unit, a sign of money or a decimal comma around any number: the number itself is what to write."""
    written = decoration.format(str(number).replace(".", point))
    if decoration.startswith("£") and number < 0:
        return
    what, remedy = explain_value("rated_watts", written)
    assert what == "is not a number"
    assert Decimal(remedy.split()[1].rstrip(",")) == number


@settings(deadline=None)
@given(st.integers(0, 89), st.integers(0, 59), st.integers(0, 59), st.sampled_from("NS"))
def test_degrees_in_minutes_and_seconds_come_out_decimal(degrees, minutes, seconds, letter):
    """A latitude in degrees, minutes and seconds is answered with decimal degrees, south negative."""
    _, remedy = explain_value("latitude", f"{degrees}° {minutes}' {seconds}\" {letter}")
    true = (degrees + minutes / 60 + seconds / 3600) * (-1 if letter == "S" else 1)
    assert float(remedy.split()[1].rstrip(",")) == pytest.approx(true, abs=1e-5)


@settings(deadline=None)
@given(
    st.sampled_from(["latitude", "pin", "taps", "program", "fitted", "active_high", "time_zone", "other"]),
    st.text(alphabet="0123456789.,;:-+°'\"″[]{}()NSEW pm°%£“”\\/", max_size=20),
)
def test_any_value_is_explained_or_left_alone(key, text):
    """No value raises; one that is TOML for a text or an unknown key is left alone."""
    found = explain_value(key, text)
    assert found is None or all(found)
    if found is not None and text.strip() and key in ("time_zone", "other"):
        assert not is_toml(text.strip())


@pytest.mark.parametrize("spoilt", ["\ufeff", "\t", "\r"])
def test_marks_tabs_and_other_ends_of_line_are_no_slips(spoilt):
    """A byte order mark, tabs for blanks and the line ends of another system change nothing."""
    texts = {
        "\ufeff": "\ufeff" + GOOD,
        "\t": GOOD.replace(" = ", "\t=\t").replace("  ", "\t"),
        "\r": GOOD.replace("\n", "\r\n"),
    }
    assert said_about(texts[spoilt]) == ["nothing"]

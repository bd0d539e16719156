"""What is too long to be looked at: searching it for what was meant would take minutes."""

import re

import pytest

from config.errors import SiteFileError
from config.file.loader import parse_site
from tests.config.site_texts import GOOD


@pytest.mark.parametrize("line", ["a" + ".a" * 5000 + " = 1", "# " + "x" * 4999, "x" * 60_000, "[" * 5001])
def test_a_line_that_is_too_long_is_not_looked_at(line):
    """A line of more than 5,000 characters is refused as that, with its number, whatever it says."""
    with pytest.raises(SiteFileError) as caught:
        parse_site(f"{GOOD}\n{line}\n", "site.toml")
    (problem,) = caught.value.problems
    assert problem.line == GOOD.count("\n") + 2
    assert problem.what == "this line is longer than 5000 characters"


@pytest.mark.parametrize("key", ["time_zone", "name", "colour"])
@pytest.mark.parametrize("letter", [" ", "9", "x"])
def test_a_text_that_is_too_long_is_not_looked_at(key, letter):
    """A text of more than 1,000 characters is refused as that alone, at its place."""
    text = "\n".join([letter * 1000] * 60)
    wrong = re.sub(rf"^{key} = .*\n", "", GOOD, flags=re.MULTILINE)
    wrong = wrong.replace("[site]\n", f"[site]\n{key} = '''{text}'''\n")
    with pytest.raises(SiteFileError) as caught:
        parse_site(wrong, "site.toml")
    (problem,) = caught.value.problems
    assert (problem.key, problem.what) == (f"site.{key}", "has more than 1000 characters")


def test_a_key_that_is_too_long_is_not_looked_at():
    """So is a key of as many."""
    with pytest.raises(SiteFileError) as caught:
        parse_site(GOOD.replace("[site]\n", f"[site]\n{'x' * 1001} = 1\n"), "site.toml")
    assert [each.what for each in caught.value.problems] == ["has a key of more than 1000 characters"]

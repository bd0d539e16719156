"""One good site file, and how to spoil it."""

from __future__ import annotations

from config.errors import SiteFileError
from config.file.loader import parse_site

GOOD = """\
[site]
name = "Tern Cottage"
latitude = 51.5
longitude = -0.1
time_zone = "Europe/London"

[tariff]
currency = "GBP"
per_kwh = 0.29

[relays]
board = "simulated"

[[transformers]]
id = "shed"
rated_va = 200

[[zones]]
id = "path"
transformer = "shed"
pin = 17
program = ["dusk to midnight"]

  [[zones.special_nights]]
  nights = "Fri, Sat"
  program = ["dusk to 01:30"]

  [[zones.fixtures]]
  kind = "path"
  count = 6
  watts = 4.5
"""


def spoil(old: str, new: str) -> str:
    """The good file with one place changed; that place must be there once."""
    assert GOOD.count(old) == 1, old
    return GOOD.replace(old, new)


def problems_of(text: str) -> list[str]:
    """What is wrong with a text, one line each; nothing where it is a site."""
    try:
        parse_site(text, "site.toml")
    except SiteFileError as error:
        return [str(problem) for problem in error.problems]
    return []


def warnings_of(text: str) -> list[str]:
    """The warnings about a valid text, one line each."""
    return [str(problem) for problem in parse_site(text, "site.toml").warnings]

"""The templates, filled in by jinja2 with everything escaped that is not marked as safe."""

import re
from dataclasses import dataclass
from pathlib import Path

import jinja2
from markupsafe import Markup

_ENVIRONMENT = jinja2.Environment(
    loader=jinja2.FileSystemLoader(Path(__file__).parent / "templates"),
    autoescape=True,
    undefined=jinja2.StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Frame:
    """What stands around something to print while it is on a screen, in the language of the browser.

    Attributes:
        language: the tag of that language.
        label: what the link is for.
        back: the link back to the page.
        page: in the foot of each sheet of paper: “page %s of %s”.
    """

    language: str
    label: str
    back: str
    page: str


def _css_string(text: str) -> Markup:
    """Write a text as a string of CSS that may stand in a style element.

    Source: CSS Syntax Level 3, section 4.3.7: a backslash, the code point in hex, a blank.
    """
    escaped = re.sub(r'["\\<&\x00-\x1f\x7f]', lambda found: f"\\{ord(found[0]):x} ", text)
    return Markup(f'"{escaped}"')  # noqa: S704 - nothing in it can end the string or the element


_ENVIRONMENT.filters["css_string"] = _css_string


def render(name: str, **values: object) -> str:
    """Fill in a template, by its file name; a value that is missing is an error."""
    return _ENVIRONMENT.get_template(name).render(**values)

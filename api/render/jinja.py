"""The templates, filled in by jinja2 in a language, with everything escaped that is not marked as safe."""

import re
from functools import lru_cache, partial

import jinja2
from markupsafe import Markup

from api.render.words import Words, catalogue
from config.phrase import Phrase


# English has four ways to write times and dates; more than these are seldom asked for.
@lru_cache(maxsize=12)
def environment(package: str, words: Words) -> jinja2.Environment:
    """Give the templates of a package in a language; they have ``trans``, ``_``, ``words``, and filters.

    ``text | say`` says what a deeper layer says, and ``say(begins=true)`` as the beginning of a sentence;
    ``figure | written`` writes a number that is a text, as 1,737.5, as the language does;
    ``text | css_string`` makes it a string of CSS.
    """
    made = jinja2.Environment(
        loader=jinja2.PackageLoader(package),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        extensions=["jinja2.ext.i18n"],
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals["words"] = words
    made.filters["say"] = partial(_say, words)
    made.filters["written"] = words.written
    made.filters["css_string"] = _css_string
    made.install_gettext_translations(catalogue(words.language), newstyle=True)  # type: ignore[attr-defined]
    return made


def render(name: str, words: Words, **values: object) -> str:
    """Fill in a template of ours, by its file name; a value that is missing is an error."""
    return environment("api.render", words).get_template(name).render(**values)


# The name of a file with its line, or that of a key, is written as it is.
_IS_NAME = re.compile(r"\w[\w-]*[.:_]\w")


def _say(words: Words, text: str, *, begins: bool = False) -> str:
    """Say what a deeper layer says; what it can say in English only is marked as English."""
    said = words.say(text)
    if begins and not _IS_NAME.match(said):
        said = said[:1].upper() + said[1:]
    if words.language == "en" or not text or isinstance(text, Phrase):
        return said
    return Markup('<span lang="en">{}</span>').format(said)


def _css_string(text: str) -> Markup:
    """Write a text as a string of CSS that may stand in a style element.

    Source: CSS Syntax Level 3, section 4.3.7: a backslash, the code point in hex, a blank.
    """
    escaped = re.sub(r'["\\<&\x00-\x1f\x7f]', lambda found: f"\\{ord(found[0]):x} ", text)
    return Markup(f'"{escaped}"')  # noqa: S704 - nothing in it can end the string or the element

"""The templates, filled in by jinja2 with everything escaped that is not marked as safe."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import jinja2

FOLDER = Path(__file__).parent / "templates"


@cache
def _environment() -> jinja2.Environment:
    return jinja2.Environment(
        loader=jinja2.FileSystemLoader(FOLDER),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def render(name: str, **values: object) -> str:
    """Fill in a template.

    Args:
        name: file name of the template.
        values: what stands in it; a value that is missing is an error.
    """
    return _environment().get_template(name).render(**values)

"""The templates, filled in by jinja2 with everything escaped that is not marked as safe."""

from pathlib import Path

import jinja2

_ENVIRONMENT = jinja2.Environment(
    loader=jinja2.FileSystemLoader(Path(__file__).parent / "templates"),
    autoescape=True,
    undefined=jinja2.StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)


def render(name: str, **values: object) -> str:
    """Fill in a template, by its file name; a value that is missing is an error."""
    return _ENVIRONMENT.get_template(name).render(**values)

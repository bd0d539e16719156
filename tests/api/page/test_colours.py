"""The contrast of every pair of colours that stand upon each other, in both schemes."""

import re
from pathlib import Path

import pytest

import api.page
from api.page.sky import sky_colour

YEAR_CSS = (Path(api.page.__file__).parent / "static" / "year.css").read_text(encoding="utf-8")
CSS = (Path(api.page.__file__).parent / "static" / "page.css").read_text(encoding="utf-8")
# Text on its ground, by the names of the style sheet.
TEXTS = [
    ("ink", "paper"), ("soft", "paper"), ("lamp", "paper"), ("warn", "paper"), ("ink", "button"),
    ("ink", "warn-paper"), ("warn", "warn-paper"), ("soft", "warn-paper"),
]  # fmt: skip
# Edges of things that can be pressed, and marks: WCAG 2.2, success criterion 1.4.11.
EDGES = [("edge", "paper"), ("lamp", "paper"), ("soft", "paper"), ("warn", "paper")]


def palettes():
    light, dark = re.findall(r":root \{([^}]*)\}", CSS)
    first = dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", light))
    return {"light": first, "dark": first | dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", dark))}


def luminance(colour):
    """Source: WCAG 2.2, definition of relative luminance."""
    if isinstance(colour, str):
        colour = [int(colour[place : place + 2], 16) for place in (1, 3, 5)]
    parts = [each / 255 for each in colour]
    red, green, blue = (
        each / 12.92 if each <= 0.04045 else ((each + 0.055) / 1.055) ** 2.4 for each in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one, other):
    """Source: WCAG 2.2, definition of contrast ratio."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_the_measure_is_that_of_the_standard():
    """Black on white is 21 to 1, and #767676 on white just reaches 4.5 (value from memory)."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("text", "ground"), TEXTS)
def test_texts_can_be_read(scheme, text, ground):
    """Text has at least 4.5 to 1 on its ground: WCAG 2.2, success criterion 1.4.3."""
    palette = palettes()[scheme]
    assert contrast(palette[text], palette[ground]) >= 4.5


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("edge", "ground"), EDGES)
def test_edges_can_be_seen(scheme, edge, ground):
    """What shows that something can be pressed, or how it is, has at least 3 to 1."""
    palette = palettes()[scheme]
    assert contrast(palette[edge], palette[ground]) >= 3


@pytest.mark.parametrize("elevation_deg", range(-25, 30))
def test_a_bar_of_light_can_be_seen_against_any_sky(elevation_deg):
    """A bar, or the dark line around it, has at least 3 to 1 against the sky behind."""
    sky = sky_colour(elevation_deg)
    assert max(contrast("#ffcf7a", sky), contrast("#161b33", sky)) >= 3


def colour_of(kind):
    """The colour of a part of the year's picture, by its style sheet."""
    found = re.search(rf"\.nights \.{kind} {{ fill: (#[0-9a-f]{{6}}|var\(--glow\))", YEAR_CSS)[1]
    return "#ffcf7a" if found.startswith("var") else found


def test_what_stands_in_the_picture_of_a_year_can_be_seen():
    """Lit, still to come, and the dots of missed light have at least 3 to 1 against the dark sky."""
    dark = colour_of("dark")
    assert all(contrast(colour_of(kind), dark) >= 3 for kind in ("lit", "to-come", "day", "twilight"))
    assert contrast("#ffffff", colour_of("missed")) >= 3
    assert contrast("#5b2c00", colour_of("lit")) >= 3  # the stripes of light before dusk


def test_the_sky_gets_darker_as_the_sun_sinks():
    """From the horizon down every degree is darker than the one above, to the end of twilight."""
    lights = [luminance(sky_colour(-angle)) for angle in range(19)]
    assert lights == sorted(lights, reverse=True)
    assert len(set(lights)) == len(lights)

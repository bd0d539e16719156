"""The page's texts in every language."""

import pytest

from api.render.words import LANGUAGES
from tests.catalogue import catalogue_path, compiled, extract, read

OTHERS = [each for each in LANGUAGES if each != "en"]


def keys(catalog):
    return {(each.id, each.context) for each in catalog if each.id}


@pytest.mark.parametrize("language", OTHERS)
def test_every_text_is_translated(language):
    """The catalogue has the texts of the code, all of them and no others, each with its translation."""
    catalog = read(language)
    assert keys(catalog) == keys(extract()), "run python -m tests.catalogue, and translate what it lists"
    assert not [each.id for each in catalog if each.id and each.fuzzy]
    assert not [
        each.id
        for each in catalog
        if each.id and not all(each.string if each.pluralizable else [each.string])
    ]


@pytest.mark.parametrize("language", OTHERS)
def test_a_translation_has_the_same_blanks(language):
    """What is filled in is filled in there too, under the same names (checked by Babel)."""
    wrong = [(each.id, [str(error) for error in each.check()]) for each in read(language) if each.id]
    assert [each for each in wrong if each[1]] == []


@pytest.mark.parametrize("language", OTHERS)
def test_the_catalogue_is_compiled(language):
    """What the page reads is what the catalogue says."""
    assert catalogue_path(language).with_suffix(".mo").read_bytes() == compiled(read(language))

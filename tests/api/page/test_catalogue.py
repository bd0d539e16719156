"""The page's texts in every language."""

from string import Formatter

import pytest

from api.render.words import LANGUAGES
from tests.catalogue import catalogue_path, compiled, extract, read

OTHERS = [each for each in LANGUAGES if each != "en"]


def fields(*texts):
    """The names in braces with their formats, but not a {} that is typed in the site file."""
    found = [part for text in texts for part in Formatter().parse(text)]
    return {(name, form) for _, name, form, _ in found if name}


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
    """What is filled in is filled in there too, under the same names (checked by Babel where it is by %)."""
    # In a sentence of a deeper layer, such as “80 % of it”, % is the sign.
    texts = [each for each in read(language) if each.id and "%(" in str(each.id)]
    wrong = [(each.id, [str(error) for error in each.check()]) for each in texts]
    assert [each for each in wrong if each[1]] == []


@pytest.mark.parametrize("language", OTHERS)
def test_a_translated_sentence_has_the_same_fields(language):
    """The fields in braces are the same, each with the same digits; those of a count are among its forms'."""
    for each in read(language):
        if each.pluralizable:
            assert fields(*each.string) <= fields(*each.id), each.id
        else:
            assert fields(each.string) == fields(each.id), each.id


@pytest.mark.parametrize("language", OTHERS)
def test_the_catalogue_is_compiled(language):
    """What the page reads is what the catalogue says."""
    assert catalogue_path(language).with_suffix(".mo").read_bytes() == compiled(read(language))

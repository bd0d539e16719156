"""Pairing codes, in stepped time."""

from collections import Counter

import pytest
from scipy.stats import chisquare

from api.access.codes import ALPHABET, LASTS_S, LENGTH, MOST_CODES, MOST_WRONG, PairingCodes
from api.access.credentials import Scope


def make(codes, boot_s=0.0, scope=Scope.CONTROL):
    return codes.make(scope, name=None, by="this board", boot_s=boot_s)


def test_a_code_has_forty_bits_of_chance():
    """There are at least 2**40 codes, and each letter of them is as frequent as any other."""
    assert len(set(ALPHABET)) ** LENGTH >= 2**40
    codes = PairingCodes()
    letters = Counter("".join(make(codes).text for _ in range(3000)).replace("-", ""))
    assert sum(letters.values()) == 3000 * LENGTH
    assert chisquare([letters[each] for each in ALPHABET]).pvalue > 1e-9


@pytest.mark.parametrize(
    "alike",
    ["0OQD", "1IL", "17", "2Z", "5S", "8B", "UV", "BCDEGPTVZ3", "AJK", "AH8", "MN", "FSX", "QU", "IY"],
)
def test_a_code_is_easily_read_aloud(alike):
    """Of letters and digits that look or sound alike it has one at most (common practice, no source)."""
    assert len(set(alike) & set(ALPHABET)) <= 1


@pytest.mark.parametrize("typed", ["{}", " {} ", "{}\n"])
def test_a_code_is_found_however_it_is_typed(typed):
    """Small letters, blanks and a missing hyphen do not matter."""
    codes = PairingCodes()
    code = make(codes)
    for text in (code.text, code.text.lower(), code.text.replace("-", ""), " ".join(code.text)):
        assert codes.find(typed.format(text), 0.0) is code


def test_a_code_counts_once():
    """Once it is used up it is not found again; others are."""
    codes = PairingCodes()
    first, other = make(codes), make(codes, scope=Scope.READ)
    codes.spend(first)
    assert codes.find(first.text, 1.0) is None
    found = codes.find(other.text, 1.0)
    assert (found.text, found.scope) == (other.text, Scope.READ)


def test_a_code_lasts_ten_minutes():
    """It counts until ten minutes have passed by the boot-time clock, and not a moment longer."""
    codes = PairingCodes()
    code = make(codes, boot_s=100.0)
    assert LASTS_S == 600
    assert codes.find(code.text, 699.999) is code
    assert codes.find(code.text, 700.0) is None


def test_a_code_is_void_after_wrong_tries():
    """After ten wrong tries the right code is refused; a code that was made since has its own count."""
    codes = PairingCodes()
    code = make(codes)
    for _ in range(MOST_WRONG - 1):
        assert codes.find("2222-2222-2222", 1.0) is None
    later = make(codes)
    assert codes.find(code.text, 1.0).text == code.text
    assert codes.find("", 1.0) is None
    assert codes.find(code.text, 1.0) is None
    assert codes.find(later.text, 1.0).text == later.text


def test_there_are_few_codes_at_a_time():
    """Whoever makes many codes makes the oldest void."""
    codes = PairingCodes()
    made = [make(codes) for _ in range(MOST_CODES + 1)]
    assert [codes.find(each.text, 1.0) is not None for each in made] == [False] + [True] * MOST_CODES

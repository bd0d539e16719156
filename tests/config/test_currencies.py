"""The list of currencies, held against one kept elsewhere."""

import csv
from pathlib import Path

from config.currencies import CURRENCIES

REFERENCE = Path(__file__).parents[1] / "reference" / "iso4217.csv"

# Codes of ISO 4217 in which nobody pays a bill: units of account, funds, and everything beginning with X that
# belongs to no country or union (metals, bond units, drawing rights, testing, no currency).
FUNDS = {"BOV", "CHE", "CHW", "CLF", "COU", "MXV", "USN", "UYI", "UYW"}
OF_UNIONS = {"XAF", "XCD", "XCG", "XOF", "XPF"}


def test_the_currencies_are_those_of_iso_4217():
    """Every code of the standard that is money, and no other (source: tests/reference/iso4217.csv)."""
    with REFERENCE.open() as file:
        codes = {row["code"] for row in csv.DictReader(line for line in file if not line.startswith("#"))}
    assert len(codes) > 150
    money = {code for code in codes - FUNDS if not code.startswith("X") or code in OF_UNIONS}
    assert money == set(CURRENCIES)

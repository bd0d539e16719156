"""The currencies of ISO 4217 in which electricity may be paid for, with their minor-unit digits.

The standard's active codes without those for funds, metals, bond units, testing and no currency at all. A
code that is missing here only gets a warning, as currencies come and go. Held against two published lists by
tests/config/test_currencies.py and tests/controller/energy/test_tariff.py.
"""

# Codes by the digits after the point: list one of ISO 4217 as published on 2026-01-01.
_NO_DIGITS = "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX VND VUV XAF XOF XPF"
_TWO_DIGITS = (
    "AED AFN ALL AMD AOA ARS AUD AWG AZN BAM BBD BDT BMD BND BOB BRL BSD BTN BWP BYN BZD CAD CDF CHF CNY COP "
    "CRC CUP CVE CZK DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS GIP GMD GTQ GYD HKD HNL HTG HUF IDR ILS "
    "INR IRR JMD KES KGS KHR KPW KYD KZT LAK LBP LKR LRD LSL MAD MDL MGA MKD MMK MNT MOP MRU MUR MVR MWK MXN "
    "MYR MZN NAD NGN NIO NOK NPR NZD PAB PEN PGK PHP PKR PLN QAR RON RSD RUB SAR SBD SCR SDG SEK SGD SHP SLE "
    "SOS SRD SSP STN SVC SYP SZL THB TJS TMT TOP TRY TTD TWD TZS UAH USD UYU UZS VED VES WST XCD XCG YER ZAR "
    "ZMW ZWG"
)
_THREE_DIGITS = "BHD IQD JOD KWD LYD OMR TND"

CURRENCIES: dict[str, int] = {
    **dict.fromkeys(_NO_DIGITS.split(), 0),
    **dict.fromkeys(_TWO_DIGITS.split(), 2),
    **dict.fromkeys(_THREE_DIGITS.split(), 3),
}
# Units of account: no bill is paid in them, but an amount in one is written with these digits.
_UNITS_OF_ACCOUNT = {"CLF": 4, "UYI": 0, "UYW": 4}


def minor_digits(currency: str) -> int:
    """Return how many digits after the point an amount has; 2, the usual number, for an unknown code."""
    return CURRENCIES.get(currency, _UNITS_OF_ACCOUNT.get(currency, 2))

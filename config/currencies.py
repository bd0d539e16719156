"""The currencies of ISO 4217 and how many digits each has behind the point.

The list is that of the standard's table of active codes, without the codes for metals, funds, bond
units and testing, which nobody pays an electricity bill with; tests/config/test_currencies.py holds it
against a copy kept elsewhere.
"""

from __future__ import annotations

_TWO_DIGITS = (
    "AED AFN ALL AMD AOA ARS AUD AWG AZN BAM BBD BDT BMD BND BOB BRL BSD BTN BWP BYN BZD CAD CDF CHF CNY COP "
    "CRC CUP CVE CZK DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS GIP GMD GTQ GYD HKD HNL HTG HUF IDR ILS "
    "INR IRR JMD KES KGS KHR KPW KYD KZT LAK LBP LKR LRD LSL MAD MDL MGA MKD MMK MNT MOP MRU MUR MVR MWK MXN "
    "MYR MZN NAD NGN NIO NOK NPR NZD PAB PEN PGK PHP PKR PLN QAR RON RSD RUB SAR SBD SCR SDG SEK SGD SHP SLE "
    "SOS SRD SSP STN SVC SYP SZL THB TJS TMT TOP TRY TTD TWD TZS UAH USD UYU UZS VED VES WST XCD XCG YER ZAR "
    "ZMW ZWG"
)
_NO_DIGITS = "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX VND VUV XAF XOF XPF"
_THREE_DIGITS = "BHD IQD JOD KWD LYD OMR TND"

MINOR_DIGITS = {
    **dict.fromkeys(_TWO_DIGITS.split(), 2),
    **dict.fromkeys(_NO_DIGITS.split(), 0),
    **dict.fromkeys(_THREE_DIGITS.split(), 3),
}

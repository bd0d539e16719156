"""What was meant by a value that people write in another way than TOML or its key has it.

These guesses are used only in the text of a message: what is wrong and what to write, one clause each. Where
nothing is sure there is no guess, and the message says what the key takes.
"""

import re
import tomllib
from decimal import Decimal

from config.phrase import Phrase
from config.validation.fields import choices_of, describe_key, kinds_of
from config.validation.finding import toml_string

Clauses = tuple[Phrase, Phrase]

_STRAIGHT, _CURLY = "\"'", "“”„‘’‚«»´`"
_MINUSES = "−–—"
_DECIMAL = r"[+-]?[0-9]+[.,][0-9]+"
_TWO_DECIMALS = re.compile(rf"({_DECIMAL})\s*[,; ]\s*({_DECIMAL})")
_NUMBER = re.compile(
    r"(?P<before>(?:[A-Za-z£$€¥#]+[.:]?)?)\s*(?P<sign>[+-]?)(?P<gap>\s*)(?P<digits>\.?[0-9][0-9.,' ]*)"
    r"(?P<end>;?)\s*(?P<after>[A-Za-zµΩ°²%£$€¥¢/]*\.?)"
)
_DEGREES = re.compile(
    r"(?P<front>[NSEW]?)\s*(?P<sign>[+-]?)\s*(?P<degrees>[0-9]{1,3}(?:[.,][0-9]+)?)\s*°?"
    r"(?:\s*(?P<minutes>[0-9]{1,2}(?:[.,][0-9]+)?)\s*['′’´]?"
    r"(?:\s*(?P<seconds>[0-9]{1,2}(?:[.,][0-9]+)?)\s*(?:\"|″|”|''|’’)?)?)?\s*(?P<back>[NSEW]?)",
    re.IGNORECASE,
)
_DEGREE_KEYS = {"latitude": ("NS", 90), "longitude": ("EW", 180)}
_OTHER_DEGREES = {
    "latitude": ("longitude", Phrase("is a longitude")),
    "longitude": ("latitude", Phrase("is a latitude")),
}
_WAYS = {
    "N": Phrase("write {number}, without the letter: north is positive", number=""),
    "S": Phrase("write {number}, without the letter: south is negative", number=""),
    "E": Phrase("write {number}, without the letter: east is positive", number=""),
    "W": Phrase("write {number}, without the letter: west is negative", number=""),
}
_WITH_A_POINT = Phrase("{number} with a point", number="")
# Digits as people group or shorten them, what is different, and how to say so.
_DIGITS = (
    (re.compile(r"[0-9]+(?:\.[0-9]+)?"), "", None),
    (re.compile(r"[0-9]{1,3}(?:[' ][0-9]{3})+"), "[' ]", Phrase("{number}, in one piece", number="")),
    (
        re.compile(r"[1-9][0-9]{0,2},[0-9]{3}"),
        ",",
        Phrase("{number}, or {other} with a point", number="", other=""),
    ),
    (re.compile(r"[1-9][0-9]{0,2}(?:,[0-9]{3})+"), ",", Phrase("{number}, without commas", number="")),
    (re.compile(r"[1-9][0-9]{0,2}(?:\.[0-9]{3})+,[0-9]+"), r"\.", _WITH_A_POINT),
    (re.compile(r"[0-9]+,[0-9]+"), "", _WITH_A_POINT),
    (re.compile(r"[0-9]+\."), r"\.", Phrase("{number}, without the point", number="")),
    (re.compile(r"[0-9.]+,"), ",", Phrase("{number}, without the comma", number="")),
)
_DAY_FIRST = re.compile(r"([0-9]{1,2})[./-]([0-9]{1,2})[./-]([0-9]{4})")
_YEAR_FIRST = re.compile(r"([0-9]{4})[./-]([0-9]{1,2})[./-]([0-9]{1,2})")
_LAST_MONTH = 12
_YES = ("true", "yes", "on", "ja", "oui", "si")
_NO = ("false", "no", "off", "nein", "non")
# Hundredths of a currency, in which a price may be given.
_HUNDREDTHS = ("p", "c", "ct", "cts", "cent", "cents", "¢", "rp", "øre", "öre")
_LISTS_OF_NUMBERS = ("taps", "volts", "measured_volts")


def explain_value(key: str, written: str) -> Clauses | None:
    """Explain a value that is not TOML, or not what its key takes; None where it may be in order.

    Args:
        key: the last part of the key's path.
        written: the value as it stands in the file, on one line, without a comment.
    """
    value, kinds = written.strip(), kinds_of(key)
    if not value:
        return (Phrase("has no value"), _write(describe_key(key))) if kinds else None
    found = None
    if kinds == {"number"}:
        found = explain_number(key, value)
    elif "list" in kinds and value not in choices_of(key):
        found = _explain_list(key, value)
    if found or is_toml(value) or value[0] in "[{":
        return found
    if kinds == {"date"}:
        right = read_date(value)
        return None if right == value else (Phrase("is not a date"), _write(right or describe_key(key)))
    if kinds == {"truth"} or value.lower() in ("true", "false"):
        return Phrase("is not true or false"), _write(read_truth(value) or describe_key(key))
    return (None if kinds else explain_number(key, value)) or _explain_text(key, value)


def _write(right: str) -> Phrase:
    return Phrase("write {right}", right=right)


def explain_item(key: str, written: str) -> Clauses | None:
    """Explain an element of a key's list that has a line of its own; None where it may be in order."""
    value = written.strip()
    if key in _LISTS_OF_NUMBERS:
        return explain_number(key, value)
    if kinds_of(key) != {"list"} or not value[:1].isalnum() or is_toml(value):
        return None
    return _explain_text(key, value)


def explain_number(key: str, written: str) -> Clauses | None:
    """Explain a number, or the text in its place without its quotes; None for a number in order."""
    value = written.strip()
    if _is_number(value):
        return None
    for minus in _MINUSES:
        value = value.replace(minus, "-")
    what = Phrase("is not a number")
    if key in _DEGREE_KEYS and (clauses := _explain_degrees(key, value)):
        return clauses
    if found := _NUMBER.fullmatch(value):
        digits, hint = _read_digits(found["digits"].strip())
        if digits:
            return what, _write(_finish(key, digits, hint, found))
    return (what, _write(describe_key(key))) if kinds_of(key) == {"number"} else None


def read_truth(value: str) -> str:
    """Return what a yes or no is in TOML; an empty text for anything else."""
    word = _bare(value).lower()
    return "true" if word in _YES else "false" if word in _NO else ""


def read_date(value: str) -> str:
    """Return a date as TOML has it, or both that it may be, as a phrase; an empty text for anything else."""
    if found := _YEAR_FIRST.fullmatch(_bare(value)):
        year, month, day = map(int, found.groups())
    elif found := _DAY_FIRST.fullmatch(_bare(value)):
        day, month, year = map(int, found.groups())
        if "/" in value and max(day, month) <= _LAST_MONTH and day != month:
            return Phrase(
                "{one} or {other}, year-month-day",
                one=f"{year}-{month:02}-{day:02}",
                other=f"{year}-{day:02}-{month:02}",
            )
        if month > _LAST_MONTH:
            day, month = month, day
    else:
        return ""
    return f"{year}-{month:02}-{day:02}"


def is_toml(value: str) -> bool:
    """Whether a text is one value as TOML has it."""
    try:
        return list(tomllib.loads(f"value = {value}\n")) == ["value"]
    except (ValueError, RecursionError):
        return False


def _is_number(text: str) -> bool:
    if not is_toml(text):
        return False
    found = tomllib.loads(f"value = {text}")["value"]
    return isinstance(found, int | float) and not isinstance(found, bool)


def _bare(value: str) -> str:
    return value.strip().strip(_STRAIGHT + _CURLY).strip()


def _finish(key: str, digits: str, hint: Phrase | None, found: re.Match[str]) -> str:
    """Write a number for its key, with what was different about it."""
    unit, sign = found["after"].lower().rstrip("."), found["sign"].strip("+")
    number, part = sign + digits, f"{sign}{(Decimal(digits) / 100).normalize():f}"
    said = number if hint is None else hint.fill(number=number)
    if unit == "%" and not key.endswith("_percent"):
        said = Phrase("{number}, as a part of 1", number=part)
    elif key == "per_kwh" and unit in _HUNDREDTHS:
        said = Phrase("{number}, in the tariff's currency", number=part)
    elif found["before"]:
        said = Phrase("{number}, the number alone", number=number)
    elif unit:
        said = Phrase("{number}, without a unit", number=said)
    elif found["end"]:
        said = Phrase("{number}, without the semicolon", number=number)
    elif found["sign"] and hint is None:
        said = Phrase("{number}, with a plain minus right before it", number=number)
    return said


def _read_digits(digits: str) -> tuple[str, Phrase | None]:
    """Return a number as TOML has it, and what is different about it; an empty text where it is not clear."""
    for pattern, remove, hint in _DIGITS:
        if not pattern.fullmatch(digits):
            continue
        right = re.sub(remove, "", digits).replace(",", ".") if remove else digits.replace(",", ".")
        if right[0] == "0" and right[1:2].isdigit():
            return right.lstrip("0") or "0", Phrase("{number}, without the leading 0", number="")
        return right, None if hint is None else hint.fill(other=digits.replace(",", "."))
    if re.fullmatch(r"\.[0-9]+", digits):
        return f"0{digits}", Phrase("{number}, with a 0 before the point", number="")
    return "", None


def _explain_degrees(key: str, value: str) -> Clauses | None:
    """Explain a latitude or longitude with a letter, in minutes and seconds, or both on one line."""
    bare = _bare(value) if value[0] in _STRAIGHT + _CURLY else value
    if both := _TWO_DECIMALS.fullmatch(bare):
        north, east = (number.replace(",", ".") for number in both.groups())
        return Phrase("is two numbers"), Phrase(
            "write latitude = {north} and longitude = {east}, each on its line", north=north, east=east
        )
    found = _DEGREES.fullmatch(bare)
    if not found:
        return None
    letters, most = _DEGREE_KEYS[key]
    letter = (found["front"] or found["back"]).upper()
    parts = [Decimal((found[part] or "0").replace(",", ".")) for part in ("degrees", "minutes", "seconds")]
    degrees = parts[0] + parts[1] / 60 + parts[2] / 3600
    in_parts = found["minutes"] is not None
    text = f"{round(degrees, 5).normalize():f}" if in_parts else found["degrees"].replace(",", ".")
    is_negative = letter in ("S", "W") or found["sign"] == "-"
    text = f"-{text}" if is_negative else text
    if letter and letter not in letters:
        other, what = _OTHER_DEGREES[key]
        return what, Phrase("write {other} = {text}, and the {key} here", other=other, text=text, key=key)
    if degrees > most or not (letter or in_parts):
        return None  # any other number
    what = Phrase("is not a number")
    if in_parts:
        return what, Phrase("write {number}, in decimal degrees", number=text)
    return what, _WAYS[letter].fill(number=text)


def _explain_list(key: str, value: str) -> Clauses | None:
    """Explain a list on one line: brackets, quotes, commas or units that are missing or too many."""
    inside = re.sub(r"^[\[(]\s*|\s*[\])]$", "", value)
    items: list[str] = []
    for part in filter(None, map(_bare, re.split(r"[,;]|[\"”“]\s+[\"“„]", inside))):
        # What limits a span has a comma before it, and is no span of its own.
        if items and re.match("at most|while dark", part, re.IGNORECASE):
            items[-1] += f", {part}"
        else:
            items.append(part)
    if key in _LISTS_OF_NUMBERS:
        numbers = [_NUMBER.fullmatch(item) for item in items]
        right = [_read_digits(found["digits"].strip())[0] if found else "" for found in numbers]
        if not all(right) or (len(right) == 1 and key == "measured_volts"):
            return None
    else:
        right = [toml_string(item) for item in items]
    wanted = f"[{', '.join(right)}]"
    is_in_order = is_toml(value) and value.startswith("[")
    is_wrong = items and not is_in_order and value != wanted
    return (Phrase("is not a list"), _write(wanted)) if is_wrong else None


def _explain_text(key: str, value: str) -> Clauses | None:
    """Explain a text without quotes, with one of them missing, or with something in them that may not be."""
    if value[0] in _STRAIGHT and value[-1] == value[0] and len(value) > 1:
        inner, is_slashed = value[1:-1], "\\" in value
        if key == "time_zone" and is_slashed:
            return Phrase("has a backslash"), _write(toml_string(inner.replace("\\", "/")))
        other = f'"{inner}"' if value[0] == "'" else f"'{inner}'"
        what = Phrase("has {mark} inside its quotes", mark=value[0])
        if is_slashed:
            what = Phrase("has a backslash inside its quotes")
        return what, _write(other if is_toml(other) else toml_string(inner))
    if value[0] in _STRAIGHT or value[-1] in _STRAIGHT:
        return Phrase("lacks one of its quotes"), _write(toml_string(_bare(value)))
    if not kinds_of(key) and not re.fullmatch(r"[^\W\d][\w/ .:-]*", value):
        return None
    right = value.replace("\\", "/") if key == "time_zone" else value
    return Phrase("has no quotes"), _write(toml_string(right))

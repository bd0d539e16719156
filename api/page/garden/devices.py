"""The devices that are let in, in words, and the code that lets in another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from markupsafe import Markup

from api.access.client import Client
from api.access.codes import LASTS_S, PairingCode
from api.access.credentials import Credential, Kind, Scope
from api.render.qr_code import qr_svg
from api.render.words import Words
from api.web.schemas.zones import by_present_clock
from controller.calendar.night import local
from controller.records.reading import Reading


@dataclass(frozen=True, kw_only=True, slots=True)
class Device:
    """One that is let in: what it may do, and when it was here."""

    id: str
    name: str
    may: str
    seen: str
    is_this: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class ShownCode:
    """A code as it is shown, with the address that a phone's camera reads; none where nothing is open."""

    code: str
    until: str
    address: str
    picture: Markup


def describe_devices(known: Sequence[Credential], client: Client, now: Reading, words: Words) -> list[Device]:
    """Say of each device what it may do and when it was used last; the newest first."""
    _ = words.gettext
    may = {
        Scope.CONTROL: _("may read and switch everything"),
        Scope.READ: _("may read everything, and switch nothing"),
        Scope.CALENDAR: _("may read the calendar of the coming nights"),
    }
    return [
        Device(
            id=each.id,
            name=each.name,
            may=may[each.scope] if each.kind is Kind.SESSION else f"{may[each.scope]} {_('(with a token)')}",
            seen=_seen(each, now, words),
            is_this=each.id in (client.session_id, client.token_id),
        )
        for each in reversed(known)
    ]


def devices_sentence(count: int, words: Words) -> tuple[str, str]:
    """Say how many devices are let in, and how to let in another."""
    _ = words.gettext
    if count == 0:
        return _("No device is let in yet."), _("A code lets one in.")
    sentence = words.ngettext("%(count)d device is let in.", "%(count)d devices are let in.", count) % {
        "count": count
    }
    return sentence, _("A code lets in another.")


def show_code(code: PairingCode, home: Sequence[str], now: Reading, words: Words) -> ShownCode:
    """Show a code, and as a QR code the address that takes it along.

    The code stands behind “#”: that part of an address is never sent to a server.
    """
    address = f"{home[0]}sign-in#code={code.text}" if home else ""
    return ShownCode(
        code=code.text,
        until=words.moment(now.utc + timedelta(seconds=LASTS_S), now.utc),
        address=f"{home[0]}sign-in" if home else "",
        picture=Markup(qr_svg(address)) if address else Markup(),  # noqa: S704 - drawn by the library
    )


def _seen(each: Credential, now: Reading, words: Words) -> str:
    _ = words.gettext
    made = {"day": _day(by_present_clock(each.made, now), words)}
    if each.used is None:
        return _("let in on %(day)s, not used yet") % made
    used = words.moment(by_present_clock(each.used, now), now.utc)
    return _("let in on %(day)s, last used %(moment)s") % {**made, "moment": used}


def _day(at_utc: datetime, words: Words) -> str:
    day = local(at_utc, words.tz).date()
    return f"{words.date(day)} {day.year}"

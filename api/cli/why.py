"""``leerie why``: lit or dark at an instant, because of what, and until when."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import click

from api.cli.options import json_option, load, print_json, read_option, site_argument
from api.render.numbers import spell_duration
from controller.clock.clock import now_utc

if TYPE_CHECKING:
    from controller.planning.decision import Decision
    from controller.planning.planner import Planner

_LOCAL_TIME = r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt ][0-9]{2}:[0-9]{2}(?::[0-9]{2})?"
_HALF_SECOND = timedelta(milliseconds=500)


@click.command("why", short_help="Say whether a zone is lit or dark, and why.")
@site_argument
@click.argument("zone_id", metavar="ZONE")
@click.option(
    "--at",
    metavar="INSTANT",
    help="Local time such as “2027-06-21 22:30”, or RFC 3339 such as 2027-06-22T02:30:00Z; default: now.",
)
@json_option
def why(*, site_path: Path, zone_id: str, at: str | None, as_json: bool) -> None:
    """Say whether ZONE is lit or dark at an instant, because of what, and until when.

    The answer comes from the site file alone. Overrides, a clock that is not trusted and relay faults are
    known to the daemon only, which answers at /v1/zones/ZONE/why.
    """
    from api.render.nights_json import decide_by_site_file, why_response
    from controller.planning.planner import Planner

    planner = Planner(load(site_path).site)
    at_utc, remark = now_utc(), ""
    if at is not None:
        at_utc, remark = read_option(partial(read_local_or_instant, tz=planner.tz), at, "--at")
    decision = decide_by_site_file(planner, zone_id, at_utc)
    if as_json:
        response = why_response(planner.site.name, zone_id, at_utc, decision, basis="site file")
        print_json({**response.model_dump(mode="json"), "remark": remark} if remark else response)
        return
    for line in _sentences(planner, zone_id, decision, at_utc, remark):
        click.echo(line)


def _sentences(
    planner: Planner, zone_id: str, decision: Decision, at_utc: datetime, remark: str
) -> list[str]:
    zone = planner.site.zone(zone_id)
    at = at_utc.astimezone(planner.tz)
    name = f"{zone.name} ({zone.id})" if zone.name != zone.id else zone.id
    if decision.until_utc is not None:
        until = (decision.until_utc + _HALF_SECOND).astimezone(planner.tz)
        then = "dark" if decision.on else "lit"
        ends = f"{until:%H:%M} on {until:%a %d %b %Y} (in {spell_duration(until - at)}); then {then}"
    else:
        ends = "further notice" if zone.out_of_service else "no change within the next 400 nights"
    elevation_deg = planner.sun.elevation_deg(at_utc)
    side = "below" if elevation_deg < 0 else "above"
    dusk_deg = planner.site.dusk_angle_deg
    return [
        f"{name} is {'lit' if decision.on else 'dark'} at {at:%H:%M} on {at:%a %d %b %Y} ({at:%Z}).",
        *([f"{remark}."] if remark else []),
        f"Because: {decision.words}.",
        f"Until: {ends}.",
        f"Night: {planner.night_at(at_utc).date:%a %d %b %Y}.",
        f"Sun: {abs(elevation_deg):.1f}° {side} the horizon; dusk is {dusk_deg:g}° below it.",
        "This is by the site file alone, without overrides, the state of the clock and relay faults.",
    ]


def read_local_or_instant(text: str, tz: ZoneInfo) -> tuple[datetime, str]:
    """Read an instant as a person or a program writes it.

    Args:
        text: local time, with or without seconds, or RFC 3339 with its offset.
        tz: time zone of the site, for local time.

    Returns:
        The instant in UTC, and a remark where the local time occurs twice or not at all.

    Raises:
        ValueError: it is neither; says what to write.
    """
    from api.render.instants import quote, read_date, read_instant
    from controller.calendar.night import local, utc_of_local

    text = text.strip()
    if not re.fullmatch(_LOCAL_TIME, text):
        if re.fullmatch(r"[0-9-]{10}.*([Zz]|[+-][0-9]{2}:[0-9]{2})", text):
            return read_instant(text), ""
        raise ValueError(
            f"{quote(text)} is not a time; write local time such as “2027-06-21 22:30”, "
            "or RFC 3339 such as 2027-06-22T02:30:00Z"
        )
    try:
        naive = datetime.fromisoformat(text)
    except ValueError:
        raise ValueError(f"{quote(text)} does not exist; check the date and the time") from None
    read_date(f"{naive:%Y-%m-%d}")
    at_utc = utc_of_local(naive, tz)
    shown = local(at_utc, tz)
    if shown.replace(tzinfo=None) != naive:
        what = f"the clocks go forward over it, so it is read as {shown:%H:%M}"
        return at_utc, f"{naive:%H:%M} does not occur on {naive:%Y-%m-%d}: {what}"
    if naive.replace(tzinfo=tz, fold=1).astimezone(UTC) != at_utc:
        what = "the clocks go back, and this is the first of the two"
        return at_utc, f"{naive:%H:%M} occurs twice on {naive:%Y-%m-%d}: {what}"
    return at_utc, ""

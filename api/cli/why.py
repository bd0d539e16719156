"""``leerie why``: lit or dark at an instant, because of what, and until when."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from api.cli.options import json_option, load, now_utc, print_json, read_local_or_instant, site_argument

if TYPE_CHECKING:
    from api.render.nights_json import WhyResponse
    from controller.planning.planner import Planner


@click.command("why", short_help="Say whether a zone is lit or dark, because of what, until when.")
@site_argument
@click.argument("zone_id", metavar="ZONE")
@click.option(
    "--at",
    "at",
    metavar="INSTANT",
    help="Local time such as “2027-06-21 22:30”, or RFC 3339 such as 2027-06-22T02:30:00Z; else now.",
)
@json_option
def why(*, site_path: Path, zone_id: str, at: str | None, as_json: bool) -> None:
    """Say whether ZONE is lit or dark at an instant, because of what, and until when.

    The answer goes by the site file alone. What somebody asked for at the time, a clock that was not trusted
    and a relay at fault are known to the daemon, which answers at /v1/zones/ZONE/why.
    """
    from api.render.nights_json import why_by_site_file
    from controller.planning.planner import Planner

    planner = Planner(load(site_path).site)
    at_utc, remark = now_utc(), ""
    if at is not None:
        try:
            at_utc, remark = read_local_or_instant(at, planner.tz)
        except ValueError as error:
            raise click.BadParameter(str(error), param_hint="--at") from None
    answer = why_by_site_file(planner, zone_id, at_utc)
    if as_json:
        print_json({**answer.model_dump(mode="json"), "remark": remark} if remark else answer)
        return
    for line in _sentences(planner, answer, at_utc, remark):
        click.echo(line)


def _sentences(planner: Planner, answer: WhyResponse, at_utc: datetime, remark: str) -> list[str]:
    """Put the answer into sentences."""
    from api.render.tables import spell_duration

    zone = planner.site.zone(answer.zone)
    at = at_utc.astimezone(planner.tz)
    name = f"{zone.name} ({zone.id})" if zone.name != zone.id else zone.id
    lines = [f"{name} is {'lit' if answer.on else 'dark'} at {at:%H:%M} on {at:%a %d %b %Y} ({at:%Z})."]
    if remark:
        lines.append(f"{remark}.")
    lines.append(f"Because: {answer.because}.")
    if answer.until is None:
        ends = "no end in sight" if zone.out_of_service else "there is no change within the next 400 nights"
    else:
        until = datetime.fromisoformat(answer.until).astimezone(planner.tz)
        then = "dark" if answer.on else "lit"
        ends = f"{until:%H:%M} on {until:%a %d %b %Y}, {spell_duration(until - at)} later; then {then}"
    lines.append(f"Until: {ends}.")
    night = planner.night_at(at_utc)
    height_deg = planner.sun.elevation_deg(at_utc)
    side = "below" if height_deg < 0 else "above"
    lines.append(
        f"In this night of {night.date:%a %d %b} the sun stands {abs(height_deg):.1f}° {side} the horizon. "
        f"Dusk is at {planner.site.dusk_angle_deg:g}° below."
    )
    lines.append(f"This is {answer.note}.")
    return lines

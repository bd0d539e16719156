"""The command: looks at everything, and prints what there is to say about it."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from api.cli.main import default_state
from api.cli.options import json_option, load, port_option, print_json, site_argument

if TYPE_CHECKING:
    from api.cli.doctor.network import Asked
    from config.file.loader import LoadedSite
    from controller.doctor.check import Check
    from controller.doctor.clock import ClockFacts, ZoneDataFacts
    from controller.journal.previous_run import PreviousRun


@click.command("doctor", short_help="Look at the board: clock, pins, journal, disk, network, service.")
@site_argument
@click.option("--all", "show_all", is_flag=True, help="List what is in order as well.")
@json_option
@click.option(
    "--state",
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="Folder of the journal; default: the installed service's, else that of `leerie run`.",
)
@port_option("Port of the running daemon; default: as in the site file.")
def doctor(*, site_path: Path, show_all: bool, as_json: bool, state: Path | None, port: int | None) -> int:
    """Look at the board, and say what is wrong and what to do; exit 1 where something is an error.

    It looks at the clock and the time zone data, the pins and who may use them, their driver, the journal and
    its backups, the disk and how much is written to it, the network, who is let in, the service and the
    versions. A running daemon is asked what it knows. Nothing is changed.
    """
    from api.render.doctor.as_json import doctor_report
    from config.errors import Severity

    loaded = load(site_path)
    asked, checks = look(loaded, state, port)
    if as_json:
        print_json(doctor_report(loaded.site.name, checks, asked=asked))
    else:
        from api.render.doctor.table import doctor_table
        from api.render.tables import show

        show(*doctor_table(loaded.site.name, checks, show_all=show_all, path=str(site_path)))
    return 1 if any(each.level is Severity.ERROR for each in checks) else 0


def look(
    loaded: LoadedSite, state: Path | None, port: int | None, *, root: Path = Path("/")
) -> tuple[bool, list[Check]]:
    """Look at everything; gives whether the daemon was asked, and what there is to say."""
    from api.cli.doctor.board import find_driver, find_relays, user_name
    from api.cli.doctor.network import ask, find_access, find_network
    from api.cli.doctor.service import ask_systemd, find_versions, unit_facts
    from api.cli.doctor.storage import find_disk, find_journal, is_kept
    from controller.doctor.clock import judge_clock, judge_zone_data
    from controller.doctor.network import judge_access, judge_network
    from controller.doctor.relays import judge_driver, judge_pins
    from controller.doctor.service import SiteFileFacts, judge_site_file, judge_unit, judge_versions
    from controller.doctor.storage import judge_disk, judge_journal, judge_wear

    site = loaded.site
    properties = ask_systemd(root=root)
    unit = unit_facts(properties)
    is_installed = properties is not None and unit.load == "loaded"
    service = properties if properties is not None and is_installed else {}
    state = state or _state_of(service)
    port = port or site.network.port
    kept = is_kept(state, root=root)
    asked = ask(site, port, kept=kept)
    status = asked.status
    journal, previous = find_journal(state, status.journal if status else None, kept=kept)
    clock, zone_data = _find_clock(loaded, asked, previous, root=root)
    now_utc = clock.now_utc if clock.trusted and not clock.impossible else None
    disk = find_disk(state, root=root, kept=kept)
    relays = find_relays(
        site,
        root=root,
        user=service.get("User") or user_name(os.geteuid()),
        more_groups=service.get("SupplementaryGroups", "").split(),
        kept=kept or status is not None,
        faults={each.id: each.fault.because for each in status.zones if each.fault} if status else {},
    )
    site_file = SiteFileFacts(
        refused=(status.site_file.refused or "") if status else "",
        changed=bool(status and status.site_file.changed_at),
    )
    return status is not None, [
        *judge_clock(clock),
        *judge_zone_data(zone_data, now_utc),
        *judge_site_file(site_file),
        *_pin_warnings(loaded),
        *judge_pins(relays),
        *judge_driver(find_driver(site, root=root)),
        *judge_journal(journal),
        *judge_disk(disk),
        *judge_wear(disk, journal),
        *judge_network(find_network(site, port, asked, kept=kept, installed=is_installed, now_utc=now_utc)),
        *judge_access(find_access(site, state, asked)),
        *judge_unit(unit),
        *judge_versions(find_versions()),
    ]


def _state_of(service: dict[str, str]) -> Path:
    """The state folder of the installed service, else that of ``leerie run``. Source: systemd.exec(5)."""
    name = service.get("StateDirectory", "").split()[:1]
    return Path("/var/lib", name[0]) if name and not os.environ.get("STATE_DIRECTORY") else default_state()


def _find_clock(
    loaded: LoadedSite, asked: Asked, previous: PreviousRun, *, root: Path
) -> tuple[ClockFacts, ZoneDataFacts]:
    """Have the daemon say what it thinks of its clock; without one, judge it as one that starts now would."""
    from datetime import datetime

    from controller.clock.evidence import HARDWARE_CLOCKS
    from controller.clock.kernel import read_line
    from controller.clock.trust import IMPOSSIBLE
    from controller.clock.tzdata import tz_data_version
    from controller.doctor.clock import ClockFacts, ZoneDataFacts

    believe = loaded.site.clock.believe
    if asked.status is not None:
        now, rules = asked.status.clock, asked.status.time_zone.rules
        now_utc, trusted, trust = datetime.fromisoformat(now.now), now.trusted, now.because
    else:
        reading, rules = previous.make_clock(believe).read(), tz_data_version(loaded.site.time_zone)
        now_utc, trusted, trust = reading.utc, reading.trusted, reading.trust
    edition, _, place = rules.partition(", from ")
    clock = ClockFacts(
        now_utc=now_utc,
        trusted=trusted,
        trust=trust,
        impossible=trust.startswith(IMPOSSIBLE),
        always=believe == "always",
        hardware=any(read_line(each / "hctosys") == "1" for each in (root / HARDWARE_CLOCKS).glob("rtc*")),
    )
    return clock, ZoneDataFacts(edition=edition, place=place)


def _pin_warnings(loaded: LoadedSite) -> Iterator[Check]:
    """What the check of the site file says of pins: reserved ones, and those pulled up at the start."""
    from config.phrase import list_phrases
    from controller.doctor.check import warning

    for problem in loaded.warnings:
        if problem.key.endswith((".pin", ".active_high")):
            place = list_phrases([problem.where or problem.key, problem.value], " = ")
            yield warning("pins", list_phrases([place, problem.what], " "), problem.remedy)

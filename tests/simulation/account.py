"""The account of a whole life, compared with what the pins did: which night, which zone, how much energy.

Where nothing went wrong in a life but that people changed the site file, asked for light and restarted the
program, every figure is worked out again from the relays themselves: hours and lamps' energy of each zone and
night, and what the meter took, through the transformer of the time. In every other life each run of the
journal must belong to the instants at which its relay really moved, by the best clock that the board had.
"""

from __future__ import annotations

from collections import defaultdict
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path
from sqlite3 import connect  # before the world puts its own in its place
from typing import NamedTuple

from config.models.site import Site, Transformer
from controller.calendar.periods import Each
from controller.history.query import HoursQuery
from controller.history.report import report_hours
from controller.history.source import RenamedJournal
from controller.journal.reader import JournalReader
from controller.planning.planner import Planner
from tests.simulation.happened import Moment
from tests.simulation.told import Told
from tests.simulation.violation import Violation
from tests.simulation.world import World

# An instant is kept to a millisecond, at the beginning and at the end of every run.
LIT_S = 0.1
# Two clocks are compared, each kept to a millisecond; a step of the clock is more than a second.
INSTANT_S = 1.1
ENERGY_J = 20.0


class Lit(NamedTuple):
    """A zone that was lit, in true seconds since the world began, and its rated load."""

    zone: str
    from_s: float
    to_s: float
    load_w: float


class Piece(NamedTuple):
    """A stretch over which the same zones were lit, in one night and with one site."""

    night: date
    lasts_s: float
    site: Site
    lit: list[Lit]


def check_runs(world: World, told: Told, state: Path) -> None:
    """Every run of the journal belongs to the instants at which its relay moved."""
    with connect(f"file:{told.path}?mode=ro", uri=True) as journal:
        rows = journal.execute(
            "SELECT zone.name, b.lit_ms, "
            "ours.boot_id, a.boot_ms, a.trusted, theirs.boot_id, b.boot_ms, b.trusted "
            "FROM switching b JOIN switching a ON a.id = b.on_id JOIN zone ON zone.id = a.zone "
            "JOIN boot ours ON ours.id = a.boot JOIN boot theirs ON theirs.id = b.boot"
        ).fetchall()
    journal.close()
    runs = defaultdict(list)
    for run in JournalReader(state).runs():
        if run.lit_s is not None:
            runs[run.zone, round(run.lit_s * 1000)].append(
                run.on_utc.timestamp() - world.start_utc.timestamp()
            )
    expected = []
    for zone, lit_ms, *ends in rows:
        on, off = (Moment(int(boot.split("-")[1]), *at) for boot, *at in (ends[:3], ends[3:]))
        expected.append((zone, lit_ms, told.may_have_begun_s(on, off)))
    # Those that may have begun at any time come last.
    for zone, lit_ms, candidates in sorted(expected, key=lambda each: not each[2]):
        found = runs[zone, lit_ms]
        fits = [
            at_s for at_s in found if not candidates or min(abs(at_s - s) for s in candidates) < INSTANT_S
        ]
        if not fits:
            raise Violation(
                f"a run of {zone} over {lit_ms} ms began at {candidates}, and is said to at {found}"
            )
        found.remove(fits[0])


def check_account(world: World, told: Told, state: Path, site: Site) -> None:
    """Every figure of the account is what the relays did; nothing went wrong in this life."""
    source, now_utc = RenamedJournal(JournalReader(state), site), world.true_utc
    query = HoursQuery(by=Each.NIGHT, everything=True)
    report = report_hours(Planner(site), source, query, now_utc=now_utc)
    said, truth = Figures(), Figures()
    for row in report.rows:
        assert row.period is not None
        night, zone = row.period.first, row.zone or ""
        said.add(night, zone, row.lit_ms / 1000, float(row.lamps_j), float(row.meter_j or 0))
    for piece in cut_up(world, told):
        truth.add(piece.night, "", 0.0, 0.0, meter_w(piece) * piece.lasts_s)
        for each in piece.lit:
            zone, lamps_j = site.zone_id_now(each.zone), each.load_w * piece.lasts_s
            truth.add(piece.night, zone, piece.lasts_s, lamps_j, 0.0)
    # Near a move to another time zone nights are cut in their own way; in all they are the same.
    near = {
        told.sites[0][2].night_date(world.start_utc.timestamp() + at_s) + timedelta(days=days)
        for at_s in moved(told)
        for days in range(-2, 3)
    }
    said.compare(truth, near)


class Figures:
    """Hours and lamps' energy of each night and zone, and the meter's energy of each night."""

    def __init__(self) -> None:
        """Begin with nothing."""
        self.lit_s: dict[tuple[date, str], float] = defaultdict(float)
        self.lamps_j: dict[tuple[date, str], float] = defaultdict(float)
        self.meter_j: dict[date, float] = defaultdict(float)

    def add(self, night: date, zone: str, lit_s: float, lamps_j: float, meter_j: float) -> None:
        """Add what a zone did in a night."""
        self.lit_s[night, zone] += lit_s
        self.lamps_j[night, zone] += lamps_j
        self.meter_j[night] += meter_j

    def compare(self, truth: Figures, left_out: set[date]) -> None:
        """Compare an account with what was, in all and night by night, but for some nights."""
        for what, own, others, may_differ in (
            ("lit", self.lit_s, truth.lit_s, LIT_S),
            ("lamps", self.lamps_j, truth.lamps_j, ENERGY_J),
            ("meter", self.meter_j, truth.meter_j, ENERGY_J),
        ):
            said, was = sum(own.values()), sum(others.values())
            if abs(said - was) > may_differ * 30 + was * 1e-6:
                raise Violation(f"{what}: {was:.2f} in all, {said:.2f} by the account")
            for key in own.keys() | others.keys():
                night = key if isinstance(key, date) else key[0]
                if night in left_out:
                    continue
                if abs(own[key] - others[key]) > may_differ + others[key] * 1e-6:
                    raise Violation(f"{what}, {key}: {others[key]:.2f}, {own[key]:.2f} by the account")


def moved(told: Told) -> set[float]:
    """Give when the site was moved to another time zone."""
    return {at_s for (_, old, _), (at_s, new, _) in pairwise(told.sites) if old.time_zone != new.time_zone}


def cut_up(world: World, told: Told) -> list[Piece]:
    """Cut a life wherever a relay moved, the site changed or a night ended."""
    lit = [each for number in world.pins for each in lit_by(world, told, number)]
    start_s = world.start_utc.timestamp()
    sites = {at_s: (site, oracle) for at_s, site, oracle in told.sites}
    noons = set()
    for (from_s, _, oracle), to_s in zip(
        told.sites, [*(at_s for at_s, *_ in told.sites[1:]), world.now_s], strict=False
    ):
        day = oracle.night_date(start_s + from_s)
        while oracle.noon_s(day) - start_s < to_s:
            noons.add(max(oracle.noon_s(day) - start_s, from_s))
            day += timedelta(days=1)
    cuts = {0.0, world.now_s, *noons, *sites, *(at_s for each in lit for at_s in each[1:3])}
    pieces, (site, oracle) = [], sites[told.sites[0][0]]
    for from_s, to_s in pairwise(sorted(cuts)):
        site, oracle = sites.get(from_s, (site, oracle))
        inside = [each for each in lit if each.from_s <= from_s and to_s <= each.to_s]
        night = oracle.night_date(start_s + (from_s + to_s) / 2)
        pieces.append(Piece(night, to_s - from_s, site, inside))
    return pieces


def lit_by(world: World, told: Told, number: int) -> list[Lit]:
    """Give when a relay was closed, as zones that were lit: cut where a zone got another id."""
    found = []
    changes = world.pins[number].changes
    for change, to_s in zip(changes, [*(change.at_s for change in changes[1:]), world.now_s], strict=False):
        if not change.lit:
            continue
        zone, from_s, load_w = "", change.at_s, 0.0
        for at_s, site, _ in told.sites:
            here = next((each for each in site.zones if each.pin == number), None)
            # Its relay may be another one from now on, and this one still rest before it is released.
            again = next((each for each in site.zones if zone in each.formerly), None)
            if at_s <= change.at_s and here is not None:
                zone, load_w = here.id, here.rated_load.watts or 0.0
            elif change.at_s < at_s < to_s and again is not None:
                found.append(Lit(zone, from_s, at_s, load_w))
                zone, from_s = again.id, at_s
        found.append(Lit(zone, from_s, to_s, load_w))
    return found


def meter_w(piece: Piece) -> float:
    """Give what the meter takes: through each transformer that has zones, and past them."""
    site, watts = piece.site, 0.0
    of_zone = {zone.id: site.transformer_of(zone) for zone in site.zones}
    fed = {each.id: each for each in of_zone.values() if each is not None}
    for transformer in fed.values():
        lit = [each for each in piece.lit if of_zone.get(each.zone) is transformer]
        watts += input_w(transformer, sum(each.load_w for each in lit), lit=bool(lit))
    return watts + sum(each.load_w for each in piece.lit if of_zone.get(each.zone) is None)


def input_w(transformer: Transformer, load_w: float, *, lit: bool) -> float:
    """Give what a transformer takes, by the textbook: its idle loss, and what its load costs."""
    idle_w = transformer.no_load_w or 0.0
    if not lit:
        return 0.0 if transformer.relay_side == "mains" else idle_w
    if transformer.efficiency is not None:
        return max(load_w / transformer.efficiency, load_w + idle_w)
    copper_w = (transformer.copper_w or 0.0) * (load_w / transformer.rated_va) ** 2
    return load_w + idle_w + copper_w

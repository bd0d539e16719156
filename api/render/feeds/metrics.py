"""Metrics for monitoring, in the text format 0.0.4 and as OpenMetrics 1.0.

Imported at the first request for them. The registry is our own, made for each request: the library's own
would show the process instead.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from prometheus_client import CollectorRegistry
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, InfoMetricFamily, Metric
from prometheus_client.exposition import choose_encoder
from prometheus_client.registry import Collector

from config.models.site import Site
from controller.keeper.state import KeeperStatus
from controller.records.past import ZoneSum

_Family = type[CounterMetricFamily] | type[GaugeMetricFamily]
_COUNTER, _GAUGE = CounterMetricFamily, GaugeMetricFamily


@dataclass(frozen=True, kw_only=True, slots=True)
class MetricsInput:
    """What there is to be measured.

    Attributes:
        status: after the keeper's last round.
        round_age_s: how long ago that was, by a clock that nobody sets.
        sun_elevation_deg: None while the clock is not trusted.
        totals: of each zone, from the journal; None where it cannot be read now.
    """

    version: str
    site: Site
    status: KeeperStatus
    round_age_s: float
    sun_elevation_deg: float | None
    totals: Iterable[ZoneSum] | None


def write_metrics(found: MetricsInput, *, media_type: str) -> tuple[bytes, str]:
    """Write every metric; one whose value is not known has no sample.

    Returns:
        The text and its full media type, of OpenMetrics where that was asked for.
    """
    registry = CollectorRegistry()
    registry.register(_Once(found))
    encode, full_type = choose_encoder(media_type)
    return encode(registry), full_type


class _Once(Collector):
    """Gives the metrics of one instant."""

    def __init__(self, found: MetricsInput) -> None:
        self._found = found

    def collect(self) -> Iterator[Metric]:
        """Give every metric, by the contract of the registry."""
        found = self._found
        words = "Version of Leerie, as a label; always 1."
        yield InfoMetricFamily("leerie_build", words, value={"version": found.version})
        yield from _of_zones(found.site, found.status)
        yield from _of_journal(found.site, found.totals)
        yield from _of_keeper(found)


def _of_zones(site: Site, status: KeeperStatus) -> Iterator[Metric]:
    zones = status.zones
    words = "1 while the zone is lit, as read back from its relay; 0 while it is dark."
    yield _metric(_GAUGE, "leerie_zone_lit", "", words, {each.zone: each.lit for each in zones})
    words = "When the zone's light changes next, in seconds since 1970; no sample where that is not known."
    changes = {each.zone: each.decision.until_utc for each in zones}
    stamps = {zone: at_utc.timestamp() for zone, at_utc in changes.items() if at_utc is not None}
    yield _metric(_GAUGE, "leerie_zone_next_change_timestamp_seconds", "seconds", words, stamps)
    words = "1 while the zone's relay does not do as it is set."
    faulty = {each.zone: each.fault is not None for each in zones}
    yield _metric(_GAUGE, "leerie_zone_relay_fault", "", words, faulty)
    words = "How often the zone's relay began to fail, since Leerie was started."
    faults = {each.zone: each.faults for each in zones}
    yield _metric(_COUNTER, "leerie_zone_relay_faults", "faults", words, faults)
    words = "Load of all lamps of the zone in watts, measured or rated; no sample where it is not known."
    loads = {each.id: each.rated_load.watts for each in site.zones}
    known = {zone: load_w for zone, load_w in loads.items() if load_w is not None}
    yield _metric(_GAUGE, "leerie_zone_rated_load_watts", "watts", words, known)


def _of_journal(site: Site, totals: Iterable[ZoneSum] | None) -> Iterator[Metric]:
    """Give the totals since the journal began, which its account has ready."""
    sums: dict[str, ZoneSum] = {}
    if totals is not None:
        sums = {zone.id: ZoneSum(zone=zone.id, by_load=()) for zone in site.zones}
        sums |= {each.zone: each for each in totals if each.zone in sums}
    words = "Seconds that the zone was lit since the journal began; a run counts when it ends."
    lit_s = {zone: each.lit_s for zone, each in sums.items()}
    yield _metric(_COUNTER, "leerie_zone_run_seconds", "seconds", words, lit_s)
    words = "How often the zone was switched on since the journal began."
    starts = {zone: each.starts for zone, each in sums.items()}
    yield _metric(_COUNTER, "leerie_zone_starts", "starts", words, starts)
    words = (
        "Energy of the zone's lamps in joules since the journal began, at the load of the time, without the "
        "losses of cables and transformers. A run counts when it ends, and not where its load was not known."
    )
    energy_j = {
        zone: sum(part.lit_s * part.load_w for part in each.by_load if part.load_w is not None)
        for zone, each in sums.items()
        if not each.by_load or any(part.load_w is not None for part in each.by_load)
    }
    yield _metric(_COUNTER, "leerie_zone_lamp_energy_joules", "joules", words, energy_j)


def _of_keeper(found: MetricsInput) -> Iterator[Metric]:
    status = found.status
    words = "Elevation of the sun's centre without refraction, in degrees, negative below the horizon."
    yield _metric(_GAUGE, "leerie_sun_elevation_degrees", "degrees", words, found.sun_elevation_deg)
    words = "1 while the clock is trusted; 0 while programs are held because it may be wrong."
    yield _metric(_GAUGE, "leerie_clock_trusted", "", words, status.at.trusted)
    words = "How often the keeper compared every relay with its decision, since Leerie was started."
    yield _metric(_COUNTER, "leerie_keeper_rounds", "rounds", words, status.rounds)
    words = "Seconds since the keeper's last round; one is due at least every 30 s."
    yield _metric(_GAUGE, "leerie_keeper_last_round_age_seconds", "seconds", words, found.round_age_s)
    words = "Entries that wait to be written into the journal."
    yield _metric(_GAUGE, "leerie_journal_waiting_entries", "entries", words, status.waiting)
    words = "Entries that were dropped because too many waited, since Leerie was started."
    yield _metric(_COUNTER, "leerie_journal_lost_entries", "entries", words, status.lost)
    words = "1 while the journal cannot be written; the lights do not depend on it."
    yield _metric(_GAUGE, "leerie_journal_fault", "", words, status.journal_fault is not None)
    words = "1 while the site file is not in use because it is not valid."
    yield _metric(_GAUGE, "leerie_site_file_refused", "", words, status.refused is not None)
    words = "1 where the relays are simulated and nothing is switched."
    yield _metric(_GAUGE, "leerie_relays_simulated", "", words, status.simulated)


def _metric(
    family: _Family, name: str, unit: str, words: str, values: Mapping[str, float] | float | None
) -> Metric:
    """Make a metric of a value for each zone, of one value, or of none."""
    if not isinstance(values, Mapping):
        return family(name, words, value=values, unit=unit)
    metric = family(name, words, labels=["zone"], unit=unit)
    for zone, value in values.items():
        metric.add_metric([zone], value)
    return metric

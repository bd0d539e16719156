"""Any sequence of entries that is written is the sequence that is read."""

from __future__ import annotations

import contextlib
import sqlite3
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from controller.journal.rows import NOT_TRUSTED, TRUSTED
from controller.records.entries import (
    Cause,
    Entry,
    Event,
    EventKind,
    FixtureIds,
    Heartbeat,
    Override,
    OverrideEnded,
    Replacement,
    ReplacementUndone,
    Switching,
)
from controller.records.past import PastOverride
from controller.records.reading import Reading
from tests.controller.journal_samples import (
    written_journal,
)

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
ZONES = ("jetty", "steps", "path")


@st.composite
def readings(draw: st.DrawFn) -> Reading:
    """Any look at any clock, to the millisecond: it may step, restart, and be years off."""
    trusted = draw(st.booleans())
    return Reading(
        utc=EPOCH + timedelta(milliseconds=draw(st.integers(-(10**13), 10**14))),
        boot_s=draw(st.integers(0, 10**11)) / 1000,
        boot_id=draw(st.sampled_from(["boot-1", "boot-2", "boot-3"])),
        trusted=trusted,
        trust=TRUSTED if trusted else NOT_TRUSTED,
    )


words = st.text(st.characters(blacklist_categories=("Cs",), blacklist_characters="\0"), max_size=20)
zones = st.sampled_from(ZONES)
watts = st.none() | st.floats(0, 1e4, allow_nan=False)
seconds = st.none() | st.floats(-1e9, 1e9, allow_nan=False)
switchings = st.builds(
    Switching,
    zone=zones,
    at=readings(),
    on=st.booleans(),
    cause=st.sampled_from(Cause),
    words=words,
    load_w=watts,
    load_from=st.sampled_from(["fixtures", "rated", "measured", ""]),
)
events = st.builds(
    Event, kind=st.sampled_from(EventKind), at=readings(), words=words, zone=st.none() | zones, size_s=seconds
)
overrides = st.builds(
    Override,
    zone=zones,
    on=st.booleans(),
    placed_at=readings(),
    ends_at_utc=st.none() | readings().map(lambda at: at.utc),
    lasts_s=seconds,
    by=words,
)
ends = st.builds(OverrideEnded, zone=zones, at=readings(), words=words)
# Few enough that the same part is replaced on the same date more than once.
replaced = {"zone": zones, "part": st.sampled_from(["1", "spot", "relay"]), "at": readings()}
replaced["on_date"] = st.dates(date(2027, 6, 1), date(2027, 6, 3))
replacements = (
    st.builds(Replacement, **replaced, note=words)
    | st.builds(ReplacementUndone, **replaced)
    | st.builds(FixtureIds, ids=st.dictionaries(st.tuples(zones, st.just(1)), st.just("spot")))
)
anything = st.lists(
    switchings | events | overrides | ends | replacements | st.builds(Heartbeat, at=readings())
)


def model_overrides(entries: list[Entry]) -> list[PastOverride]:
    """Pair overrides with their ends, in the plainest way that there is."""
    past: list[PastOverride] = []
    for entry in entries:
        if isinstance(entry, Override | OverrideEnded):
            for number, other in enumerate(past):
                if other.override.zone == entry.zone and other.ended is None:
                    replaced = isinstance(entry, Override)
                    ended = (
                        OverrideEnded(zone=entry.zone, at=entry.placed_at, words="another one took its place")
                        if replaced
                        else entry
                    )
                    past[number] = PastOverride(override=other.override, ended=ended)
        if isinstance(entry, Override):
            past.append(PastOverride(override=entry, ended=None))
    return past


def model_replacements(entries: list[Entry]) -> list[Replacement]:
    """Keep the last word on each part and date; what a place was given goes to the fixture there."""
    known: dict[tuple[str, str, date], Replacement | None] = {}
    for entry in entries:
        match entry:
            case Replacement():
                known[entry.zone, entry.part, entry.on_date] = entry
            case ReplacementUndone() if (entry.zone, entry.part, entry.on_date) in known:
                known[entry.zone, entry.part, entry.on_date] = None
            case FixtureIds():
                for (zone, place), part in entry.ids.items():
                    for key in [key for key in known if key[:2] == (zone, str(place))]:
                        found = known.pop(key)
                        moved = None if found is None else replace(found, part=part)
                        known.setdefault((zone, part, key[2]), moved)
    return [each for each in known.values() if each is not None]


class TestAnySequence:
    @settings(max_examples=60, deadline=None)
    @given(entries=anything, flush_after=st.frozensets(st.integers(0, 30)))
    def test_what_is_written_is_what_is_read(self, entries, flush_after):
        """Every entry comes back as it went in, in order, however many transactions wrote them."""
        with written_journal(entries, flush_after) as reader:
            with contextlib.closing(sqlite3.connect(reader.path)) as connection:
                in_order = [row[0] for row in connection.execute("SELECT id FROM switching ORDER BY id")]
            found = sorted(reader.events(), key=str)
            assert found == sorted((entry for entry in entries if isinstance(entry, Event)), key=str)
            assert list(reader.overrides()) == model_overrides(entries)
            assert sorted(reader.replacements(), key=str) == sorted(model_replacements(entries), key=str)
            put_in = [entry for entry in entries if isinstance(entry, Switching)]
            # Beside those put in there are the ends of runs that nobody ended.
            out = list(reader.switchings())
            for entry in put_in:
                out.remove(entry)
            assert all(not extra.on and extra.cause in (Cause.POWER_LOST, Cause.STOPPED) for extra in out)
            assert len(in_order) == len(put_in) + len(out)
            self.assert_alternating(reader.path)

    @staticmethod
    def assert_alternating(path: Path) -> None:
        """No zone is lit twice without having been put out between."""
        last: dict[int, int] = {}
        with contextlib.closing(sqlite3.connect(path)) as connection:
            for zone, on in connection.execute("SELECT zone, lit FROM switching ORDER BY id"):
                assert not (on and last.get(zone))
                last[zone] = on

    @settings(max_examples=60, deadline=None)
    @given(entries=anything)
    def test_switchings_are_given_by_instant(self, entries):
        """An interval gives what a plain filter gives, in order of instants; newest first is the reverse."""
        with written_journal(entries) as reader:
            everything = list(reader.switchings())
            assert [entry.at.utc for entry in everything] == sorted(entry.at.utc for entry in everything)
            assert list(reader.switchings(newest_first=True)) == everything[::-1]
            assert list(reader.switchings(newest_first=True, limit=3)) == everything[::-1][:3]
            assert list(reader.switchings(zone="steps")) == [one for one in everything if one.zone == "steps"]
            for middle in {entry.at.utc for entry in everything[:3]}:
                parts = [*reader.switchings(None, middle), *reader.switchings(middle)]
                assert parts == everything
                assert list(reader.switchings(middle, middle)) == []

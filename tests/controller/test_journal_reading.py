"""Reading the journal: any sequence written is the sequence read, and runs and sums are those of a plain model."""

from __future__ import annotations

import contextlib
import shutil
import sqlite3
import tempfile
import threading
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from config.errors import JournalError
from controller.entries import Beat, Cause, Entry, Event, EventKind, Override, OverrideEnded, Replacement, Switching
from controller.journal import Journal
from controller.journal_reading import JournalReader, PastOverride
from controller.journal_rows import NOT_TRUSTED, TRUSTED
from controller.reading import Reading
from tests.controller.journal_samples import DUSK, dark, event, lit, model_runs, reaches_from, reading, wish

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
ZONES = ("jetty", "steps", "path")


@pytest.fixture
def state(tmp_path: Path) -> Path:
    return tmp_path / "state"


def keep(state: Path, *entries: Entry) -> JournalReader:
    journal = Journal(state)
    for entry in entries:
        journal.append(entry)
    journal.flush()
    journal.close()
    return JournalReader(state)


@contextlib.contextmanager
def kept(entries: list[Entry], flush_after: frozenset[int] = frozenset()) -> Iterator[JournalReader]:
    """Write entries, in as many transactions as asked, and open a reader while the journal stays open."""
    with tempfile.TemporaryDirectory() as folder:
        journal = Journal(Path(folder))
        journal.open()
        for number, entry in enumerate(entries):
            journal.append(entry)
            if number in flush_after:
                journal.flush()
        journal.flush()
        assert journal.lost == 0
        yield JournalReader(Path(folder))
        journal.close()


# -- any sequence --------------------------------------------------------------------------------------------


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
    Switching, zone=zones, at=readings(), on=st.booleans(), cause=st.sampled_from(Cause), words=words, load_w=watts,
    load_from=st.sampled_from(["fixtures", "rated", "measured", ""]),
)
events = st.builds(
    Event, kind=st.sampled_from(EventKind), at=readings(), words=words, zone=st.none() | zones, size_s=seconds
)
overrides = st.builds(
    Override, zone=zones, on=st.booleans(), placed_at=readings(),
    ends_at_utc=st.none() | readings().map(lambda at: at.utc), lasts_s=seconds, by=words,
)
ends = st.builds(OverrideEnded, zone=zones, at=readings(), words=words)
replacements = st.builds(
    Replacement, zone=zones, fixture=st.integers(1, 99), on_date=st.dates(), at=readings(), note=words
)
anything = st.lists(switchings | events | overrides | ends | replacements | st.builds(Beat, at=readings()))


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


class TestAnySequence:
    @settings(max_examples=60, deadline=None)
    @given(entries=anything, flush_after=st.frozensets(st.integers(0, 30)))
    def test_what_is_written_is_what_is_read(self, entries, flush_after):
        """Every entry comes back as it went in, in order, however many transactions wrote them."""
        with kept(entries, flush_after) as reader:
            with contextlib.closing(sqlite3.connect(reader.path)) as connection:
                in_order = [row[0] for row in connection.execute("SELECT id FROM switching ORDER BY id")]
            found = sorted(reader.events(), key=str)
            assert found == sorted((entry for entry in entries if isinstance(entry, Event)), key=str)
            assert list(reader.overrides()) == model_overrides(entries)
            wanted = sorted((entry for entry in entries if isinstance(entry, Replacement)), key=str)
            assert sorted(reader.replacements(), key=str) == wanted
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
        """Any stretch gives what the plain filter gives, in order of instants; newest first is the reverse."""
        with kept(entries) as reader:
            everything = list(reader.switchings())
            assert [entry.at.utc for entry in everything] == sorted(entry.at.utc for entry in everything)
            assert list(reader.switchings(newest_first=True)) == everything[::-1]
            assert list(reader.switchings(newest_first=True, limit=3)) == everything[::-1][:3]
            assert list(reader.switchings(zone="steps")) == [one for one in everything if one.zone == "steps"]
            for middle in {entry.at.utc for entry in everything[:3]}:
                parts = [*reader.switchings(None, middle), *reader.switchings(middle)]
                assert parts == everything
                assert list(reader.switchings(middle, middle)) == []


# -- runs ----------------------------------------------------------------------------------------------------


@st.composite
def nights_of_light(draw: st.DrawFn) -> list[Switching]:
    """Alternating switchings of some zones on one boot-time clock, the wall clock stepping at will."""
    boot_ms, boot, wall_ms = 0, 1, draw(st.integers(0, 10**12))
    lit_zones: set[str] = set()
    entries: list[Switching] = []
    for _ in range(draw(st.integers(0, 30))):
        passed_ms = draw(st.sampled_from([0, 1, 500, 60_000, 3_600_000, 86_400_000, 200_000_000]))
        boot_ms += passed_ms
        wall_ms += passed_ms + draw(st.sampled_from([0, 0, 0, 0, 3_600_000, -3_600_000, 15_552_000_000, -90_000_000]))
        if draw(st.integers(0, 9)) == 0:
            boot, boot_ms = boot + 1, 5000
        at = Reading(
            utc=EPOCH + timedelta(milliseconds=wall_ms),
            boot_s=boot_ms / 1000,
            boot_id=f"boot-{boot}",
            trusted=True,
            trust=TRUSTED,
        )
        zone = draw(zones)
        entries.append((dark if zone in lit_zones else lit)(zone, at, load_w=draw(st.sampled_from([27.0, 30.5, None]))))
        lit_zones ^= {zone}
    return entries


def reaches_into(run, from_utc: datetime, to_utc: datetime) -> bool:
    """The same promise as JournalReader.runs, in the plainest way that there is."""
    begins = reaches_from(run)
    return begins < to_utc and (run.off_utc is None or run.off_utc > from_utc or begins >= from_utc)


class TestRuns:
    @settings(max_examples=120, deadline=None)
    @given(entries=nights_of_light(), data=st.data())
    def test_runs_are_those_of_a_plain_model(self, entries, data):
        """Whatever the clock does, every stretch gives exactly the runs that reach into it."""
        model = model_runs(entries)
        with kept(entries) as reader:
            found = list(reader.runs())
            assert sorted(found, key=str) == sorted(model, key=str)
            assert [reaches_from(run) for run in found] == [reaches_from(run) for run in model]
            instants = sorted({entry.at.utc for entry in entries} | {EPOCH})
            one, other = data.draw(st.sampled_from(instants)), data.draw(st.sampled_from(instants))
            shift = timedelta(milliseconds=data.draw(st.sampled_from([-1, 0, 1, 43_200_000])))
            from_utc, to_utc = min(one, other) + shift, max(one, other) + shift
            wanted = [run for run in model if reaches_into(run, from_utc, to_utc)]
            assert sorted(reader.runs(from_utc, to_utc), key=str) == sorted(wanted, key=str)
            of_zone = [run for run in wanted if run.zone == "jetty"]
            assert sorted(reader.runs(from_utc, to_utc, zone="jetty"), key=str) == sorted(of_zone, key=str)

    @settings(max_examples=80, deadline=None)
    @given(entries=nights_of_light())
    def test_the_account_is_the_sum_of_the_runs(self, entries):
        """Seconds, starts and cycles of the whole life, by zone and load, are those that the runs add up to."""
        with kept(entries) as reader:
            sums: dict[tuple[str, float | None], list[float]] = {}
            for run in model_runs(entries):
                part = sums.setdefault((run.zone, run.load_w), [0, 0, 0.0])
                part[0] += 1
                if run.lit_s is not None:
                    part[1] += 1
                    part[2] += run.lit_s
            found = {
                (zone.zone, part.load_w): [part.starts, part.cycles, pytest.approx(part.lit_s, abs=1e-6)]
                for zone in reader.whole_life()
                for part in zone.by_load
            }
            assert sums == found
            for zone in reader.whole_life():
                assert zone.starts == sum(part.starts for part in zone.by_load)

    def test_any_cut_of_a_stretch_gives_each_run_once_or_on_both_sides(self, state):
        """The runs of two halves are those of the whole; only a run over the cut is in both."""
        entries = []
        for night in range(10):
            entries += [lit("jetty", reading(night * 86400)), dark("jetty", reading(night * 86400 + 7200))]
        reader = keep(state, *entries)
        whole = list(reader.runs(DUSK, DUSK + timedelta(days=9)))
        for hours in range(0, 9 * 24, 5):
            cut = DUSK + timedelta(hours=hours, minutes=30)
            halves = [list(reader.runs(DUSK, cut)), list(reader.runs(cut, DUSK + timedelta(days=9)))]
            both = [run for run in halves[0] if run in halves[1]]
            assert sorted({*halves[0], *halves[1]}, key=str) == sorted(whole, key=str)
            assert all(run.on_utc < cut < run.off_utc for run in both)

    def test_a_run_of_weeks_is_found_from_within(self, state):
        """A zone that an override kept lit for three weeks is found by a night in the middle."""
        reader = keep(state, lit("jetty", reading()), dark("jetty", reading(21 * 86400)), lit("path", reading(5)))
        night = DUSK + timedelta(days=10)
        assert [run.zone for run in reader.runs(night, night + timedelta(days=1))] == ["jetty", "path"]

    def test_hours_since_an_instant(self, state):
        """Of a run that the instant cuts, the later part counts; loads stay apart."""
        reader = keep(
            state,
            lit("jetty", reading(0)),
            dark("jetty", reading(3600)),
            lit("jetty", reading(7200), load_w=40.0),
            dark("jetty", reading(9000)),
            lit("steps", reading(9100)),
        )
        (jetty,) = reader.lit_since(DUSK + timedelta(seconds=600))
        assert [(part.load_w, part.lit_s, part.starts, part.cycles) for part in jetty.by_load] == [
            (27.0, 3000.0, 0, 1),
            (40.0, 1800.0, 1, 1),
        ]
        assert [zone.lit_s for zone in reader.lit_since(DUSK - timedelta(days=1))] == [5400.0]
        assert reader.lit_since(DUSK + timedelta(days=1)) == []

    def test_a_load_that_changes_does_not_rewrite_the_past(self, state):
        """Each run keeps the load that its zone had when it was lit."""
        reader = keep(
            state,
            lit("jetty", reading(), load_w=27.0),
            dark("jetty", reading(60), load_w=40.0),
            lit("jetty", reading(120), load_w=40.0),
            dark("jetty", reading(180), load_w=40.0),
        )
        assert [run.load_w for run in reader.runs()] == [27.0, 40.0]


class TestQuestions:
    def test_overrides_of_a_stretch_are_those_in_force_in_it(self, state):
        """One that was placed before and ended within, or not yet, belongs to the stretch."""
        reader = keep(
            state,
            wish("jetty", reading(0)),
            wish("steps", reading(10)),
            OverrideEnded(zone="jetty", at=reading(100), words="its time was over"),
        )

        def found(from_s: float, to_s: float) -> list[str]:
            stretch = (DUSK + timedelta(seconds=from_s), DUSK + timedelta(seconds=to_s))
            return [past.override.zone for past in reader.overrides(*stretch)]

        assert found(0, 1) == ["jetty"]
        assert found(50, 60) == ["jetty", "steps"]
        assert found(100, 200) == ["steps"]
        assert found(-9, 0) == []
        assert len(list(reader.overrides(zone="steps"))) == 1

    def test_events_of_a_zone_newest_first(self, state):
        """Events can be narrowed, ordered and limited like switchings."""
        fault = Event(kind=EventKind.RELAY_FAULT, at=reading(1), words="pin taken", zone="jetty", size_s=None)
        reader = keep(state, event(reading(0)), fault, event(reading(2)))
        assert list(reader.events(zone="jetty")) == [fault]
        assert [entry.at.boot_s for entry in reader.events(newest_first=True, limit=2)] == [1002, 1001]

    def test_replacements_are_ordered_by_their_date(self, state):
        """One that was written down late stands where it belongs."""
        late = Replacement(zone="jetty", fixture=1, on_date=date(2026, 5, 1), at=reading(9))
        early = Replacement(zone="steps", fixture=2, on_date=date(2027, 6, 1), at=reading(1), note="both")
        reader = keep(state, early, late)
        assert list(reader.replacements()) == [late, early]
        assert list(reader.replacements("steps")) == [early]

    def test_an_unknown_zone_has_nothing(self, state):
        """A zone that the journal never heard of has an empty past."""
        reader = keep(state, lit("jetty", reading()))
        assert list(reader.runs(zone="nowhere")) == list(reader.switchings(zone="nowhere")) == []

    def test_no_journal_yet(self, state):
        """Where there is none, the words say so, and none is made."""
        with pytest.raises(JournalError, match="there is no journal at"):
            list(JournalReader(state).runs())
        assert not state.exists()


class TestBesideAWriter:
    def test_a_reader_sees_one_state_while_the_writer_goes_on(self, state):
        """A stream that was begun shows the journal as it was then, and holds up no write."""
        journal = Journal(state)
        for number in range(2000):
            journal.append((dark if number % 2 else lit)("jetty", reading(number)))
        journal.flush()
        runs = JournalReader(state).runs()
        first = next(runs)
        journal.append(lit("jetty", reading(5000)))
        assert journal.flush() == 1
        assert 1 + len(list(runs)) == 1000
        assert first.on_utc == DUSK
        assert len(list(JournalReader(state).runs())) == 1001
        journal.close()

    def test_many_threads_read_while_one_writes(self, state):
        """Readers in other threads meet no error and no half of a transaction."""
        journal = Journal(state)
        journal.append(event(reading()))
        journal.flush()
        errors: list[BaseException] = []
        done = threading.Event()

        def read_on() -> None:
            try:
                while not done.is_set():
                    count = len(list(JournalReader(state).switchings()))
                    assert count % 2 == 0
            except BaseException as error:
                errors.append(error)

        readers = [threading.Thread(target=read_on) for _ in range(3)]
        for thread in readers:
            thread.start()
        for number in range(100):
            journal.append(lit("jetty", reading(number * 10)))
            journal.append(dark("jetty", reading(number * 10 + 5)))
            journal.flush()
        done.set()
        for thread in readers:
            thread.join()
        journal.close()
        assert errors == []

    def test_a_stream_may_be_continued_by_another_thread(self, state):
        """A web server hands a stream from thread to thread; it goes on, and is closed, wherever that is."""
        reader = keep(state, *(event(reading(number)) for number in range(10)))
        stream = reader.events()
        next(stream)
        found: list[int] = []
        thread = threading.Thread(target=lambda: found.append(len(list(stream))))
        thread.start()
        thread.join()
        assert found == [9]

    def test_a_stream_that_is_given_up_lets_the_file_go(self, state):
        """A reader that stops half way leaves no transaction open, so the log can be folded in."""
        reader = keep(state, *(event(reading(number)) for number in range(10)))
        stream = reader.events()
        next(stream)
        stream.close()
        with contextlib.closing(sqlite3.connect(reader.path, isolation_level=None)) as connection:
            connection.execute("DELETE FROM event")
            # Not busy: the first of the three numbers is 0, by SQLite's documentation of wal_checkpoint.
            assert connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0] == 0

    def test_a_copy_can_be_read_where_nothing_can_be_written(self, state, tmp_path):
        """A file taken from a stopped board is read without a log or anything else beside it."""
        keep(state, lit("jetty", reading()), dark("jetty", reading(60)))
        shelf = tmp_path / "shelf"
        shelf.mkdir()
        shutil.copyfile(state / "journal.sqlite", shelf / "of the boathouse.sqlite")
        (shelf / "of the boathouse.sqlite").chmod(0o444)
        shelf.chmod(0o555)
        try:
            (run,) = JournalReader(shelf / "of the boathouse.sqlite").runs()
        finally:
            shelf.chmod(0o755)
        assert run.lit_s == 60.0

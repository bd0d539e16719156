"""The tables of the journal, as the steps that make them, oldest first.

A step is never changed once it has been released; a new version is a new step at the end. The number of
steps is the version that ``PRAGMA user_version`` holds. Every step must be quick (new tables, new columns,
nothing that walks over all rows), because the journal is opened before the lights are right.

Instants are whole milliseconds: ``at_ms`` since 1970 in UTC, ``boot_ms`` since the boot that ``boot`` names.
Zones, reasons, boots and loads repeat all the time and are kept once; so a switching with its share of the
indexes costs under 70 bytes; tests/bench/bench_journal.py measures it.
"""

Step = tuple[str, ...]

# The years 1 to 9999, which are all that a datetime can hold.
_YEARS = "BETWEEN -62135596800000 AND 253402300799999"

_WHEN = f"""
    at_ms INTEGER NOT NULL CHECK (at_ms {_YEARS}),
    boot_ms INTEGER NOT NULL CHECK (boot_ms >= 0),
    boot INTEGER NOT NULL REFERENCES boot (id),
    trusted INTEGER NOT NULL CHECK (trusted IN (0, 1))"""

# A run that reaches over more than this stands in an index of its own, as does every run whose end a wrong
# clock recorded. So a search for the runs that reach into a night has to look back one day only, and looks
# through the few runs of that index besides.
LONG_RUN_MS = 86_400_000

_FIRST: Step = (
    # The id that the site file gives a zone is its name here.
    "CREATE TABLE zone (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE CHECK (name <> '')) STRICT",
    """CREATE TABLE reason (
    id INTEGER PRIMARY KEY, cause TEXT NOT NULL, words TEXT NOT NULL, UNIQUE (cause, words)) STRICT""",
    "CREATE TABLE load (id INTEGER PRIMARY KEY, watts REAL CHECK (watts >= 0), origin TEXT NOT NULL) STRICT",
    "CREATE UNIQUE INDEX load_once ON load (ifnull(watts, -1.0), origin)",
    # Boots stand in the order in which the journal first heard of them.
    """CREATE TABLE boot (
    id INTEGER PRIMARY KEY, boot_id TEXT NOT NULL UNIQUE,
    trusted INTEGER NOT NULL DEFAULT 0 CHECK (trusted IN (0, 1))) STRICT""",
    # The last sign of life of each boot, overwritten in place.
    f"""CREATE TABLE beat (
    boot INTEGER PRIMARY KEY REFERENCES boot (id), at_ms INTEGER NOT NULL CHECK (at_ms {_YEARS}),
    boot_ms INTEGER NOT NULL CHECK (boot_ms >= 0),
    trusted INTEGER NOT NULL CHECK (trusted IN (0, 1))) STRICT""",
    # A row that ends a run names the row that began it, how long the zone was lit, and from when on: its own
    # instant less the time lit. Where a wrong clock wrote it, that says nothing: see rows.RUN_BEGAN.
    f"""CREATE TABLE switching (
    id INTEGER PRIMARY KEY, {_WHEN},
    zone INTEGER NOT NULL REFERENCES zone (id),
    lit INTEGER NOT NULL CHECK (lit IN (0, 1)),
    reason INTEGER NOT NULL REFERENCES reason (id),
    load INTEGER NOT NULL REFERENCES load (id),
    on_id INTEGER REFERENCES switching (id),
    lit_from_ms INTEGER CHECK (lit_from_ms <= at_ms),
    lit_ms INTEGER CHECK (lit_ms >= 0),
    CHECK (lit = 0 OR on_id IS NULL),
    CHECK ((on_id IS NULL) = (lit_ms IS NULL) AND (on_id IS NULL) = (lit_from_ms IS NULL))) STRICT""",
    "CREATE INDEX switching_by_instant ON switching (at_ms)",
    "CREATE INDEX run_by_start ON switching (lit_from_ms) WHERE lit_from_ms IS NOT NULL",
    f"""CREATE INDEX run_that_is_long ON switching (lit_from_ms)
    WHERE at_ms - lit_from_ms > {LONG_RUN_MS}""",
    # What each zone burned at each load, kept up with every switching, and the run that is not ended yet.
    """CREATE TABLE account (
    zone INTEGER NOT NULL REFERENCES zone (id), load INTEGER NOT NULL REFERENCES load (id),
    starts INTEGER NOT NULL, cycles INTEGER NOT NULL, lit_ms INTEGER NOT NULL,
    lit_by INTEGER REFERENCES switching (id),
    PRIMARY KEY (zone, load)) STRICT, WITHOUT ROWID""",
    f"""CREATE TABLE event (
    id INTEGER PRIMARY KEY, {_WHEN},
    kind TEXT NOT NULL, words TEXT NOT NULL,
    zone INTEGER REFERENCES zone (id), size_s REAL) STRICT""",
    "CREATE INDEX event_by_instant ON event (at_ms)",
    f"""CREATE TABLE override (
    id INTEGER PRIMARY KEY, {_WHEN},
    zone INTEGER NOT NULL REFERENCES zone (id),
    lit INTEGER NOT NULL CHECK (lit IN (0, 1)),
    ends_at_ms INTEGER CHECK (ends_at_ms {_YEARS}),
    lasts_s REAL, by TEXT NOT NULL,
    ended_at_ms INTEGER CHECK (ended_at_ms {_YEARS}),
    ended_boot_ms INTEGER, ended_boot INTEGER REFERENCES boot (id),
    ended_trusted INTEGER CHECK (ended_trusted IN (0, 1)), ended_words TEXT,
    CHECK ((ended_at_ms IS NULL) = (ended_words IS NULL)),
    CHECK ((ended_at_ms IS NULL) = (ended_boot IS NULL)),
    CHECK ((ended_at_ms IS NULL) = (ended_boot_ms IS NULL))) STRICT""",
    "CREATE UNIQUE INDEX override_in_force ON override (zone) WHERE ended_at_ms IS NULL",
    "CREATE INDEX override_by_instant ON override (at_ms)",
    f"""CREATE TABLE replacement (
    id INTEGER PRIMARY KEY, {_WHEN},
    zone INTEGER NOT NULL REFERENCES zone (id),
    fixture INTEGER NOT NULL CHECK (fixture >= 1),
    on_date TEXT NOT NULL, note TEXT NOT NULL) STRICT""",
)

_SECOND: Step = (
    # What the site was, from each instant at which that changed; seldom, so all of it is read at once.
    f"CREATE TABLE site_record (id INTEGER PRIMARY KEY, {_WHEN}, text TEXT NOT NULL) STRICT",
    # A replacement belongs to a part of its zone: a fixture by its id, or "relay". Version 1 knew fixtures by
    # their places in the list: parts of digits. What was recorded twice is one here, with all its notes.
    "ALTER TABLE replacement RENAME TO replacement_by_place",
    f"""CREATE TABLE replacement (
    id INTEGER PRIMARY KEY, {_WHEN},
    zone INTEGER NOT NULL REFERENCES zone (id),
    part TEXT NOT NULL CHECK (part <> ''),
    on_date TEXT NOT NULL, note TEXT NOT NULL,
    undone_at_ms INTEGER CHECK (undone_at_ms {_YEARS}),
    undone_boot_ms INTEGER, undone_boot INTEGER REFERENCES boot (id),
    undone_trusted INTEGER CHECK (undone_trusted IN (0, 1)),
    CHECK ((undone_at_ms IS NULL) = (undone_boot_ms IS NULL)),
    CHECK ((undone_at_ms IS NULL) = (undone_boot IS NULL)),
    CHECK ((undone_at_ms IS NULL) = (undone_trusted IS NULL)),
    UNIQUE (zone, part, on_date)) STRICT""",
    """INSERT INTO replacement (id, at_ms, boot_ms, boot, trusted, zone, part, on_date, note)
    SELECT min(id), at_ms, boot_ms, boot, trusted, zone, CAST(fixture AS TEXT), on_date,
    ifnull(group_concat(DISTINCT nullif(note, '')), '')
    FROM replacement_by_place GROUP BY zone, fixture, on_date""",
    "DROP TABLE replacement_by_place",
    # When a boot began, by the last trusted clock in it: so what a wrong clock recorded has an instant.
    "ALTER TABLE boot ADD COLUMN began_ms INTEGER",
    "UPDATE boot SET began_ms = (SELECT at_ms - boot_ms FROM beat WHERE boot = boot.id AND trusted)",
    # The runs that a wrong clock ended go to the index of long runs. This walks over all rows, this once.
    f"""UPDATE switching SET lit_from_ms = at_ms - {LONG_RUN_MS + 1}
    WHERE lit_ms IS NOT NULL AND NOT trusted AND at_ms - lit_from_ms <= {LONG_RUN_MS}""",  # noqa: S608
)

STEPS: tuple[Step, ...] = (_FIRST, _SECOND)

PRAGMA page_size = 1024;
PRAGMA application_id = 1281713522;
PRAGMA user_version = 1;
BEGIN TRANSACTION;
CREATE TABLE account (
    zone INTEGER NOT NULL REFERENCES zone (id), load INTEGER NOT NULL REFERENCES load (id),
    starts INTEGER NOT NULL, cycles INTEGER NOT NULL, lit_ms INTEGER NOT NULL,
    lit_by INTEGER REFERENCES switching (id),
    PRIMARY KEY (zone, load)) STRICT, WITHOUT ROWID;
INSERT INTO "account" VALUES(1,1,1,1,3600000,NULL);
INSERT INTO "account" VALUES(2,1,1,0,0,2);
CREATE TABLE beat (
    boot INTEGER PRIMARY KEY REFERENCES boot (id), at_ms INTEGER NOT NULL CHECK (at_ms BETWEEN -62135596800000 AND 253402300799999),
    boot_ms INTEGER NOT NULL CHECK (boot_ms >= 0),
    trusted INTEGER NOT NULL CHECK (trusted IN (0, 1))) STRICT;
INSERT INTO "beat" VALUES(1,1813617700000,4700000,1);
CREATE TABLE boot (
    id INTEGER PRIMARY KEY, boot_id TEXT NOT NULL UNIQUE,
    trusted INTEGER NOT NULL DEFAULT 0 CHECK (trusted IN (0, 1))) STRICT;
INSERT INTO "boot" VALUES(1,'boot-1',1);
CREATE TABLE event (
    id INTEGER PRIMARY KEY, 
    at_ms INTEGER NOT NULL CHECK (at_ms BETWEEN -62135596800000 AND 253402300799999),
    boot_ms INTEGER NOT NULL CHECK (boot_ms >= 0),
    boot INTEGER NOT NULL REFERENCES boot (id),
    trusted INTEGER NOT NULL CHECK (trusted IN (0, 1)),
    kind TEXT NOT NULL, words TEXT NOT NULL,
    zone INTEGER REFERENCES zone (id), size_s REAL) STRICT;
INSERT INTO "event" VALUES(1,1813614000000,1000000,1,1,'started','site Saltmarsh Lodge',NULL,NULL);
CREATE TABLE load (id INTEGER PRIMARY KEY, watts REAL CHECK (watts >= 0), origin TEXT NOT NULL) STRICT;
INSERT INTO "load" VALUES(1,27.0,'fixtures');
CREATE TABLE override (
    id INTEGER PRIMARY KEY, 
    at_ms INTEGER NOT NULL CHECK (at_ms BETWEEN -62135596800000 AND 253402300799999),
    boot_ms INTEGER NOT NULL CHECK (boot_ms >= 0),
    boot INTEGER NOT NULL REFERENCES boot (id),
    trusted INTEGER NOT NULL CHECK (trusted IN (0, 1)),
    zone INTEGER NOT NULL REFERENCES zone (id),
    lit INTEGER NOT NULL CHECK (lit IN (0, 1)),
    ends_at_ms INTEGER CHECK (ends_at_ms BETWEEN -62135596800000 AND 253402300799999),
    lasts_s REAL, by TEXT NOT NULL,
    ended_at_ms INTEGER CHECK (ended_at_ms BETWEEN -62135596800000 AND 253402300799999),
    ended_boot_ms INTEGER, ended_boot INTEGER REFERENCES boot (id),
    ended_trusted INTEGER CHECK (ended_trusted IN (0, 1)), ended_words TEXT,
    CHECK ((ended_at_ms IS NULL) = (ended_words IS NULL)),
    CHECK ((ended_at_ms IS NULL) = (ended_boot IS NULL)),
    CHECK ((ended_at_ms IS NULL) = (ended_boot_ms IS NULL))) STRICT;
INSERT INTO "override" VALUES(1,1813615800000,2800000,1,1,2,1,NULL,1800.0,'command line',1813617600000,4600000,1,1,'its time was over');
CREATE TABLE reason (
    id INTEGER PRIMARY KEY, cause TEXT NOT NULL, words TEXT NOT NULL, UNIQUE (cause, words)) STRICT;
INSERT INTO "reason" VALUES(1,'program','dusk to midnight');
INSERT INTO "reason" VALUES(2,'program','midnight');
CREATE TABLE replacement (
    id INTEGER PRIMARY KEY, 
    at_ms INTEGER NOT NULL CHECK (at_ms BETWEEN -62135596800000 AND 253402300799999),
    boot_ms INTEGER NOT NULL CHECK (boot_ms >= 0),
    boot INTEGER NOT NULL REFERENCES boot (id),
    trusted INTEGER NOT NULL CHECK (trusted IN (0, 1)),
    zone INTEGER NOT NULL REFERENCES zone (id),
    fixture INTEGER NOT NULL CHECK (fixture >= 1),
    on_date TEXT NOT NULL, note TEXT NOT NULL) STRICT;
INSERT INTO "replacement" VALUES(1,1813617800000,4800000,1,1,1,1,'2027-06-01','two of six');
CREATE TABLE switching (
    id INTEGER PRIMARY KEY, 
    at_ms INTEGER NOT NULL CHECK (at_ms BETWEEN -62135596800000 AND 253402300799999),
    boot_ms INTEGER NOT NULL CHECK (boot_ms >= 0),
    boot INTEGER NOT NULL REFERENCES boot (id),
    trusted INTEGER NOT NULL CHECK (trusted IN (0, 1)),
    zone INTEGER NOT NULL REFERENCES zone (id),
    lit INTEGER NOT NULL CHECK (lit IN (0, 1)),
    reason INTEGER NOT NULL REFERENCES reason (id),
    load INTEGER NOT NULL REFERENCES load (id),
    on_id INTEGER REFERENCES switching (id),
    lit_from_ms INTEGER CHECK (lit_from_ms <= at_ms),
    lit_ms INTEGER CHECK (lit_ms >= 0),
    CHECK (lit = 0 OR on_id IS NULL),
    CHECK ((on_id IS NULL) = (lit_ms IS NULL) AND (on_id IS NULL) = (lit_from_ms IS NULL))) STRICT;
INSERT INTO "switching" VALUES(1,1813614060000,1060000,1,1,1,1,1,1,NULL,NULL,NULL);
INSERT INTO "switching" VALUES(2,1813615800000,2800000,1,1,2,1,1,1,NULL,NULL,NULL);
INSERT INTO "switching" VALUES(3,1813617660000,4660000,1,1,1,0,2,1,1,1813614060000,3600000);
CREATE TABLE zone (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE CHECK (name <> '')) STRICT;
INSERT INTO "zone" VALUES(1,'jetty');
INSERT INTO "zone" VALUES(2,'steps');
CREATE UNIQUE INDEX load_once ON load (ifnull(watts, -1.0), origin);
CREATE INDEX switching_by_instant ON switching (at_ms);
CREATE INDEX run_by_start ON switching (lit_from_ms) WHERE lit_from_ms IS NOT NULL;
CREATE INDEX run_that_is_long ON switching (lit_from_ms)
    WHERE at_ms - lit_from_ms > 86400000;
CREATE INDEX event_by_instant ON event (at_ms);
CREATE UNIQUE INDEX override_in_force ON override (zone) WHERE ended_at_ms IS NULL;
CREATE INDEX override_by_instant ON override (at_ms);
COMMIT;

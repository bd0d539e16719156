-- A journal that Leerie 0.1.0 wrote in June 2027, in version 1, with a run and an override in force.
PRAGMA page_size = 1024;
PRAGMA application_id = 1281713522;
PRAGMA user_version = 1;
BEGIN TRANSACTION;
CREATE TABLE account (
    zone INTEGER NOT NULL REFERENCES zone (id), load INTEGER NOT NULL REFERENCES load (id),
    starts INTEGER NOT NULL, cycles INTEGER NOT NULL, lit_ms INTEGER NOT NULL,
    lit_by INTEGER REFERENCES switching (id),
    PRIMARY KEY (zone, load)) STRICT, WITHOUT ROWID;
INSERT INTO "account" VALUES(1,2,4,3,12740000,14);
INSERT INTO "account" VALUES(2,1,4,3,20999500,13);
CREATE TABLE beat (
    boot INTEGER PRIMARY KEY REFERENCES boot (id), at_ms INTEGER NOT NULL CHECK (at_ms BETWEEN -62135596800000 AND 253402300799999),
    boot_ms INTEGER NOT NULL CHECK (boot_ms >= 0),
    trusted INTEGER NOT NULL CHECK (trusted IN (0, 1))) STRICT;
INSERT INTO "beat" VALUES(1,1813701600000,122400000,1);
INSERT INTO "beat" VALUES(2,1813788000000,85800000,1);
CREATE TABLE boot (
    id INTEGER PRIMARY KEY, boot_id TEXT NOT NULL UNIQUE,
    trusted INTEGER NOT NULL DEFAULT 0 CHECK (trusted IN (0, 1))) STRICT;
INSERT INTO "boot" VALUES(1,'boot-1',1);
INSERT INTO "boot" VALUES(2,'boot-2',1);
CREATE TABLE event (
    id INTEGER PRIMARY KEY, 
    at_ms INTEGER NOT NULL CHECK (at_ms BETWEEN -62135596800000 AND 253402300799999),
    boot_ms INTEGER NOT NULL CHECK (boot_ms >= 0),
    boot INTEGER NOT NULL REFERENCES boot (id),
    trusted INTEGER NOT NULL CHECK (trusted IN (0, 1)),
    kind TEXT NOT NULL, words TEXT NOT NULL,
    zone INTEGER REFERENCES zone (id), size_s REAL) STRICT;
INSERT INTO "event" VALUES(1,1813579200000,0,1,1,'started','site Tern Cottage',NULL,NULL);
INSERT INTO "event" VALUES(2,1813579200000,0,1,1,'program','dusk to midnight',1,NULL);
INSERT INTO "event" VALUES(3,1813579200000,0,1,1,'program','22:00 to 01:00',2,NULL);
INSERT INTO "event" VALUES(4,1813702200000,0,2,1,'started','site Tern Cottage',NULL,NULL);
INSERT INTO "event" VALUES(5,1813702200000,0,2,1,'power lost','the power was lost, or the board was reset',NULL,600.0);
INSERT INTO "event" VALUES(6,1813702200000,0,2,1,'program','dusk to midnight',1,NULL);
INSERT INTO "event" VALUES(7,1813702200000,0,2,1,'program','22:00 to 01:00',2,NULL);
INSERT INTO "event" VALUES(8,1813752000000,49800000,2,1,'stopped','stopped as asked',NULL,NULL);
INSERT INTO "event" VALUES(9,1813752120000,49920000,2,1,'started','site Tern Cottage',NULL,NULL);
INSERT INTO "event" VALUES(10,1813752120000,49920000,2,1,'program','dusk to midnight',1,NULL);
INSERT INTO "event" VALUES(11,1813752120000,49920000,2,1,'program','22:00 to 01:00',2,NULL);
CREATE TABLE load (id INTEGER PRIMARY KEY, watts REAL CHECK (watts >= 0), origin TEXT NOT NULL) STRICT;
INSERT INTO "load" VALUES(1,20.0,'rated');
INSERT INTO "load" VALUES(2,24.0,'fixtures');
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
INSERT INTO "override" VALUES(1,1813780800000,78600000,2,1,2,1,NULL,14400.0,'api',NULL,NULL,NULL,NULL,NULL);
CREATE TABLE reason (
    id INTEGER PRIMARY KEY, cause TEXT NOT NULL, words TEXT NOT NULL, UNIQUE (cause, words)) STRICT;
INSERT INTO "reason" VALUES(1,'program','22:00 to 01:00, every night');
INSERT INTO "reason" VALUES(2,'program','dusk to midnight, every night');
INSERT INTO "reason" VALUES(3,'program','dusk to midnight is over, every night');
INSERT INTO "reason" VALUES(4,'program','22:00 to 01:00 is over, every night');
INSERT INTO "reason" VALUES(5,'power lost','the power was lost');
INSERT INTO "reason" VALUES(6,'override','somebody asked for light');
CREATE TABLE replacement (
    id INTEGER PRIMARY KEY, 
    at_ms INTEGER NOT NULL CHECK (at_ms BETWEEN -62135596800000 AND 253402300799999),
    boot_ms INTEGER NOT NULL CHECK (boot_ms >= 0),
    boot INTEGER NOT NULL REFERENCES boot (id),
    trusted INTEGER NOT NULL CHECK (trusted IN (0, 1)),
    zone INTEGER NOT NULL REFERENCES zone (id),
    fixture INTEGER NOT NULL CHECK (fixture >= 1),
    on_date TEXT NOT NULL, note TEXT NOT NULL) STRICT;
INSERT INTO "replacement" VALUES(1,1813665600000,86400000,1,1,1,1,'2027-06-22','warm white');
INSERT INTO "replacement" VALUES(2,1813665600000,86400000,1,1,1,1,'2027-06-22','');
INSERT INTO "replacement" VALUES(3,1813665600000,86400000,1,1,1,1,'2027-06-22','two of four');
INSERT INTO "replacement" VALUES(4,1813665600000,86400000,1,1,1,2,'2027-06-01','');
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
INSERT INTO "switching" VALUES(1,1813611600000,32400000,1,1,2,1,1,1,NULL,NULL,NULL);
INSERT INTO "switching" VALUES(2,1813612125000,32925000,1,1,1,1,2,2,NULL,NULL,NULL);
INSERT INTO "switching" VALUES(3,1813618800000,39600000,1,1,1,0,3,2,2,1813612125000,6675000);
INSERT INTO "switching" VALUES(4,1813622400000,43200000,1,1,2,0,4,1,1,1813611600000,10800000);
INSERT INTO "switching" VALUES(5,1813698000000,118800000,1,1,2,1,1,1,NULL,NULL,NULL);
INSERT INTO "switching" VALUES(6,1813698535000,119335000,1,1,1,1,2,2,NULL,NULL,NULL);
INSERT INTO "switching" VALUES(7,1813701600000,122400000,1,1,2,0,5,1,5,1813698000000,3600000);
INSERT INTO "switching" VALUES(8,1813701600000,122400000,1,1,1,0,5,2,6,1813698535000,3065000);
INSERT INTO "switching" VALUES(9,1813702200000,0,2,1,1,1,2,2,NULL,NULL,NULL);
INSERT INTO "switching" VALUES(10,1813702200500,500,2,1,2,1,1,1,NULL,NULL,NULL);
INSERT INTO "switching" VALUES(11,1813705200000,3000000,2,1,1,0,3,2,9,1813702200000,3000000);
INSERT INTO "switching" VALUES(12,1813708800000,6600000,2,1,2,0,4,1,10,1813702200500,6599500);
INSERT INTO "switching" VALUES(13,1813780800000,78600000,2,1,2,1,6,1,NULL,NULL,NULL);
INSERT INTO "switching" VALUES(14,1813784941000,82741000,2,1,1,1,2,2,NULL,NULL,NULL);
CREATE TABLE zone (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE CHECK (name <> '')) STRICT;
INSERT INTO "zone" VALUES(1,'front-path');
INSERT INTO "zone" VALUES(2,'pond');
CREATE UNIQUE INDEX load_once ON load (ifnull(watts, -1.0), origin);
CREATE INDEX switching_by_instant ON switching (at_ms);
CREATE INDEX run_by_start ON switching (lit_from_ms) WHERE lit_from_ms IS NOT NULL;
CREATE INDEX run_that_is_long ON switching (lit_from_ms)
    WHERE at_ms - lit_from_ms > 86400000;
CREATE INDEX event_by_instant ON event (at_ms);
CREATE UNIQUE INDEX override_in_force ON override (zone) WHERE ended_at_ms IS NULL;
CREATE INDEX override_by_instant ON override (at_ms);
COMMIT;

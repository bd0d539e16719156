"""Planted bugs: each is put into a copy of the program, and the simulation must find it.

A bug that is not found would mean that a promise is not watched. Each names the promise that it breaks.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
# How long the simulation may look for one bug.
ZONE_NIGHTS = 12_000
# Share of the nights in which nothing happens.
CALM = 0.2


@dataclass(frozen=True)
class Mutant:
    """One planted bug.

    Attributes:
        name: what it breaks.
        file: where it is planted.
        good: the text that stands there.
        bad: what is put in its place.
        seed: a garden in which it shows soon. The search begins there and counts on: any other seed would
            find it too, only later.
    """

    name: str
    file: str
    good: str
    bad: str
    seed: int = 1

    def __str__(self) -> str:
        """Its name."""
        return self.name

    def planted(self) -> str:
        """Give the text of its file with the bug in it.

        Raises:
            LookupError: the place is not in the code any more, or not once.
        """
        text = (ROOT / self.file).read_text(encoding="utf-8")
        if text.count(self.good) != 1:
            raise LookupError(f"{self.file} has {text.count(self.good)} places that read {self.good!r}")
        return text.replace(self.good, self.bad)


MUTANTS = (
    Mutant(
        "the second of two equal clock times is taken",
        "controller/calendar/night.py",
        "fold=0)",
        "fold=1)",
        seed=6,
    ),
    Mutant(
        "off by a night: the small hours are those before the evening",
        "controller/calendar/night.py",
        "else night.date + _ONE_DAY",
        "else night.date",
    ),
    Mutant(
        "noon belongs to the day before: > for >=",
        "controller/calendar/night.py",
        "if hour >= NOON.hour else",
        "if hour > NOON.hour else",
        seed=7,
    ),
    Mutant(
        "a span that ends before it begins wraps into the next day",
        "controller/planning/plan.py",
        "    if ends <= begins:\n",
        "    if ends <= begins:\n        ends += timedelta(days=1)\n    if False:\n",
        seed=12,
    ),
    Mutant(
        "the first special night decides, not the last",
        "controller/planning/plan.py",
        "in reversed(zone.special_nights)",
        "in zone.special_nights",
        seed=34,
    ),
    Mutant(
        "dusk is sunset",
        "controller/planning/plan.py",
        "place.dusk_angle_deg if twilight else",
        "SUNSET_ANGLE_DEG if twilight else",
    ),
    Mutant(
        "while dark is forgotten",
        "controller/planning/plan.py",
        "    if span.while_dark:\n",
        "    if False:\n",
        seed=7,
    ),
    Mutant(
        "at most is forgotten",
        "controller/planning/plan.py",
        "    if span.at_most is not None:\n",
        "    if False:\n",
        seed=11,
    ),
    Mutant(
        "the light's next change is asked only tonight",
        "controller/planning/planner.py",
        "            plan = self.plan(zone_id, self._next(plan.night))\n            if plan.windows:\n",
        "            plan = self.plan(zone_id, plan.night)\n            if plan.windows:\n",
    ),
    Mutant(
        "a clock that is not trusted is believed",
        "controller/planning/decision.py",
        "    if not now.trusted:\n        return _dark",
        "    if False:\n        return _dark",
        seed=4,
    ),
    Mutant(
        "a clock behind the journal is believed",
        "controller/clock/trust.py",
        "return utc < self.floor_utc - BEHIND_ALLOWED",
        "return False",
        seed=13,
    ),
    Mutant(
        "out of service is forgotten",
        "controller/planning/decision.py",
        "if zone.out_of_service is not None:",
        "if False:",
        seed=4,
    ),
    Mutant(
        "an override never ends",
        "controller/planning/decision.py",
        "(ends_at_utc - now.utc).total_seconds()\n",
        "86_400.0\n",
    ),
    Mutant(
        "an override's length is measured on the wall clock",
        "controller/planning/decision.py",
        "elapsed_s = now.boot_s - placed.boot_s",
        "elapsed_s = (now.utc - placed.utc).total_seconds()",
        seed=4,
    ),
    Mutant(
        "overrides are forgotten at a restart",
        "controller/keeper/keeper.py",
        "self.restore_overrides(past.overrides if past else ())",
        "self.restore_overrides(())",
        seed=2,
    ),
    Mutant(
        "the relay is assumed, not read",
        "controller/keeper/keeper.py",
        "found = self._relays.read(state.wire)",
        "found = state.lit if state.wire.pin in self._moved_boot_s else self._relays.read(state.wire)",
        seed=2,
    ),
    Mutant(
        "a relay that failed is not tried again",
        "controller/keeper/state.py",
        "retry_at_boot_s=now.boot_s + pause_s",
        "retry_at_boot_s=now.boot_s + 1e9",
        seed=4,
    ),
    Mutant(
        "a relay has no rest",
        "controller/keeper/keeper.py",
        "rest_s = moved_boot_s + self.site.relays.rest_s - now.boot_s",
        "rest_s = 0.0",
        seed=3,
    ),
    Mutant(
        "zones come on all at once",
        "controller/keeper/keeper.py",
        "self._lit_boot_s + self.site.relays.stagger_s - now.boot_s if on else 0.0",
        "0.0",
        seed=3,
    ),
    Mutant(
        "the relay of a zone that left stays as it was",
        "controller/keeper/keeper.py",
        "        self._leaving = known\n",
        "        self._leaving = {}\n",
        seed=12,
    ),
    Mutant(
        "a run that the power ended is never closed",
        "controller/keeper/recorder.py",
        "        journal.close_open_runs(started_at)\n",
        "",
        seed=3,
    ),
    Mutant(
        "the heartbeat is skipped",
        "controller/keeper/recorder.py",
        "self._beat_boot_s >= BEAT_S",
        "self._beat_boot_s >= 10 * BEAT_S",
        seed=9,
    ),
    Mutant(
        "the gap is not recorded",
        "controller/keeper/recorder.py",
        "        if past.ended_well:\n            return\n",
        "        if True:\n            return\n",
    ),
    Mutant(
        "a switching is recorded twice",
        "controller/keeper/recorder.py",
        "        if state.lit is on:\n            return\n",
        "        if state.lit is on and not on:\n            return\n",
    ),
    Mutant(
        "run hours are measured on the wall clock",
        "controller/journal/writer.py",
        "if when.boot == self.boot and when.boot_ms >= self.boot_ms:",
        "if False:",
    ),
    Mutant(
        "what could not be written is forgotten",
        "controller/journal/journal.py",
        "        written = self._transactions.commit(connection, works)\n"
        "        self._queue.remove(waiting, lost=len(works) - len(written))\n",
        "        self._queue.remove(waiting)\n"
        "        written = self._transactions.commit(connection, works)\n",
    ),
    # -- what only the comparison with the journal sees
    Mutant(
        "a rest is forgotten at a restart",
        "controller/keeper/keeper.py",
        "past.switched_in(self._started_at.boot_id) if past else {}",
        "{}",
    ),
    Mutant(
        "a relay does not rest after the board started",
        "controller/keeper/keeper.py",
        "moved_boot_s = self._moved_boot_s.get(state.wire.pin, 0.0)",
        "moved_boot_s = self._moved_boot_s.get(state.wire.pin) or LONG_AGO_S",
    ),
    Mutant(
        "a rest is short by what the journal rounds off",
        "controller/journal/previous_run.py",
        "each.zone: each.at.boot_s + _ROUNDED_S",
        "each.zone: each.at.boot_s",
    ),
    Mutant(
        "trust is regained too early",
        "controller/clock/trust.py",
        '            self.held = ""\n            if self.believe',
        "            if self.believe",
    ),
    Mutant(
        "always is not always",
        "controller/clock/trust.py",
        'if self.believe != "always":',
        "if True:",
    ),
    Mutant(
        "believe is not followed when it changes",
        "api/daemon/hooks.py",
        "self._clock.trust.believe = loaded.site.clock.believe",
        "pass",
    ),
    Mutant(
        "believe is not followed at the start",
        "controller/journal/previous_run.py",
        "            believe=believe,\n",
        "",
    ),
    Mutant(
        "a person's word outlives the clock that they vouched for",
        "controller/clock/trust.py",
        "elif self.held == CONFIRMED and self._was_set(utc, boot_s):",
        "elif False:",
    ),
    Mutant(
        "a person's word is forgotten at a restart",
        "controller/journal/previous_run.py",
        "            confirmed=self.confirmed,\n",
        "",
    ),
    Mutant(
        "a clock that ran ahead leaves a floor",
        "controller/clock/trust.py",
        "        if behind:\n            self.floor_utc",
        "        if False:\n            self.floor_utc",
    ),
    Mutant(
        "a lifted override is not told",
        "controller/keeper/keeper.py",
        'self._end_override(zone_id, f"lifted by {by}", self._clock.read())',
        "self.overrides.pop(zone_id)",
    ),
    Mutant(
        "an override is told without its length",
        "controller/journal/writer.py",
        "lasts_s=entry.lasts_s,",
        "lasts_s=None,",
    ),
    Mutant(
        "a gap is told an hour off",
        "controller/keeper/recorder.py",
        "return (now.utc - last_sign.utc).total_seconds() - (",
        "return (now.utc - last_sign.utc).total_seconds() + 3600 - (",
    ),
    Mutant(
        "a gap is measured on a clock that was set meanwhile",
        "controller/keeper/recorder.py",
        "if last_sign.boot_id == started_at.boot_id:",
        "if False:",
    ),
    Mutant(
        "relays are left on at the end",
        "controller/keeper/keeper.py",
        "for fault in self._relays.close():",
        "for fault in ():",
    ),
    Mutant(
        "a step of the clock is not told",
        "controller/keeper/recorder.py",
        "        if step_s is not None:\n",
        "        if False:\n",
    ),
    Mutant(
        "a step is told without its size",
        "controller/keeper/recorder.py",
        '"the clock was set", now, size_s=step_s)',
        '"the clock was set", now)',
    ),
    Mutant(
        "a sleep of the board is not told",
        "controller/keeper/recorder.py",
        "if late_s > HELD_UP_S:",
        "if late_s > 2 * 3600:",
    ),
    Mutant(
        "a recovery is not told",
        "controller/keeper/keeper.py",
        "self._recorder.note(EventKind.RELAY_RECOVERED,",
        "(lambda *_, **__: None)(EventKind.RELAY_RECOVERED,",
    ),
    Mutant(
        "an old load is recorded",
        "controller/keeper/keeper.py",
        "self._zones[zone.id].load = zone.rated_load",
        "pass",
    ),
    Mutant(
        "the last good site file is not updated",
        "api/daemon/last_good.py",
        "if not copy.exists() or copy.read_bytes() != content:",
        "if not copy.exists():",
    ),
    Mutant(
        "a site file that is not valid keeps the garden dark",
        "api/daemon/last_good.py",
        "loaded = load_site(state / LAST_GOOD)",
        "raise error",
    ),
    Mutant(
        "a site file that is still being written is taken",
        "api/daemon/site_file.py",
        "if self._now_s() - self._changed[1] < STILL_S:",
        "if False:",
    ),
    Mutant(
        "a change of the site file by hand is not noticed",
        "api/daemon/site_file.py",
        "if found == self._known:",
        "if True:",
    ),
    Mutant(
        "time zone data that were installed are forgotten when the site file is read again",
        "api/daemon/hooks.py",
        "if loaded.site.time_zone != self._time_zone:",
        "if True:",
    ),
    # -- the control loop itself
    Mutant(
        "the scheduler is not told of the next change",
        "controller/keeper/loop.py",
        '        self._add_job("boundary", self._at_boundary, due_in_s if in_time else due_in_s + AFTER_TICK_S)\n',  # noqa: E501 - as it stands there
        "",
    ),
    Mutant(
        "the next change is counted from the last one",
        "controller/keeper/loop.py",
        "return now + timedelta(seconds=self._pause_s)",
        "return (previous_fire_time or now) + timedelta(seconds=2 * self._pause_s)",
    ),
    Mutant(
        "there is no tick",
        "controller/keeper/loop.py",
        "tasks = [asyncio.create_task(self._tick()), asyncio",
        "tasks = [asyncio",
    ),
    Mutant(
        "noon is forgotten",
        "controller/keeper/loop.py",
        '            self._add_job("noon", self._at_noon, noon_in_s)\n',
        "",
    ),
    Mutant(
        "the kernel's notice of a clock that was set is not heeded",
        "controller/keeper/loop.py",
        "        watch.rearm()\n        self.run_once()\n",
        "        watch.rearm()\n",
    ),
    Mutant(
        "new evidence of the time is not looked for",
        "controller/keeper/loop.py",
        "if now.trusted is not last.trusted or step",
        "if step",
    ),
    Mutant(
        "the journal is not written after a round",
        "controller/keeper/loop.py",
        '            log.exception("the timetable could not be set; the tick goes on")\n        self._flush_soon()\n',  # noqa: E501 - as it stands there
        '            log.exception("the timetable could not be set; the tick goes on")\n',
    ),
    Mutant(
        "a change that the web asks for waits for the next round",
        "controller/keeper/loop.py",
        "            result = work(self.keeper)\n            self.run_once()\n",
        "            result = work(self.keeper)\n",
    ),
)


def plant(mutant: Mutant, folder: Path) -> None:
    """Copy the program and put the bug into the copy.

    Raises:
        LookupError: the place is not in the code any more, or not once.
    """
    (folder / "tests").mkdir()
    shutil.copy(ROOT / "tests" / "__init__.py", folder / "tests")
    for part in ("api", "config", "controller", "tests/reference", "tests/simulation"):
        shutil.copytree(
            ROOT / part, folder / part, ignore=shutil.ignore_patterns("__pycache__"), dirs_exist_ok=True
        )
    (folder / mutant.file).write_text(mutant.planted(), encoding="utf-8")


def hunt(mutant: Mutant, folder: Path, *, jobs: int = 1) -> str | None:
    """Have the simulation look for the bug; the line that says what it found, or None."""
    plant(mutant, folder)
    command = [sys.executable, "-m", "tests.simulation", "--zone-nights", str(ZONE_NIGHTS)]
    command += ["--seed", str(mutant.seed), "--jobs", str(jobs), "--calm", str(CALM)]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    found = [line for line in done.stdout.splitlines() if line.startswith("FAILED")]
    if done.returncode != (1 if found else 0):
        raise RuntimeError(done.stderr)
    return found[0] if found else None


if __name__ == "__main__":
    import tempfile

    missed = 0
    for each in MUTANTS:
        with tempfile.TemporaryDirectory() as place:
            found = hunt(each, Path(place))
        missed += found is None
        print(f"{each}: {found or 'NOT FOUND'}", flush=True)
    sys.exit(1 if missed else 0)

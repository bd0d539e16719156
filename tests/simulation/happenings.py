"""What may happen to a garden: from power cuts, kills and full disks to people who ask for light."""

from __future__ import annotations

import contextlib
import heapq
import shutil
from datetime import datetime, timedelta
from functools import partial

from api.daemon.site_file import LOOK_EVERY_S
from controller.clock.trust import RELEASED_UTC
from controller.journal.database import JOURNAL_NAME
from controller.keeper.keeper import Keeper
from controller.records.entries import Override
from tests.simulation.happened import POWER_LOST, Asked
from tests.simulation.judge import TICK_S, PlacedOverride
from tests.simulation.kept_garden import NEW_DATA, KeptGarden
from tests.simulation.story import DAY_S
from tests.simulation.violation import Violation

# A clock that is so little off is not set but made to run a little faster or slower.
SLEWED_S = 0.5


class EventfulGarden(KeptGarden):
    """A garden to which things happen: ``on_`` and the name of a happening, with its particulars."""

    # -- process, power and journal --------------------------------------------------------------------------

    def on_kill(self, *, off_s: float) -> None:
        """SIGKILL."""
        if self.daemon is not None:
            self.die(off_s)

    def on_fuse(self, *, writes: int, off_s: float) -> None:
        """The process dies at one of its next writes."""
        self.world.fuse = writes

    def stop(self) -> None:
        """SIGTERM: every light goes out, and all is written."""
        assert self.daemon is not None
        lit = self.daemon.stop()
        if lit and not self.world.pin_faults:
            raise Violation(f"pins {lit} were left lit by an orderly stop")

    def on_restart(self, *, off_s: float) -> None:
        """SIGTERM, and a start by the service manager."""
        if self.daemon is not None:
            daemon = self.daemon
            self.stop()
            unwritten = daemon.journal.waiting > 0
            if unwritten:
                self.leave_unrecorded()
                self.told.doubt = True
            self.daemon = None
            self.told.ended()
            for zone in self.site.zones:
                self.told.allow(zone.id, DAY_S if unwritten else 0.0)
            self.after(off_s, "start again", sync=unwritten, kind="")

    def on_power_cut(self, *, off_s: float, clock: str, network_s: float | None, how: str) -> None:
        """The mains fail; the board starts again with whatever clock it has."""
        world = self.world
        if self.daemon is not None:
            self.die(off_s)
            again = next(each for each in self.coming if each.what == "start again")
            self.never("start again")
            sync, was_utc = again.details["sync"], world.clock_utc
            self.after(off_s, "boot", clock=clock, network_s=network_s, sync=sync, was_utc=was_utc)

    def on_boot(self, *, clock: str, network_s: float | None, sync: bool, was_utc: object) -> None:
        """The board starts."""
        world = self.world
        world.boot()
        world.synchronised = False
        world.hardware = clock == "hardware"
        errors = {
            "unknown": 0.4,
            "hardware": world.clock_error_s if abs(world.clock_error_s) < 1 else 0.4,
            "saved": (was_utc - world.true_utc).total_seconds() - 700,  # type: ignore[operator]
            "1970": -(world.true_utc.timestamp()),
            "behind": -120 * DAY_S,
            "ahead": 800 * DAY_S,
        }
        world.clock_error_s = errors[clock]
        if network_s is not None:
            self.after(network_s, "network found")
        self.on_start_again(sync=sync, kind=POWER_LOST)

    def on_damage(self, **details: object) -> None:
        """The power is cut and the journal is damaged by it."""
        if self.daemon is None or not self.state.exists():
            return
        how = str(details["how"])
        self.on_power_cut(**details)  # type: ignore[arg-type]
        self.never("boot")
        path = self.state / JOURNAL_NAME
        for suffix in ("-wal", "-shm"):
            path.with_name(path.name + suffix).unlink(missing_ok=True)
        if how == "remove":
            path.unlink(missing_ok=True)
        elif how == "empty" or not path.exists() or not path.stat().st_size:
            path.write_bytes(b"")
        else:
            content = bytearray(path.read_bytes())
            if how == "truncate":
                content = content[: len(content) // 3]
            else:
                for _ in range(40):
                    content[self.dice.randrange(len(content))] ^= 0xFF
            path.write_bytes(bytes(content))
        self.told.forget()
        self.told.known = None
        self.leave_unrecorded()
        off_s, was_utc = float(str(details["off_s"])), self.world.clock_utc
        self.after(off_s, "boot damaged", clock=details["clock"], was_utc=was_utc)

    def on_boot_damaged(self, *, clock: str, was_utc: object) -> None:
        """The board starts and finds what is left of the journal."""
        self.told.forget()
        self.on_boot(clock=clock, network_s=30.0, sync=True, was_utc=was_utc)

    # -- what else happens -----------------------------------------------------------------------------------

    def on_step(self, *, size_s: float, back_s: float, by: str) -> None:
        """Somebody sets the clock; the network, or the same person, sets it right again."""
        self.set_clock(self.world.clock_error_s + size_s)
        self.after(back_s, "step back" if by == "network" else "set right")

    def on_set_right(self) -> None:
        """Somebody sets the clock right."""
        self.set_clock(0.0)

    def on_confirm(self, *, off_s: float) -> None:
        """A person vouches for the clock, or sees by their own that it is wrong."""
        if self.daemon is None:
            return
        now = self.daemon.clock.read()
        sees_utc = now.utc + timedelta(seconds=off_s)
        good = not off_s and now.utc > RELEASED_UTC - timedelta(minutes=5)
        try:
            if good:
                self.told.confirmed(now)
            self.daemon.control.call(lambda keeper: keeper.confirm_clock(sees_utc))
        except ValueError:
            if good:
                raise
        else:
            if not good:
                raise Violation(
                    f"a person's word was taken for a clock at {now.utc} that they see at {sees_utc}"
                )

    def set_clock(self, error_s: float) -> None:
        """Set the board's clock, of which the kernel gives notice; what is less than that is slewed."""
        if abs(error_s - self.world.clock_error_s) > SLEWED_S and self.daemon is not None:
            self.daemon.watch.was_set = True
            self.clock_set_s = self.world.now_s
        self.world.clock_error_s = error_s

    def on_step_back(self) -> None:
        """The network sets the clock right."""
        self.set_clock(0.0)
        self.world.synchronised = True

    def on_network_found(self) -> None:
        """A time server answers."""
        self.on_step_back()

    def on_network_lost(self) -> None:
        """No time server answers any more; the kernel says so after a while."""
        self.world.synchronised = False

    def on_scheduler(self, *, for_s: float) -> None:
        """The scheduler hangs: nothing of its timetable happens."""
        if self.daemon is not None and self.daemon.loop is not None:
            self.daemon.control._scheduler.pause()  # type: ignore[union-attr]
            self.scheduler_hangs = True
            self.after(for_s, "scheduler goes on")

    def on_scheduler_goes_on(self) -> None:
        """It goes on."""
        if self.scheduler_hangs and self.daemon is not None:
            self.daemon.control._scheduler.resume()  # type: ignore[union-attr]
        self.scheduler_hangs = False

    def on_suspend(self, *, for_s: float) -> None:
        """The board sleeps: no round is made, and the pins stay as they are."""
        self.world.suspend(for_s)
        self.slept_s += for_s
        self.asleep = True
        self.told.slept(for_s)
        if self.file_due_s is not None:
            self.file_due_s += for_s
        for each in self.coming:
            if each.what == "folder looked at":
                each.at_s += for_s
        heapq.heapify(self.coming)
        for zone in self.site.zones:
            self.judge.excuse(zone.id, TICK_S)
        if self.flipped is not None and self.flipped[0] > self.world.now_s - for_s - TICK_S:
            self.told.allow(self.flipped[1], for_s)  # found only now
            self.told.flipped(self.flipped[1])

    # -- the state folder ------------------------------------------------------------------------------------

    def on_folder(self, *, how: str, back_s: float) -> None:
        """Somebody moves the state folder away, empties it, or deletes the journal in it."""
        if self.daemon is None or self.world.disk or self.away is not None:
            return
        if how == "moved away":
            self.away = self.state.with_name("away")
            self.state.rename(self.away)
            self.after(back_s, "folder back")
        elif how == "emptied":
            for each in self.state.iterdir():
                shutil.rmtree(each) if each.is_dir() else each.unlink()
        else:
            for each in self.state.glob(JOURNAL_NAME + "*"):
                each.unlink()
        self.lose_sight(is_fresh=bool(self.kept_lit() or self.judge.overrides))

    def on_folder_back(self) -> None:
        """The folder that was moved away comes back; what has been written meanwhile is moved away."""
        assert self.away is not None
        is_fresh = self.told.path.exists() and bool(self.kept_lit() or self.judge.overrides)
        if self.state.exists():
            self.state.rename(self.state.with_name(f"meanwhile-{self.world.now_s:.0f}"))
        self.away.rename(self.state)
        self.away = None
        if self.daemon is not self.folder_changed_in:
            self.judge.belief.doubt()  # one that started without it learns now what it says of the time
        self.lose_sight(is_fresh=is_fresh)
        self.told.lose_gap()

    def lose_sight(self, *, is_fresh: bool) -> None:
        """Another journal than before is there, or none: what it says is compared from now on."""
        self.never("folder looked at")
        self.after(TICK_S + 1, "folder looked at", is_fresh=is_fresh)
        self.told.forget()
        self.leave_unrecorded()
        self.noons = []
        self.folder_changed_in, self.sight_lost_s = self.daemon, self.world.now_s

    def on_folder_looked_at(self, *, is_fresh: bool) -> None:
        """A tick after the folder was moved, its journal must know what is lit and who asked for it."""
        daemon = self.daemon
        world, flipped_s = self.world, self.flipped[0] if self.flipped else 0.0
        if daemon is None or world.disk or world.pin_faults or world.fuse is not None:
            return
        self.doubt_overrides()
        seen = daemon is self.folder_changed_in and flipped_s < world.now_s - TICK_S
        if seen and is_fresh:
            self.told.check_fresh(self.kept_lit(), set(self.judge.overrides))

    def kept_lit(self) -> set[str]:
        """Give the zones whose relays are closed."""
        return {zone.id for zone in self.site.zones if self.world.pin(zone.pin).lit}

    def on_disk(self, *, mode: str, for_s: float) -> None:
        """The disk fails."""
        self.world.disk = mode
        self.noons = []
        self.after(for_s, "disk mended")

    def on_disk_mended(self) -> None:
        """The disk is well again."""
        self.world.disk = ""
        self.well_since_s = self.world.now_s

    def on_pin_fault(self, *, mode: str, for_s: float) -> None:
        """One relay fails."""
        zone = self.dice.choice(self.site.zones)
        self.world.pin_faults[zone.pin] = mode
        self.told.allow(zone.id, for_s + 2 * TICK_S)
        self.told.faulty(zone.id)
        self.after(for_s, "pin mended", pin=zone.pin, zone_id=zone.id)

    def on_pin_mended(self, *, pin: int, zone_id: str) -> None:
        """The relay works again, and must be right within a tick."""
        self.world.pin_faults.pop(pin, None)
        self.told.faulty(zone_id, mended=True)
        self.judge.excuse(zone_id, TICK_S)

    def on_flip(self) -> None:
        """Somebody else switches a relay."""
        zone = self.dice.choice(self.site.zones)
        board = self.world.board
        if board is not None and board.pin(zone.pin).function == "output":
            board.pin(zone.pin).flip()
            self.told.allow(zone.id, TICK_S + self.site.relays.rest_s)
            self.told.flipped(zone.id)
            self.flipped = self.world.now_s, zone.id

    def on_rewrite(self, *, how: str, half_s: float) -> None:
        """The site file is changed well: by hand, perhaps in two goes, or with a signal to read it."""
        self.garden.rewrite()
        if how == "in two goes":
            text = self.garden.text()
            self.write(text[: self.dice.randrange(len(text))], half=True)
            self.after(half_s, "rest of it")
        else:
            self.write(self.garden.text(), signal=how == "signal")

    def on_rest_of_it(self) -> None:
        """The rest of the site file is written; somebody else may have written all of it meanwhile."""
        self.write(self.garden.text())

    def on_spoil(self, *, how: str, again_s: float | None) -> None:
        """The site file is changed badly: refused, and the old one kept; somebody may write it anew."""
        self.write(self.garden.spoil(), signal=how == "signal")
        if again_s is not None:
            self.after(again_s, "rest of it")

    def write(self, text: str, *, half: bool = False, signal: bool = False) -> None:
        """Write the site file; what it says must be in force, or refused, within a tick."""
        fresh = self.site_path.with_suffix(".new")
        fresh.write_text(text)
        fresh.replace(self.site_path)
        if self.daemon is None:
            return
        self.file_due_s = float("inf") if half else self.world.now_s + TICK_S
        self.judge.belief.believe |= {"always", "synchronised"} & set(text.split('"'))
        if signal:
            self.read_text = None
            self.daemon.look_at_s = float("inf")
            self.daemon.hooks.on_reload()
            self.daemon.run_threads()
        else:
            first_look_s = self.world.now_s + self.dice.random() * LOOK_EVERY_S
            self.daemon.look_at_s = min(self.daemon.look_at_s, first_look_s)

    def on_zone_data(self) -> None:
        """New time zone data are installed: used from the next noon on."""
        self.world.zone_data += 1
        if self.world.now_s <= self.noons_from_s or self.world.disk:
            self.zone_data = self.world.zone_data
            self.told.allow_event("site changed", words=NEW_DATA)

    def on_override(self, *, on: bool, kind: str, for_s: float) -> None:
        """Somebody wants light, or dark, for now."""
        if self.daemon is None:
            return
        zone = self.dice.choice(self.site.zones)
        now = self.daemon.clock.read()
        ends_at_utc = now.utc + timedelta(seconds=for_s) if kind == "until" else None
        lasts_s = for_s if kind == "for" else None
        call = self.daemon.control.call
        place = partial(_place, zone=zone.id, on=on, ends_at_utc=ends_at_utc, lasts_s=lasts_s)
        if kind == "until" and not now.trusted:
            with contextlib.suppress(ValueError):
                call(place)
                raise Violation("an end by an untrusted clock was taken")
            return
        self.judge.overrides.pop(zone.id, None)
        self.judge.excuse(zone.id, self.site.relays.rest_s + 4 * self.site.relays.stagger_s)
        placed = call(place)
        if kind == "plain" and now.trusted:
            self.judge.check_end(placed, now)
            ends_at_utc = placed.ends_at_utc
        elif kind == "plain":
            lasts_s = 4 * 3600.0
        self.judge.overrides[zone.id] = PlacedOverride(
            on=on,
            placed_s=self.world.now_s,
            placed=now,
            boots=self.world.boots,
            ends_at_utc=ends_at_utc,
            lasts_s=lasts_s,
        )
        self.told.asked(Asked(zone=zone.id, at=now, lit=on, ends_at_utc=ends_at_utc, lasts_s=lasts_s))

    def on_lift(self) -> None:
        """Somebody gives a zone back to its program."""
        if self.daemon is not None:
            zone = self.dice.choice(self.site.zones)
            if self.judge.overrides.pop(zone.id, None) is not None:
                self.told.asked(Asked(zone=zone.id, at=self.daemon.clock.read()))
            self.daemon.control.call(lambda keeper: keeper.lift_override(zone.id))

    def on_toggle(self, *, times: int, every_s: float) -> None:
        """A client toggles as fast as it can."""
        if times > 0:
            self.on_override(on=times % 2 == 0, kind="for", for_s=600.0)
            self.after(every_s, "toggle", times=times - 1, every_s=every_s)


def _place(
    keeper: Keeper, *, zone: str, on: bool, ends_at_utc: datetime | None, lasts_s: float | None
) -> Override:
    return keeper.override(zone, on=on, ends_at_utc=ends_at_utc, lasts_s=lasts_s)

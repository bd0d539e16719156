"""Looks at the pins: their devices, who may use them, who holds a line, and which board this is.

No line is taken, so that a running keeper notices nothing. Held by made-up devices; never tried on a chip.
"""

from __future__ import annotations

import fcntl
import grp
import os
import pwd
import re
import stat
import struct
from collections.abc import Callable, Collection
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from controller.clock.kernel import read_line
from controller.doctor.relays import DeviceFacts, DriverFacts, PinFacts, RelayFacts
from controller.relays import choose_driver, missing_library

if TYPE_CHECKING:
    from config.models.site import Site

# GPIO_GET_CHIPINFO_IOCTL and GPIO_V2_GET_LINEINFO_IOCTL of linux/gpio.h, with struct gpiochip_info (name,
# label, lines) and struct gpio_v2_line_info (name, consumer, offset, count of attributes, flags, attributes,
# padding); compared with that header of Linux 6.1.
_GET_CHIP, _GET_LINE = 0x8044B401, 0xC100B405
_CHIP, _LINE = struct.Struct("=32s32sI"), struct.Struct("=32s32sIIQ160s16s")
_IS_USED = 1
# The driver of the header's lines is a pin controller; other chips of a board drive its own parts.
_HEADER_LABEL = b"pinctrl-"
# What our own libraries say they are.
_OURS = ("lg", "leerie")
_CONSOLE = re.compile(r"\bconsole=(serial0|ttyAMA0|ttyS0)\b")

Ioctl = Callable[[int, int, bytes], bytes]


def find_relays(
    site: Site,
    *,
    root: Path,
    user: str,
    more_groups: Collection[str] = (),
    kept: bool,
    faults: dict[str, str],
    ask: Ioctl = fcntl.ioctl,
) -> RelayFacts:
    """Look at the pins of a site's zones.

    Args:
        site: whose pins.
        root: where dev/, proc/ and sys/ are.
        user: that Leerie runs as.
        more_groups: that the service manager lets it use beside the user's own.
        kept: whether a keeper runs, whose own lines are then in use.
        faults: what the keeper says of relays, by zone.
        ask: ioctl(2), or a stand-in.
    """
    if site.relays.board == "simulated":
        pins = tuple(_pin(zone.id, zone.pin, faults) for zone in site.zones)
        return RelayFacts(simulated=True, user=user, pins=pins)
    used = _line_users(root, site.relays.chip, [zone.pin for zone in site.zones], ask)
    if kept and used is not None:
        used = {pin: program for pin, program in used.items() if program not in _OURS}
    return RelayFacts(
        simulated=False,
        user=user,
        devices=tuple(_find_devices(root, user, more_groups)),
        pins=tuple(_pin(zone.id, zone.pin, faults, used or {}) for zone in site.zones),
        buses=tuple(_find_buses(root)),
        lines_known=used is not None,
    )


def find_driver(site: Site, *, root: Path) -> DriverFacts:
    """Find out what the pins are driven with, what of it is missing, and the board's revision."""
    simulated = site.relays.board == "simulated"
    name = "gpiozero" if simulated else choose_driver(site.relays.driver, site.relays.chip)
    return DriverFacts(
        simulated=simulated,
        name=name,
        missing=missing_library(*site.relays.hardware),
        knows_boards=name == "gpiozero",
        revision=read_revision(root),
    )


def read_revision(root: Path) -> str:
    """Read the revision of a board as the driver does; empty where there is none."""
    with suppress(OSError):
        content = (root / "proc/device-tree/system/linux,revision").read_bytes()[:4]
        if len(content) == 4:  # noqa: PLR2004 - bytes of its number
            return content.hex().lstrip("0")
    with suppress(OSError, UnicodeDecodeError):
        for line in (root / "proc/cpuinfo").read_text(encoding="utf-8").splitlines():
            if line.startswith("Revision"):
                return line.partition(":")[2].strip().lower()
    return ""


def _pin(zone: str, pin: int, faults: dict[str, str], used: dict[int, str] | None = None) -> PinFacts:
    return PinFacts(zone=zone, pin=pin, used_by=(used or {}).get(pin, ""), fault=faults.get(zone, ""))


def _find_devices(root: Path, user: str, more_groups: Collection[str]) -> list[DeviceFacts]:
    found = []
    uid, groups = _ids_of(user, more_groups)
    for path in sorted((root / "dev").glob("gpiochip*")):
        with suppress(OSError):
            status = path.stat()
            found.append(
                DeviceFacts(
                    path=f"/{path.relative_to(root)}",
                    group=group_name(status.st_gid),
                    mode=stat.S_IMODE(status.st_mode),
                    usable=_may_use(status, uid, groups),
                )
            )
    return found


def _may_use(status: os.stat_result, uid: int | None, groups: set[int]) -> bool:
    """Whether a user may read and write a file, by its mode alone."""
    if uid == 0:
        return True
    shift = 6 if status.st_uid == uid else 3 if status.st_gid in groups else 0
    return (status.st_mode >> shift) & 0o6 == 0o6  # noqa: PLR2004 - read and write


def _ids_of(user: str, more_groups: Collection[str]) -> tuple[int | None, set[int]]:
    groups = set()
    for name in more_groups:
        with suppress(KeyError):
            groups.add(grp.getgrnam(name).gr_gid)
    try:
        account = pwd.getpwnam(user)
    except KeyError:
        return None, groups
    return account.pw_uid, groups | set(os.getgrouplist(user, account.pw_gid))


def user_name(uid: int) -> str:
    """Name a user; by number where it has no name."""
    try:
        return pwd.getpwuid(uid).pw_name
    except KeyError:
        return str(uid)


def group_name(gid: int) -> str:
    """Name a group; by number where it has no name."""
    try:
        return grp.getgrgid(gid).gr_name
    except KeyError:
        return str(gid)


def _line_users(root: Path, named: str | None, pins: list[int], ask: Ioctl) -> dict[int, str] | None:
    """Ask the kernel who uses lines of the named chip, else of the header's; None where it does not say.

    Source: the kernel's user space interface, linux/gpio.h. To ask for a line's description takes no line.
    """
    for path in [root / named.lstrip("/")] if named else sorted((root / "dev").glob("gpiochip*")):
        try:
            chip = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
        except OSError:
            continue
        try:
            label = _CHIP.unpack(ask(chip, _GET_CHIP, bytes(_CHIP.size)))[1]
            if not named and not label.startswith(_HEADER_LABEL):
                continue
            users = {}
            for pin in pins:
                question = _LINE.pack(b"", b"", pin, 0, 0, b"", b"")
                _, consumer, _, _, flags, _, _ = _LINE.unpack(ask(chip, _GET_LINE, question))
                if flags & _IS_USED:
                    users[pin] = consumer.rstrip(b"\0").decode("utf-8", "replace") or "?"
        except (OSError, struct.error):
            continue
        else:
            return users
        finally:
            os.close(chip)
    return None


def _find_buses(root: Path) -> list[str]:
    """Find the buses that are switched on, by what the kernel then makes."""
    signs = {
        "I2C": (root / "dev/i2c-1").exists(),
        "1-Wire": (root / "sys/bus/w1/devices/w1_bus_master1").exists(),
        "SPI": any((root / "dev").glob("spidev0.*")),
        "the serial console": _CONSOLE.search(read_line(root / "proc/cmdline")) is not None,
    }
    return [bus for bus, is_on in signs.items() if is_on]

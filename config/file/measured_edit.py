"""Writes what was measured on site into the site file, with its comments kept."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from decimal import Decimal

from config.errors import KeyPath, UnknownFixtureError
from config.file.editor import WAIT_S, edit_site, find_zone
from config.file.loader import LoadedSite
from config.file.toml_editor import TomlEditor


def write_measured(
    path: str | os.PathLike[str],
    zone_id: str,
    *,
    watts: float | None = None,
    forget_watts: bool = False,
    volts: Mapping[int, Sequence[float] | None] | None = None,
    wait_s: float = WAIT_S,
) -> LoadedSite:
    """Write measured watts of a zone, and measured volts of its fixtures, into the site file.

    Args:
        path: the site file.
        zone_id: id of the zone.
        watts: that the zone takes from its transformer; None leaves the file's as they are.
        forget_watts: whether to take the file's out.
        volts: for fixtures by their place in the zone, from 1: the reading at the last light or one for each;
            None takes the file's out.
        wait_s: how many seconds to wait for another editor to finish.

    Returns:
        The site as it now stands in the file, and what is doubtful about it.

    Raises:
        UnknownZoneError: the file has no such zone.
        UnknownFixtureError: the zone has no such fixture.
        SiteFileError: as edit_site does.
    """

    def change(draft: TomlEditor) -> None:
        zone = find_zone(draft, zone_id)
        count = len(draft.get((*zone, "fixtures")) or ())
        for place in volts or ():
            if not 1 <= place <= count:
                raise UnknownFixtureError(zone_id, place, count)
        if watts is not None:
            draft.put((*zone, "measured_watts"), _number(watts))
        elif forget_watts:
            _forget(draft, (*zone, "measured_watts"))
        for place, readings in (volts or {}).items():
            key = (*zone, "fixtures", place - 1, "measured_volts")
            if readings is None:
                _forget(draft, key)
            else:
                numbers = [_number(each) for each in readings]
                draft.put(key, numbers[0] if len(numbers) == 1 else numbers)

    return edit_site(path, change, wait_s=wait_s)


def _forget(draft: TomlEditor, path: KeyPath) -> None:
    if draft.get(path) is not None:
        draft.remove_key(path)


def _number(value: float) -> Decimal:
    """Write a reading as it was sent: 11.6, not 11.600000000000001, and 12 for 12.0."""
    number = Decimal(repr(float(value)))
    return number.quantize(Decimal(1)) if number == number.to_integral_value() else number

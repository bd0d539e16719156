"""Changes a site file and keeps its comments and its layout.

A change is tried in memory first: the new text must mean exactly what was asked for, and must be a valid
site, before anything on the disk is touched.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Callable, Sequence
from pathlib import Path

from config.errors import KeyPath, SiteFileError, UnknownZoneError
from config.file.atomic_write import FileChangedError, NotSyncedError, write_atomically
from config.file.loader import (
    BYTE_ORDER_MARK,
    LARGEST_FILE_BYTES,
    LoadedSite,
    decode_text,
    parse_site,
    read_bytes,
    read_document,
    refuse_file,
)
from config.file.lock import lock_folder
from config.file.toml_editor import LayoutError, TomlEditor
from config.models.site import SpecialNight
from config.program.spans import Span

WAIT_S = 5.0


def write_program(
    path: str | os.PathLike[str],
    zone_id: str,
    program: Sequence[Span],
    special_nights: Sequence[SpecialNight] | None = None,
    *,
    wait_s: float = WAIT_S,
) -> LoadedSite:
    """Write a zone's program, and its special nights if given, into the site file.

    Args:
        path: the site file.
        zone_id: id of the zone.
        program: the spans of every night.
        special_nights: all special nights of the zone; None leaves those in the file as they are.
        wait_s: how many seconds to wait for another editor to finish.

    Returns:
        The site as it now stands in the file, and what is doubtful about it.

    Raises:
        UnknownZoneError: the file has no such zone.
        SiteFileError: as edit_site does.
    """

    def change(draft: TomlEditor) -> None:
        zone = find_zone(draft, zone_id)
        draft.put_list((*zone, "program"), [str(span) for span in program])
        if special_nights is not None:
            _put_special_nights(draft, (*zone, "special_nights"), special_nights)

    return edit_site(path, change, wait_s=wait_s)


def edit_site(
    path: str | os.PathLike[str], change: Callable[[TomlEditor], None], *, wait_s: float = WAIT_S
) -> LoadedSite:
    """Change a site file as a whole or not at all.

    Args:
        path: the site file; a link is followed, and stays a link.
        change: makes the change to the draft that it is given.
        wait_s: how many seconds to wait for another editor to finish.

    Returns:
        The site as it now stands in the file, and what is doubtful about it.

    Raises:
        SiteFileError: the changed file would not be a valid site, or it could not be read or written, or
            somebody else changed it meanwhile. The file then stands as it was, unless the words say that
            it was written and only not forced to the disk.
    """
    name = os.fspath(path)
    try:
        file = Path(name).resolve()
        with lock_folder(file.parent, wait_s=wait_s):
            old = read_bytes(name)
            text = _change_text(decode_text(old, name), change, name)
            loaded = parse_site(text, name)
            new = text.encode()
            if len(new) > LARGEST_FILE_BYTES:
                raise refuse_file(name, "would grow beyond 1 MB", "take out what is not needed")
            if new != old:
                write_atomically(file, new, expected=old)
            return loaded
    except FileNotFoundError:
        raise refuse_file(name, "there is no such file", "give the path of a site file") from None
    except OSError as error:
        raise _explain_failure(name, error) from error


def _change_text(text: str, change: Callable[[TomlEditor], None], name: str) -> str:
    """Apply a change to a text, and make sure that the text then means what it should."""
    mark = BYTE_ORDER_MARK if text.startswith(BYTE_ORDER_MARK) else ""
    body = text.removeprefix(BYTE_ORDER_MARK)
    read_document(body, name)
    draft = TomlEditor(body)
    try:
        change(draft)
    except LayoutError:
        raise _refuse_layout(name) from None
    if not draft.is_consistent:
        raise _refuse_layout(name)
    return mark + draft.text


def _refuse_layout(name: str) -> SiteFileError:
    """Make the error for a text that the editor does not get right."""
    remedy = "change it by hand, or bring the tables into the order of the examples"
    return refuse_file(name, "is laid out in a way that cannot be edited here without harm", remedy)


def _explain_failure(name: str, error: OSError) -> SiteFileError:
    """Make the error for a file that could not be written."""
    if isinstance(error, FileChangedError):
        return refuse_file(name, "was changed by somebody else meanwhile and is left as it is", "try again")
    if isinstance(error, NotSyncedError):
        what = f"was written, but not forced to the disk ({error.strerror})"
        return refuse_file(name, what, "see that the disk is sound; a power cut may bring the old text back")
    if isinstance(error, TimeoutError):
        return refuse_file(name, "is being changed by another program", "try again in a moment")
    remedies = {
        errno.ENOSPC: "make room on the disk",
        errno.EDQUOT: "make room on the disk",
        errno.EROFS: "the disk is read-only: look for errors on the card, or mount it for writing",
        errno.EACCES: "let the user that runs this program write to the file's folder",
        errno.EPERM: "let the user that runs this program write to the file's folder",
    }
    remedy = remedies.get(error.errno or 0, "see that the disk is sound")
    why = error.strerror or type(error).__name__
    return refuse_file(name, f"could not be written ({why}) and stands as it was", remedy)


def find_zone(draft: TomlEditor, zone_id: str) -> KeyPath:
    """Return the path of the zone with that id."""
    zones = draft.get(("zones",))
    rows = zones if isinstance(zones, list) else []
    ids = [row.get("id") if isinstance(row, dict) else None for row in rows]
    if zone_id not in ids:
        raise UnknownZoneError(zone_id, tuple(each for each in ids if isinstance(each, str)))
    return ("zones", ids.index(zone_id))


def _put_special_nights(draft: TomlEditor, path: KeyPath, special_nights: Sequence[SpecialNight]) -> None:
    """Make a zone's special nights these, touching only the tables that differ."""
    wanted = [
        {"nights": str(each.nights), "program": [str(span) for span in each.program]}
        for each in special_nights
    ]
    if draft.is_inline(path) or draft.is_inline(path[:-1]):
        if draft.get(path) != wanted:
            draft.put(path, wanted)
        return
    kept = [each["nights"] for each in wanted]
    for index in reversed(range(len(draft.get(path) or ()))):
        if draft.get((*path, index, "nights")) not in kept:
            draft.remove_table((*path, index))
    count = len(draft.get(path) or ())
    for index in reversed(range(len(wanted), count)):
        draft.remove_table((*path, index))
    count = min(count, len(wanted))
    for index, values in enumerate(wanted[:count]):
        if draft.get((*path, index, "nights")) != values["nights"]:
            draft.put((*path, index, "nights"), values["nights"])
        draft.put_list((*path, index, "program"), list(values["program"]))
    for values in wanted[count:]:
        draft.append_table(path, values)

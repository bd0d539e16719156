"""Changes a site file and keeps its comments and its layout.

A change is tried in memory first: the new text must mean exactly what was asked for, and must be a valid
site, before anything on the disk is touched.
"""

import errno
import os
from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from difflib import SequenceMatcher
from pathlib import Path

from config.errors import KeyPath, SiteFileError, UnknownFixtureError, UnknownZoneError
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
from config.phrase import Phrase
from config.program.spans import Span
from config.validation.cables import tables_of

# How long one editor waits for another to finish.
WAIT_S = 5.0

_LET_WRITE = Phrase("let the user that runs this program write to the file's folder")
_REMEDIES = {
    errno.ENOSPC: Phrase("make room on the disk"),
    errno.EDQUOT: Phrase("make room on the disk"),
    errno.EROFS: Phrase("the disk is read-only: look for errors on the card, or mount it for writing"),
    errno.EACCES: _LET_WRITE,
    errno.EPERM: _LET_WRITE,
}


def write_program(
    path: str | os.PathLike[str],
    zone_id: str,
    program: Sequence[Span],
    special_nights: Sequence[SpecialNight] | None = None,
) -> LoadedSite:
    """Write a zone's program into the site file, and all its special nights unless they are None.

    Returns and raises what edit_site does, and UnknownZoneError where the file has no such zone.
    """
    return write_programs(path, {zone_id: (program, special_nights)})


def write_programs(
    path: str | os.PathLike[str],
    programs: Mapping[str, tuple[Sequence[Span], Sequence[SpecialNight] | None]],
) -> LoadedSite:
    """Write the programs of several zones, by their ids, in one change; else as write_program."""

    def change(editor: TomlEditor) -> None:
        for zone_id, (program, special_nights) in programs.items():
            zone = find_zone(editor, zone_id)
            editor.put((*zone, "program"), [str(span) for span in program])
            if special_nights is not None:
                _put_special_nights(editor, (*zone, "special_nights"), special_nights)

    return edit_site(path, change)


def write_measured(
    path: str | os.PathLike[str],
    zone_id: str,
    *,
    watts: float | None = None,
    forget_watts: bool = False,
    volts: Mapping[int, Sequence[float] | None] | None = None,
) -> LoadedSite:
    """Write measured watts of a zone, and measured volts of its fixtures, into the site file.

    Returns and raises what edit_site does.

    Args:
        path: the site file.
        zone_id: id of the zone.
        watts: that the zone takes from its transformer; None leaves those in the file as they are.
        forget_watts: whether to remove those in the file.
        volts: for fixtures by their number in the zone, from 1: the reading at the last light or one for
            each; None removes those in the file.

    Raises:
        UnknownZoneError: the file has no such zone.
        UnknownFixtureError: the zone has no such fixture.
    """

    def change(editor: TomlEditor) -> None:
        zone = find_zone(editor, zone_id)
        count = len(editor.get((*zone, "fixtures")) or ())
        for number in volts or ():
            if not 1 <= number <= count:
                raise UnknownFixtureError(zone_id, number, count)
        if watts is not None or forget_watts:
            _put_or_remove(editor, (*zone, "measured_watts"), () if watts is None else (watts,))
        for number, readings in (volts or {}).items():
            _put_or_remove(editor, (*zone, "fixtures", number - 1, "measured_volts"), readings or ())

    return edit_site(path, change)


def write_table(path: str | os.PathLike[str], table: KeyPath, values: Mapping[str, object]) -> LoadedSite:
    """Write these keys of one table into the site file; None takes a key out, all other keys stay.

    Returns and raises what edit_site does.

    Args:
        path: the site file.
        table: path of the table; one such as ``[network]`` that is not there yet is added.
        values: what to write; text, number, date or list.
    """
    return edit_site(path, lambda editor: fill_table(editor, table, values))


def fill_table(editor: TomlEditor, table: KeyPath, values: Mapping[str, object]) -> None:
    """Do what ``write_table`` says, as part of a greater change."""
    if editor.get(table) is None:
        (name,) = table
        editor.add_settings(str(name), {key: each for key, each in values.items() if each is not None})
        return
    for key, value in values.items():
        if value is not None:
            editor.put((*table, key), value)
        elif editor.get((*table, key)) is not None:
            editor.remove_key((*table, key))


def edit_site(path: str | os.PathLike[str], change: Callable[[TomlEditor], None]) -> LoadedSite:
    """Change a site file as a whole or not at all.

    Args:
        path: the site file; a link is followed, and stays a link.
        change: makes the change with the editor that it is given.

    Returns:
        The site as it now stands in the file, and its warnings.

    Raises:
        SiteFileError: the changed file would not be a valid site, or it could not be read or written, or
            another program changed it meanwhile. The file is then unchanged, unless the message says that
            it was written but may not be on the disk.
    """
    return _write_text(path, lambda text: change_text(text, change, os.fspath(path)))


def restore_text(path: str | os.PathLike[str], text: str, *, expected: str) -> LoadedSite:
    """Give a site file back a text that it had, both without a byte order mark; else as edit_site.

    Raises:
        SiteFileError: also where it has another text than expected: somebody has changed it since.
    """

    def change(now: str) -> str:
        mark = BYTE_ORDER_MARK if now.startswith(BYTE_ORDER_MARK) else ""
        if now.removeprefix(mark) != expected:
            what = Phrase("was changed since, and is left as it is")
            raise refuse_file(os.fspath(path), what, Phrase("look at it first"))
        return mark + text

    return _write_text(path, change)


def _write_text(path: str | os.PathLike[str], change: Callable[[str], str]) -> LoadedSite:
    """Make another text of a site file, with any byte order mark, and write it as a whole or not at all."""
    name = os.fspath(path)
    try:
        file = Path(name).resolve()
        with lock_folder(file.parent, wait_s=WAIT_S):
            old = read_bytes(name)
            text = change(decode_text(old, name))
            loaded = parse_site(text, name)
            new = text.encode()
            if len(new) > LARGEST_FILE_BYTES:
                what, remedy = Phrase("would grow beyond 1 MB"), Phrase("remove what is not needed")
                raise refuse_file(name, what, remedy)
            if new != old:
                write_atomically(file, new, expected=old)
            return loaded
    except OSError as error:
        raise _explain_failure(name, error) from error


def change_text(text: str, change: Callable[[TomlEditor], None], name: str) -> str:
    """Give the text that a site file would have after a change; ``name`` is the file's, for what is wrong.

    Raises:
        SiteFileError: its layout cannot be edited.
    """
    mark = BYTE_ORDER_MARK if text.startswith(BYTE_ORDER_MARK) else ""
    body = text.removeprefix(BYTE_ORDER_MARK)
    read_document(body, name)
    editor = TomlEditor(body)
    try:
        change(editor)
        consistent = editor.is_consistent
    except LayoutError:
        consistent = False
    if not consistent:
        remedy = Phrase("change it by hand, or bring the tables into the order of the examples")
        raise refuse_file(name, Phrase("has a layout that cannot be edited safely here"), remedy)
    return mark + editor.text


def _explain_failure(name: str, error: OSError) -> SiteFileError:
    why = error.strerror or type(error).__name__
    if isinstance(error, FileNotFoundError):
        what, remedy = Phrase("there is no such file"), Phrase("give the path of a site file")
    elif isinstance(error, FileChangedError):
        what = Phrase("was changed by another program meanwhile and is left as it is")
        remedy = Phrase("try again")
    elif isinstance(error, NotSyncedError):
        what = Phrase("was written, but may not be on the disk ({why})", why=why)
        remedy = Phrase("check the disk; a power cut may bring the old text back")
    elif isinstance(error, TimeoutError):
        what, remedy = Phrase("is being changed by another program"), Phrase("try again in a moment")
    else:
        what = Phrase("could not be written ({why}) and is unchanged", why=why)
        remedy = _REMEDIES.get(error.errno or 0, Phrase("check the disk"))
    return refuse_file(name, what, remedy)


def find_zone(editor: TomlEditor, zone_id: str) -> KeyPath:
    """Return the path of a zone's table, or raise UnknownZoneError."""
    ids = [(path, row.get("id")) for path, row in tables_of(editor.values, "zones")]
    for path, each in ids:
        if each == zone_id:
            return path
    raise UnknownZoneError(zone_id, tuple(each for _, each in ids if isinstance(each, str)))


def _put_special_nights(editor: TomlEditor, path: KeyPath, special_nights: Sequence[SpecialNight]) -> None:
    """Make a zone's special nights these; each that stays keeps its table and its comments."""
    wanted = [
        {"nights": str(each.nights), "program": [str(span) for span in each.program]}
        for each in special_nights
    ]
    old = [row for _, row in tables_of(editor.get(path[:-1]), "special_nights")]
    # A special night is dark where its program is left out.
    if [{"program": [], **each} for each in old] == wanted:
        return
    if editor.is_inline(path):
        editor.put(path, wanted)
        return
    one = [str(each.get("nights")) for each in old]
    other = [str(each["nights"]) for each in wanted]
    steps = SequenceMatcher(None, one, other, autojunk=False).get_opcodes()
    for _, start, end, new_start, new_end in reversed(steps):
        changed = min(end - start, new_end - new_start)
        for index in reversed(range(start + changed, end)):
            editor.remove_table((*path, index))
        for index in range(changed, new_end - new_start):
            editor.insert_table((*path, start + index), wanted[new_start + index])
        for index in range(changed):
            for key, value in wanted[new_start + index].items():
                if value != (editor.get((*path, start + index, key)) or []):
                    editor.put((*path, start + index, key), value)


def _put_or_remove(editor: TomlEditor, path: KeyPath, readings: Sequence[float]) -> None:
    numbers = [_to_decimal(each) for each in readings]
    if numbers:
        editor.put(path, numbers[0] if len(numbers) == 1 else numbers)
    elif editor.get(path) is not None:
        editor.remove_key(path)


def _to_decimal(value: float) -> Decimal:
    # As it was sent: 11.6, not 11.600000000000001, and 12 for 12.0.
    number = Decimal(repr(float(value)))
    return number.quantize(Decimal(1)) if number == number.to_integral_value() else number

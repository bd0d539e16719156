"""Changing a site file when it must not or cannot be: the old file stands, and the words say why."""

import errno
import os
import threading

import pytest

from config.errors import SiteFileError, UnknownZoneError
from config.file import atomic_write
from config.file.editor import edit_site, write_program
from config.file.loader import example_path, load_site
from config.file.lock import lock_folder
from config.program.parser import parse_program, parse_span
from tests.config.site_texts import GOOD

LATE = parse_program(["dusk to 02:00"])


def refusal_of(path, change):
    """The one line with which an edit is refused."""
    with pytest.raises(SiteFileError) as caught:
        edit_site(path, change)
    return str(caught.value)


def test_a_zone_that_is_not_there_is_reported(good):
    """The known ids are named, and the file stays."""
    with pytest.raises(UnknownZoneError) as caught:
        write_program(good, "jetty", LATE)
    assert str(caught.value) == "no zone is called “jetty”; this site has path"
    assert good.read_text() == GOOD


def test_a_broken_program_in_the_file_can_be_mended(good):
    """What a slip of the hand broke, the page can put right."""
    good.write_text(GOOD.replace("dusk to midnight", "dusk to 24:00"))
    assert write_program(good, "path", LATE).site.zone("path").program == LATE


def test_a_change_that_would_make_the_site_invalid_is_refused_whole(good):
    """All problems of the changed file are reported, and the file stays as it was."""

    def change(editor):
        editor.put(("zones", 0, "pin"), 99)
        editor.put(("site", "time_zone"), "Europe/Lndon")

    told = refusal_of(good, change).split("\n")
    places = [line.split(": ")[1] for line in told]
    assert places == [
        'site.time_zone = "Europe/Lndon"',
        "zone “path”, pin = 99",
    ]
    assert good.read_text() == GOOD


def test_a_file_that_is_wrong_elsewhere_is_refused(good):
    """An edit does not hide another problem of the file."""
    broken = GOOD.replace("rated_va = 200", "rated_va = -1")
    good.write_text(broken)
    with pytest.raises(SiteFileError, match=r"transformer “shed”, rated_va = -1: is too small"):
        write_program(good, "path", LATE)
    assert good.read_text() == broken


def test_a_layout_that_cannot_be_edited_is_reported(tmp_path):
    """A key that would land in the wrong table is noticed before anything is written."""
    path = tmp_path / "site.toml"
    text = GOOD.replace("[site]\nname", "site.name").replace("\nlatitude", "\nsite.latitude")
    text = text.replace("\nlongitude", "\nsite.longitude").replace("\ntime_zone", "\nsite.time_zone")
    path.write_text(text)
    assert refusal_of(path, lambda editor: editor.put(("site", "dusk_angle"), 4)) == (
        f"{path}: has a layout that cannot be edited safely here; "
        "change it by hand, or bring the tables into the order of the examples"
    )
    assert refusal_of(path, lambda editor: editor.put(("tariff",), 4)).endswith("the order of the examples")
    assert path.read_text() == text


def test_a_file_may_not_grow_beyond_what_can_be_read(good):
    """What is written can be read again."""
    assert refusal_of(good, lambda editor: editor.put(("site", "name"), "x" * 1_000_000)).startswith(
        f"{good}"
    )
    good.write_text((GOOD + "\n" + "#\n" * 500_000)[:999_999])
    assert refusal_of(good, lambda editor: editor.put(("site", "name"), "Tern Cottage on the hill")) == (
        f"{good}: would grow beyond 1 MB; remove what is not needed"
    )


def test_a_missing_file_and_folder_are_reported(tmp_path):
    """An edit makes no file."""
    told = "there is no such file; give the path of a site file"
    assert refusal_of(tmp_path / "no.toml", lambda _draft: None).startswith(
        f"{tmp_path / 'no.toml'}: there is no such file; "
    )
    path = tmp_path / "none" / "site.toml"
    assert refusal_of(path, lambda _draft: None) == f"{path}: {told}"
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("call", "code", "told"),
    [
        (
            "write",
            errno.ENOSPC,
            "could not be written (No space left on device) and is unchanged; make room on the disk",
        ),
        (
            "fsync",
            errno.EIO,
            "could not be written (Input/output error) and is unchanged; check the disk",
        ),
        (
            "fchmod",
            errno.EROFS,
            (
                "could not be written (Read-only file system) and is unchanged; "
                "the disk is read-only: look for errors on the card, or mount it for writing"
            ),
        ),
        (
            "write",
            errno.EACCES,
            (
                "could not be written (Permission denied) and is unchanged; "
                "let the user that runs this program write to the file's folder"
            ),
        ),
    ],
)
def test_a_disk_that_refuses_is_reported(good, monkeypatch, call, code, told):
    """The system's reason and a remedy are in one sentence, and the old file stands."""

    def fail(*_args, **_more):
        raise OSError(code, os.strerror(code))

    monkeypatch.setattr(os, call, fail)
    with pytest.raises(SiteFileError) as caught:
        write_program(good, "path", LATE)
    monkeypatch.undo()
    assert str(caught.value) == f"{good}: {told}"
    assert good.read_text() == GOOD
    assert [each.name for each in good.parent.iterdir()] == [good.name]


def test_a_file_that_was_written_but_not_forced_is_reported_as_it_is(good, monkeypatch):
    """Where there is no way back, the words do not claim that the old text stands."""
    real, calls = os.fsync, []

    def fail_for_the_folder(handle):
        calls.append(handle)
        if len(calls) == 2:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        real(handle)

    monkeypatch.setattr(atomic_write, "_exchange", lambda *_names: False)
    monkeypatch.setattr(os, "fsync", fail_for_the_folder)
    with pytest.raises(SiteFileError) as caught:
        write_program(good, "path", LATE)
    assert str(caught.value) == (
        f"{good}: was written, but may not be on the disk (Input/output error); "
        "check the disk; a power cut may bring the old text back"
    )
    assert load_site(good).site.zone("path").program == LATE


def test_a_file_changed_by_somebody_else_meanwhile_is_left_to_them(good, monkeypatch):
    """An editor that saves during an edit wins, and the person is asked to try again."""
    theirs = GOOD.replace("Tern Cottage", "Heron Cottage")
    real = atomic_write._write_temporary

    def come_between(*args, **more):
        real(*args, **more)
        good.write_text(theirs)

    monkeypatch.setattr(atomic_write, "_write_temporary", come_between)
    with pytest.raises(SiteFileError) as caught:
        write_program(good, "path", LATE)
    told = "was changed by another program meanwhile and is left as it is; try again"
    assert str(caught.value) == f"{good}: {told}"
    assert good.read_text() == theirs


def test_an_edit_waits_no_longer_than_allowed_for_another(good, monkeypatch):
    """While another editor holds the folder, the answer is one sentence."""
    monkeypatch.setattr("config.file.editor.WAIT_S", 0)
    with lock_folder(good.parent, wait_s=0):
        told = refusal_of(good, lambda editor: editor.put(("site", "name"), "x"))
    assert told == f"{good}: is being changed by another program; try again in a moment"
    assert good.read_text() == GOOD


def test_editors_at_the_same_time_lose_nothing_and_readers_see_only_whole_files(tmp_path, monkeypatch):
    """Eight threads write eight zones and another one reads: no change is lost, every reading is a site."""
    monkeypatch.setattr("config.file.editor.WAIT_S", 60)
    path = tmp_path / "site.toml"
    path.write_bytes(example_path("full-property").read_bytes())
    ids = [zone.id for zone in load_site(path).site.zones]
    done = threading.Event()
    readings, faults = [], []

    def read():
        while not done.is_set():
            try:
                readings.append(len(load_site(path).site.zones))
            except SiteFileError as error:
                faults.append(error)

    def write(zone_id, minute):
        try:
            write_program(path, zone_id, [parse_span(f"dusk to 23:{minute:02}")])
        except SiteFileError as error:
            faults.append(error)

    reader = threading.Thread(target=read)
    writers = [threading.Thread(target=write, args=(each, n)) for n, each in enumerate(ids, 10)]
    reader.start()
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    done.set()
    reader.join()
    assert faults == []
    assert set(readings) == {8}
    programs = [str(zone.program[0]) for zone in load_site(path).site.zones]
    assert programs == [f"dusk to 23:{n}" for n in range(10, 18)]

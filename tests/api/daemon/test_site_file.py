"""The site file changed by hand: read once it is finished, never half of it, and never twice."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from api.daemon import site_file as module
from api.daemon.site_file import SiteFile, SiteFileUse
from config.errors import SiteFileError
from config.file.atomic_write import FileChangedError
from config.file.editor import write_program
from config.file.loader import LoadedSite, load_site
from config.program.parser import parse_program
from tests.config.site_texts import GOOD

# Two zones; what it has before the second heading is a valid site too.
WHOLE = GOOD + '\n[[zones]]\nid = "gate"\ntransformer = "shed"\npin = 27\nprogram = ["dusk to 23:00"]\n'
BAD = GOOD.replace("pin = 17", "pin = 99").replace("count = 6", "count = 0")


class Watched:
    """A site file, a clock that stands still, and what was done with the file."""

    def __init__(self, folder: Path, *, text: str = GOOD, refusal: str = "") -> None:
        self.path = folder / "site.toml"
        self.path.write_text(text, encoding="utf-8")
        self.now_s = 100.0
        self.done: list[str] = []
        self.taken: list[LoadedSite] = []
        self.answers = True
        use = SiteFileUse(
            changed=lambda: self.note("changed"),
            unchanged=lambda: self.note("unchanged"),
            take=self.take,
            refuse=lambda words: self.note(f"refused: {words}"),
        )
        self.file = SiteFile(self.path, text=GOOD, refusal=refusal, use=use, now_s=lambda: self.now_s)

    def note(self, what: str) -> None:
        if not self.answers:
            raise TimeoutError
        self.done.append(what)

    def take(self, loaded: LoadedSite) -> None:
        self.note("taken")
        self.taken.append(loaded)

    def write(self, text: str) -> None:
        self.path.write_text(text, encoding="utf-8")

    def replace(self, text: str) -> None:
        """Save as an editor does that writes another file and renames it."""
        other = self.path.with_name("site.toml.new")
        other.write_text(text, encoding="utf-8")
        other.replace(self.path)

    def look(self, *, after_s: float = 0.0) -> float:
        self.now_s += after_s
        return self.file.look()

    def look_for(self, seconds: float) -> list[str]:
        """Look whenever a look is due, for so long; what was done meanwhile."""
        before, ends_s = len(self.done), self.now_s + seconds
        while self.now_s <= ends_s:
            self.now_s += self.look()
        return self.done[before:]


@pytest.fixture
def watched(tmp_path: Path) -> Watched:
    watched = Watched(tmp_path)
    watched.look()
    return watched


def test_a_file_that_nobody_touches_is_left_alone(watched: Watched) -> None:
    """Neither at the start nor later is anything noticed."""
    assert watched.look_for(100) == []


@pytest.mark.parametrize("save", [Watched.write, Watched.replace])
def test_a_change_is_noticed_within_a_tick_and_read_after_two_seconds(
    watched: Watched, save: Callable[[Watched, str], None]
) -> None:
    """Noticed once; read when it has been still for two seconds and not a moment earlier; read once."""
    assert watched.look() <= 30.0
    save(watched, WHOLE)
    assert watched.look() <= 1.0
    assert watched.done == ["changed"]
    watched.look(after_s=1.99)
    assert watched.done == ["changed"]
    watched.look(after_s=0.01)
    assert watched.done == ["changed", "taken"]
    assert watched.taken[0] == load_site(watched.path)
    assert watched.look_for(60) == []


def test_a_change_before_the_first_look_is_noticed_too(tmp_path: Path) -> None:
    """The file changed between its reading at the start and the first look."""
    watched = Watched(tmp_path, text=WHOLE)
    assert watched.look_for(5) == ["changed", "taken"]


def test_half_a_file_that_is_valid_is_not_taken_for_the_whole(watched: Watched) -> None:
    """An editor that pauses between two tables leaves a valid site of one zone for a while."""
    for length in (0, WHOLE.index("[[zones]]"), len(GOOD), len(WHOLE) - 5, len(WHOLE)):
        watched.write(WHOLE[:length])
        assert "taken" not in watched.look_for(1.4)
    assert watched.look_for(5) == ["taken"]
    assert [zone.id for zone in watched.taken[0].site.zones] == ["path", "gate"]


def test_a_file_that_changes_while_it_is_read_is_read_again(
    watched: Watched, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Still for two seconds, and then written on just before or just after it is read."""
    read_bytes = module.read_bytes
    for text, write_first in ((WHOLE, True), (WHOLE.replace("23:00", "23:30"), False)):

        def read_and_write(path: object, text: str = text, write_first: bool = write_first) -> bytes:
            if write_first:
                watched.write(text)
            content = read_bytes(watched.path)
            if not write_first:
                watched.write(text)
            monkeypatch.setattr(module, "read_bytes", read_bytes)
            return content

        watched.write(text[: len(GOOD)].replace("Tern", "Reed"))
        watched.look()
        monkeypatch.setattr(module, "read_bytes", read_and_write)
        watched.look(after_s=2.0)
        assert "taken" not in watched.done[-1:]
        assert watched.look_for(5) == ["taken"]
        assert watched.taken[-1].text == text


edits = st.tuples(
    st.sampled_from(["write", "replace", "delete", "touch", "same size"]),
    st.integers(0, len(WHOLE)),
    st.floats(0.0, 1.9),
)


@settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(edits, max_size=12), st.sampled_from([GOOD, WHOLE]))
def test_only_what_was_finished_is_ever_taken(
    tmp_path: Path, edits: list[tuple[str, int, float]], end: str
) -> None:
    """However an editor writes, in pauses below two seconds: its last text is taken, once, and no other."""
    watched = Watched(tmp_path)
    watched.look()
    due_s = watched.now_s
    for number, (kind, length, pause_s) in enumerate(edits):
        text = WHOLE[:length]
        if kind == "replace" or not watched.path.exists():
            watched.replace(text)
        elif kind == "write":
            watched.write(text)
        elif kind == "same size":
            watched.write(watched.path.read_text(encoding="utf-8").swapcase())
        elif kind == "delete":
            watched.path.unlink()
        # In real time the clock of the disk goes on between two of them.
        os.utime(watched.path if watched.path.exists() else tmp_path, ns=(number, number))
        ends_s = watched.now_s + pause_s
        while due_s <= ends_s:
            watched.now_s = max(due_s, watched.now_s)
            due_s = watched.now_s + watched.look()
        watched.now_s = ends_s
    watched.replace(end)
    watched.look_for(10)
    assert [loaded.text for loaded in watched.taken] == ([] if end == GOOD else [WHOLE])
    assert watched.done.count("changed") <= len(edits) + 1
    assert watched.done[-1] != "changed"
    assert not any(each.startswith("refused") for each in watched.done)


def test_a_file_touched_without_a_change_of_content_does_nothing(watched: Watched) -> None:
    """Touched, replaced by its like, or saved as it was: noticed, and that is all."""
    for save in (os.utime, lambda _path: watched.replace(GOOD), lambda _path: watched.write(GOOD)):
        save(watched.path)
        assert watched.look_for(5) == ["changed", "unchanged"]


def test_a_change_that_is_undone_at_once_is_no_change(watched: Watched, tmp_path: Path) -> None:
    """The file is moved away, and a link to it is put in its place."""
    moved = watched.path.rename(tmp_path / "moved.toml")
    watched.look()
    watched.path.symlink_to(moved)
    assert watched.look_for(5) in (["unchanged"], [])
    assert watched.done[-1] == "unchanged"


def test_a_refused_file_is_refused_once_with_every_problem(watched: Watched) -> None:
    """Touched afterwards it is not refused again; changed back to what is in use it clears the refusal."""
    watched.write(BAD)
    changed, refused = watched.look_for(5)
    assert (changed, refused.count("site.toml:")) == ("changed", 2)
    os.utime(watched.path)
    assert watched.look_for(5) == ["changed", "unchanged"]
    watched.write(GOOD)
    assert watched.look_for(5) == ["changed", "taken"]


def test_a_file_that_is_gone_is_refused_until_it_is_back(watched: Watched) -> None:
    """Away for a moment it is not missed; for longer it is, once, with what to do."""
    watched.path.unlink()
    watched.look_for(1)
    watched.write(GOOD)
    assert watched.look_for(5)[-1:] == ["unchanged"]
    watched.path.unlink()
    changed, refused = watched.look_for(60)
    assert changed == "changed"
    assert "there is no such file" in refused
    watched.write(GOOD)
    assert watched.look_for(5) == ["changed", "taken"]


def test_a_start_with_a_file_that_was_refused_refuses_it_no_second_time(tmp_path: Path) -> None:
    """The last good copy is in use; the file is read when it changes, and not before."""
    path = tmp_path / "site.toml"
    path.write_text(BAD, encoding="utf-8")
    with pytest.raises(SiteFileError) as error:
        load_site(path)
    watched = Watched(tmp_path, text=BAD, refusal=str(error.value))
    assert watched.look_for(60) == []
    watched.write(GOOD)
    assert watched.look_for(5) == ["changed", "taken"]


def test_an_edit_of_ours_is_not_read_a_second_time(watched: Watched) -> None:
    """Written while it is held, it is what is in use; the next change by hand is noticed as ever."""
    for program in ("dusk to 23:00", "dusk to 22:00"):
        with watched.file.editing():
            watched.file.was_edited(write_program(watched.path, "path", parse_program([program])))
        assert watched.look_for(60) == []
    watched.write(WHOLE)
    assert watched.look_for(5) == ["changed", "taken"]


def test_an_edit_of_ours_waits_until_a_change_by_hand_is_read(watched: Watched) -> None:
    """It would otherwise take half a file for the whole; noticed or not, it is refused with what to do."""
    watched.write(WHOLE[: len(GOOD)].replace("Tern", "Reed"))
    for _ in range(2):
        with pytest.raises(SiteFileError, match="not read yet; try again") as error, watched.file.editing():
            pytest.fail("let in")
        assert isinstance(error.value.__cause__, FileChangedError)
        watched.look()
    watched.look_for(5)
    with watched.file.editing():
        pass


def test_an_edit_before_the_first_look_is_let_in(tmp_path: Path) -> None:
    """The API may be up before anybody has looked."""
    watched = Watched(tmp_path)
    with watched.file.editing():
        watched.file.was_edited(write_program(watched.path, "path", parse_program([])))
    assert watched.look_for(5) == []


def test_what_changed_within_an_edit_of_ours_is_still_noticed(watched: Watched) -> None:
    """Somebody saves the file between our writing and our looking at it again."""
    with watched.file.editing():
        loaded = write_program(watched.path, "path", parse_program([]))
        watched.write(WHOLE)
        watched.file.was_edited(loaded)
    assert watched.look_for(5) == ["changed", "taken"]


def test_a_reading_that_somebody_asks_for_comes_at_once(watched: Watched) -> None:
    """Finished or not, changed or not; what is written after it is read when it is still."""
    watched.write(WHOLE[: len(GOOD)].replace("Tern", "Reed"))
    watched.look()
    watched.file.read()
    assert watched.done == ["changed", "taken"]
    watched.write(WHOLE)
    assert watched.look_for(5) == ["changed", "taken"]
    watched.file.read()
    assert watched.done[-1] == "taken"
    assert watched.look_for(5) == []


def test_what_is_written_while_somebody_has_it_read_is_read_as_well(
    watched: Watched, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The rest of the file comes after its first half was read on demand."""
    read_bytes = module.read_bytes

    def read_and_write(path: Path) -> bytes:
        content = read_bytes(path)
        watched.write(WHOLE)
        return content

    monkeypatch.setattr(module, "read_bytes", read_and_write)
    watched.write(WHOLE[: len(GOOD)].replace("Tern", "Reed"))
    watched.file.read()
    monkeypatch.setattr(module, "read_bytes", read_bytes)
    assert watched.look_for(5) == ["changed", "taken"]
    assert watched.taken[-1].text == WHOLE


def test_a_keeper_that_does_not_answer_is_told_later(watched: Watched) -> None:
    """Nothing is lost: whatever the step, it is done again at the next look."""
    watched.write(WHOLE)
    for _ in range(2):
        watched.answers = False
        with pytest.raises(TimeoutError):
            watched.look(after_s=2.0)
        watched.answers = True
        watched.look(after_s=2.0)
    assert watched.done == ["changed", "taken"]


def test_a_disk_that_hangs_is_in_the_log_once_and_holds_nobody_up(
    watched: Watched, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """Who asks whether it hangs has an answer at once; when it answers again all goes on."""
    hangs, goes_on = threading.Event(), threading.Event()
    signature_of = module.signature_of

    def hang(path: Path) -> tuple[int, ...]:
        hangs.set()
        assert goes_on.wait(60)
        return signature_of(path)

    monkeypatch.setattr(module, "signature_of", hang)
    watched.write(WHOLE)
    looking = threading.Thread(target=watched.look)
    looking.start()
    assert hangs.wait(60)
    for passed_s in (30.0, 29.0, 2.0, 100.0):
        watched.now_s += passed_s
        watched.file.warn_if_it_hangs()
    assert [record.levelname for record in caplog.records] == ["WARNING"]
    assert "the disk does not answer" in caplog.text
    goes_on.set()
    looking.join(60)
    assert watched.look_for(5)[-1] == "taken"
    watched.file.warn_if_it_hangs()
    assert len(caplog.records) == 1


def test_a_disk_that_hangs_while_the_file_is_read_lets_go_of_edits(
    watched: Watched, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An edit is told to come again, and a second look changes nothing."""
    hangs, goes_on = threading.Event(), threading.Event()
    read_bytes = module.read_bytes

    def hang(path: Path) -> bytes:
        hangs.set()
        assert goes_on.wait(60)
        return read_bytes(path)

    monkeypatch.setattr(module, "read_bytes", hang)
    monkeypatch.setattr(module, "WAIT_S", 0.01)
    watched.write(WHOLE)
    watched.look()
    looking = threading.Thread(target=watched.look, kwargs={"after_s": 2.0})
    looking.start()
    assert hangs.wait(60)
    with pytest.raises(TimeoutError, match="try again"), watched.file.editing():
        pytest.fail("let in")
    watched.look()
    assert watched.done == ["changed"]
    goes_on.set()
    looking.join(60)
    assert watched.done == ["changed", "taken"]

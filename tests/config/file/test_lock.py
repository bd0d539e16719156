"""The exclusive lock on a folder: one holder at a time, waiting for a limited time."""

import threading

import pytest

from config.file.lock import lock_folder


def test_a_folder_is_held_by_one_at_a_time(tmp_path):
    """A second editor waits, and gives up in time."""
    with lock_folder(tmp_path, wait_s=0), pytest.raises(TimeoutError), lock_folder(tmp_path, wait_s=0.05):
        pytest.fail("two editors hold the same folder")
    with lock_folder(tmp_path, wait_s=0):
        pass
    assert list(tmp_path.iterdir()) == []


def test_a_second_editor_goes_on_when_the_first_has_finished(tmp_path):
    """Waiting ends as soon as the folder is free."""
    order = []
    held = threading.Event()

    def wait_and_hold():
        held.wait()
        with lock_folder(tmp_path, wait_s=10):
            order.append("second")

    other = threading.Thread(target=wait_and_hold)
    other.start()
    with lock_folder(tmp_path, wait_s=0):
        held.set()
        other.join(0.1)
        order.append("first")
    other.join()
    assert order == ["first", "second"]


def test_a_folder_that_is_not_there_cannot_be_held(tmp_path):
    """No folder is made by holding it."""
    with pytest.raises(FileNotFoundError), lock_folder(tmp_path / "none", wait_s=0):
        pytest.fail("a folder was held that is not there")

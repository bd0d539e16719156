"""Small file systems to put a state folder on: a disk that is full, read-only or slow for one process."""

from __future__ import annotations

import fcntl
import os
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

# Linux, include/uapi/linux/fs.h: FIFREEZE and FITHAW.
_FREEZE, _THAW = 0xC0045877, 0xC0045878


def _run(*command: str) -> None:
    """Run a tool of the system, or skip the test where it may not be done here."""
    tool = shutil.which(command[0], path=os.environ.get("PATH", "") + ":/usr/sbin:/sbin")
    if os.geteuid() != 0 or tool is None:
        pytest.skip(f"only root may mount, and needs {command[0]}")
    done = subprocess.run([tool, *command[1:]], check=False, capture_output=True, text=True)
    if done.returncode:
        pytest.skip(f"{' '.join(command)} is not allowed here: {done.stderr.strip()}")


@contextmanager
def mounted(folder: Path, *, what: str, options: str, kind: str) -> Iterator[Path]:
    """Have a file system lie on a folder for the length of a block; whoever uses it has ended by then."""
    folder.mkdir()
    _run("mount", "-t", kind, "-o", options, what, str(folder))
    try:
        yield folder
    finally:
        subprocess.run(["umount", str(folder)], check=True, env={"PATH": "/usr/bin:/bin:/usr/sbin:/sbin"})


@contextmanager
def small_disk(folder: Path, *, size_kb: int) -> Iterator[Path]:
    """Mount a disk in memory that is soon full."""
    with mounted(folder, what="small", options=f"size={size_kb}k", kind="tmpfs"):
        yield folder


@contextmanager
def card(folder: Path, *, size_kb: int = 16 * 1024) -> Iterator[Path]:
    """Mount ext4 in a file: a disk that can be frozen, and that can turn read-only as a worn card does."""
    image = folder.with_name(folder.name + ".img")
    with image.open("wb") as file:
        file.truncate(size_kb * 1024)
    _run("mkfs.ext4", "-q", "-F", str(image))
    with mounted(folder, what=str(image), options="loop,errors=remount-ro", kind="ext4"):
        yield folder


def pull_out(folder: Path) -> None:
    """Unmount a disk under whoever uses it; what is open on it stays until it is closed."""
    _run("umount", "-l", str(folder))


def plug_in(folder: Path) -> None:
    """Mount the same card again, as another device."""
    _run("mount", "-t", "ext4", "-o", "loop", str(folder.with_name(folder.name + ".img")), str(folder))


def make_read_only(folder: Path) -> None:
    """Mount a disk anew, only to read; nobody may have a file open on it to write."""
    _run("mount", "-o", "remount,ro", str(folder))


def make_writable(folder: Path) -> None:
    """Mount a disk anew, to write."""
    _run("mount", "-o", "remount,rw", str(folder))


def wear_out(folder: Path) -> None:
    """Have ext4 find its disk bad: it is read-only from now on, whoever has files open on it to write."""
    _run("mount", "-o", "remount,abort", str(folder))


@contextmanager
def frozen(folder: Path) -> Iterator[None]:
    """Have every write to a disk wait for the length of a block."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        fcntl.ioctl(descriptor, _FREEZE, 0)
        try:
            yield
        finally:
            fcntl.ioctl(descriptor, _THAW, 0)
    finally:
        os.close(descriptor)


def fill(folder: Path) -> Path:
    """Write a file until the disk has no room for one byte more; its path, to make room again."""
    filler = folder / "filler"
    with filler.open("wb", buffering=0) as file:
        for piece in (b"x" * 65536, b"x" * 512, b"x"):
            try:
                while True:
                    file.write(piece)
            except OSError:
                continue
    return filler

"""The QR code on a terminal: read back by another program, and only shown where it can be read."""

from __future__ import annotations

import contextlib
import io
import os
import pty
import shutil
import struct
import subprocess
import termios
from fcntl import ioctl

import pytest

from api.render.qr_code import qr_lines, show_qr_code

URL = "https://[fd12:3456:789a:bcde:0123:4567:89ab:cdef]:65535/"


@pytest.mark.skipif(
    shutil.which("zbarimg") is None and not os.environ.get("CI"), reason="no zbarimg (zbar-tools) here"
)
@pytest.mark.parametrize("text", ["http://192.168.1.20:8010/", URL])
def test_a_reader_of_qr_codes_reads_it(tmp_path, text):
    """What stands on the screen, as a picture of its half blocks, is read back as the same text."""
    rows: list[str] = []
    for line in qr_lines(text):
        rows.append("".join("0" if each in "█▀" else "1" for each in line))
        rows.append("".join("0" if each in "█▄" else "1" for each in line))
    large = [" ".join(dot for dot in row for _ in range(4)) for row in rows for _ in range(4)]
    picture = tmp_path / "code.pbm"
    size = f"{4 * len(rows[0])} {len(large)}"
    picture.write_text("\n".join(["P1", size, *large]) + "\n", encoding="ascii")
    done = subprocess.run(["zbarimg", "-q", "--raw", picture], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == text


def shown_on_terminal(columns: int, encoding: str = "utf-8") -> str | None:
    """What is written to a terminal so wide; None where nothing is."""
    ours, theirs = pty.openpty()
    try:
        ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 60, columns, 0, 0))
        with os.fdopen(theirs, "w", encoding=encoding) as terminal:
            shown = show_qr_code("http://192.168.1.20:8010/", terminal)
        heard = b""
        with contextlib.suppress(OSError):  # the end of what a terminal that is closed had to say
            while piece := os.read(ours, 65536):
                heard += piece
        return heard.decode() if shown else None
    finally:
        os.close(ours)


def test_a_wide_terminal_shows_it():
    """Where there is room, it is shown in white on black, whatever the colours of the terminal are."""
    shown = shown_on_terminal(80)
    assert shown is not None
    lines = shown.splitlines()
    assert len(lines) == len(qr_lines("http://192.168.1.20:8010/"))
    assert all(line.startswith("\x1b[97;40m") and line.endswith("\x1b[0m") for line in lines)


def test_elsewhere_nothing_is_shown():
    """A narrow terminal, one without the characters, and a file get none."""
    assert shown_on_terminal(len(qr_lines("http://192.168.1.20:8010/")[0]) - 1) is None
    assert shown_on_terminal(80, encoding="latin-1") is None
    assert not show_qr_code("http://192.168.1.20:8010/", io.StringIO())

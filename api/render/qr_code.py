"""QR codes (ISO/IEC 18004), on a terminal or a page, for a phone to read an address from the screen."""

import os
from typing import TextIO

# White on black whatever the terminal's own colours are: ECMA-48, section 8.3.117.
_COLOURS, _PLAIN = "\x1b[97;40m", "\x1b[0m"


def qr_lines(text: str) -> list[str]:
    """Draw a text as a QR code of half blocks, its quiet zone included, without colours."""
    import io  # noqa: PLC0415 - as below

    import segno  # noqa: PLC0415 - only where somebody looks at it

    drawn = io.StringIO()
    segno.make_qr(text, error="m").terminal(drawn, compact=True)
    return [line for line in drawn.getvalue().splitlines() if line]


def qr_svg(text: str) -> str:
    """Draw a text as a QR code in SVG, its quiet zone included: black on white whatever is around it."""
    import segno  # noqa: PLC0415 - only where somebody looks at it

    code = segno.make_qr(text, error="m")
    return code.svg_inline(dark="#000", light="#fff", omitsize=True, svgclass=None, lineclass=None)


def show_qr_code(text: str, stream: TextIO) -> bool:
    """Show a text as a QR code where the stream is a terminal with the room and the characters for it."""
    if not stream.isatty() or "utf" not in (stream.encoding or "").lower():
        return False
    try:
        columns = os.get_terminal_size(stream.fileno()).columns
    except OSError:
        return False
    lines = qr_lines(text)
    if len(lines[0]) > columns:
        return False
    stream.writelines(f"{_COLOURS}{line}{_PLAIN}\n" for line in lines)
    stream.flush()
    return True

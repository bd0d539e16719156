"""Makes the pictures of the page that README.md shows: ``python -m tests.pictures``, with Chromium.

A picture is of a known evening of the example garden. Beside the pictures stands a digest of what each screen
was made of; a test compares it with the screens as they are now.
"""

from __future__ import annotations

import re
from contextlib import closing
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path
from tempfile import TemporaryDirectory

from config.file.loader import example_path
from tests.api.browser import browsing
from tests.api.lines import serving
from tests.api.page.conftest import PageHouse

FOLDER = Path(__file__).parent
DIGESTS = FOLDER / "made_of.txt"
# Friday 17 September 2027, 20:41 at Harrow Rise.
NOW_UTC = datetime(2027, 9, 18, 0, 41, tzinfo=UTC)
RAN_FOR = timedelta(hours=2)
# By name: the screen, the colour scheme, and the size in pixels.
PICTURES = {
    "tonight": ("/", "dark", 390, 960),
    "program": ("/programs/drive", "light", 390, 960),
    "year": ("/year/2028", "light", 390, 960),
}
# What differs each time without being seen.
_UNSEEN = re.compile(r'value="[0-9a-f]{64}"|/static/[0-9a-f]+/')
_STYLES = ("page.css", "year.css")


def evening(folder: Path) -> PageHouse:
    """Give the example garden at the evening of the pictures."""
    site = example_path("full-property").read_text(encoding="utf-8")
    house = PageHouse(folder, site=site, at_utc=NOW_UTC - RAN_FOR)
    for _ in range(RAN_FOR // timedelta(seconds=60)):
        house.pass_time(60)
    house.loop.call(lambda keeper: keeper.override("terrace", on=False, lasts_s=3 * 3600, by="kitchen phone"))
    house.pass_time(0)
    return house


def made_of(house: PageHouse) -> str:
    """Give the digest of what every picture is made of, a line for each."""
    static = Path(__file__).parents[2] / "api" / "page" / "static"
    styles = "".join((static / name).read_text(encoding="utf-8") for name in _STYLES)
    lines = []
    for name, (path, *_) in PICTURES.items():
        html = house.ask("GET", path, headers={"accept": "text/html", "accept-language": "en-GB"}).text
        lines.append(f"{name} {sha256((_UNSEEN.sub('', html) + styles).encode()).hexdigest()}\n")
    return "".join(lines)


def main() -> None:
    """Make every picture anew."""
    with TemporaryDirectory() as folder, closing(evening(Path(folder))) as house:
        with serving(house.make_app) as server, browsing() as (known, _):
            for name, (path, scheme, width, height) in PICTURES.items():
                size = {"width": width, "height": height}
                context = known.context.browser.new_context(
                    viewport=size, color_scheme=scheme, locale="en-GB", device_scale_factor=1.25
                )
                page = context.new_page()
                page.goto(server.url.rstrip("/") + path)
                page.wait_for_timeout(500)
                page.screenshot(path=FOLDER / f"{name}.png")
                context.close()
        DIGESTS.write_text(made_of(house), encoding="utf-8")


if __name__ == "__main__":
    main()

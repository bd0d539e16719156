"""How much is written to the disk in a day of eight zones."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.process.writes import PAGE_BYTES, write_a_day

pytestmark = pytest.mark.usefixtures("libfaketime")

AT_MOST_BYTES = 1_000_000
# A round that came late because the day is so short writes an event that no other day has: three pages.
HASTY_BYTES = 3 * PAGE_BYTES


def test_a_day_of_a_whole_property_writes_at_most_1_mb(tmp_path: Path) -> None:
    """A long night, the night's copy included: whole pages, as the kernel counts them for the daemon."""
    written = write_a_day(tmp_path)
    if not written.pages:
        pytest.skip("the temporary folder is not on a disk, so nothing is written to one")
    print(written.pages, "bytes in pages,", written.journal, "in the journal,", written.hasty, "hasty events")
    assert len(written.switchings) == 16
    # Less than a page for each would mean that the count misses something.
    assert 16 * PAGE_BYTES < written.journal < written.pages
    assert written.pages <= AT_MOST_BYTES + HASTY_BYTES * written.hasty

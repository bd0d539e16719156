"""Site files in a folder of their own."""

import pytest

from config.file.loader import example_path
from tests.config.site_texts import GOOD


@pytest.fixture
def two_zones(tmp_path):
    """A copy of the example with two zones."""
    path = tmp_path / "site.toml"
    path.write_bytes(example_path("two-zones").read_bytes())
    return path


@pytest.fixture
def good(tmp_path):
    """The good file, alone in its folder."""
    path = tmp_path / "site.toml"
    path.write_text(GOOD)
    return path

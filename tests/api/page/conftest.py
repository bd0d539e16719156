from datetime import timedelta

import pytest

from api.page.app import add_page
from tests.api.stand_in import EVENING_UTC, House


class PageHouse(House):
    """A house whose web application has the page."""

    def make_app(self, **more):
        return super().make_app(add_page=add_page, **more)


def evening(folder, **more) -> PageHouse:
    """Give a house that has run for an hour, and where it is half past nine now."""
    house = PageHouse(folder, at_utc=EVENING_UTC - timedelta(hours=1), **more)
    for _ in range(120):
        house.pass_time(30)
    return house


@pytest.fixture
def house(tmp_path):
    """A house in the evening of 21 June 2027, both zones lit."""
    house = evening(tmp_path)
    yield house
    house.close()

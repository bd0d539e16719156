import pytest

from tests.api.lines import serving
from tests.api.stand_in import House


@pytest.fixture
def house(tmp_path):
    """A house in the evening of 21 June 2027, both zones lit."""
    house = House(tmp_path)
    yield house
    house.close()


@pytest.fixture
def server(house):
    """A web server that serves the house on a free port."""
    with serving(house.make_app) as server:
        yield server

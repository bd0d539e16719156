"""Three weeks of a garden in which almost everything happens, each thing on an evening of its own."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path

from config.models.site import Site
from tests.controller.board import Board
from tests.sites import site, zone

START = datetime(2027, 5, 28, 11, tzinfo=UTC)  # noon in London
SHED = {"id": "shed", "rated_va": 200, "no_load_w": 6, "copper_w": 9}
TARIFF = {
    "currency": "GBP",
    "per_kwh": Decimal("0.30"),
    "bands": [{"from": "23:00", "to": "07:00", "per_kwh": Decimal("0.12")}],
    "changes": [{"since": date(2027, 6, 5), "per_kwh": Decimal("0.33")}],
}


def garden(*, jetty_w: float = 30, jetty: str = "dusk to midnight", more: tuple = (), **keys) -> Site:
    """A garden with two zones on one transformer."""
    return site(
        zone("jetty", jetty, fixtures=[{"kind": "path", "count": 6, "watts": jetty_w / 6}], **keys),
        zone("path", "22:30 to 02:00", pin=18, rated_watts=24.0),
        *more,
        transformers=[SHED],
        tariff=TARIFF,
    )


def live_three_weeks(folder: Path) -> Board:
    """Live through them."""
    board = Board(folder, garden(), START)

    def until(day: int, hour: int, minute: int = 0) -> None:
        first_midnight = datetime(2027, 5, 27, 23, tzinfo=UTC)
        board.run_until(first_midnight + timedelta(days=day, hours=hour, minutes=minute))

    until(2, 23)
    board.cut_power(1800)  # 30 May, 23:00 to 23:30
    until(4, 22, 45)
    board.stop(900)  # 1 June, 22:45 to 23:00
    until(6, 23)
    board.cut_power(600, wakes_at=datetime(1970, 1, 1, tzinfo=UTC))  # 3 June: 23:00 to 23:10 off ...
    until(6, 23, 40)
    board.learn_time()  # ... and without the time until 23:40
    until(8, 23)
    board.override("path", on=False, lasts_s=3600)  # 5 June, 23:00 to midnight
    until(9, 15)
    board.override("jetty", on=True, lasts_s=7200)  # 6 June, 15:00 to 17:00: by day
    until(10, 21)
    board.break_relay("path")
    until(11, 1)
    board.mend_relay("path")  # 7 June, 22:30 to 01:00
    until(12, 12)
    board.change(garden(out_of_service="the post was felled"))
    until(13, 12)
    board.change(garden(jetty_w=18))  # 10 June: fewer watts from here on
    until(15, 12)
    board.change(garden(jetty_w=18, jetty="dusk to 23:00"))  # 12 June: an hour less from here on
    until(21, 12)
    board.close()
    return board

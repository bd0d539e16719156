"""The account of the past for people: tables of hours, energy and money, of lamps, and of relays."""

from collections.abc import Callable, Iterable, Iterator

from rich.console import RenderableType
from rich.text import Text

from api.render.numbers import NONE, currency_of, hour_notes, hours, kwh, money, share
from api.render.tables import Row, TableColumn, build_table, note_line, numbers, strong, texts
from controller.calendar.night import local
from controller.history.report import HoursReport
from controller.history.totals import HourSum
from controller.lamps.life import HORIZON_YEARS, LampLife, RelayLife
from controller.records.entries import Cause

# A heading, and how its cell is found.
_Column = tuple[str, Callable[[HourSum], str]]


def lay_out_hours(report: HoursReport) -> Iterator[RenderableType]:
    """Lay out a report."""
    yield Text(f"{report.site.name}, nights of {report.first} to {report.last}, by {report.by}\n")
    yield _hours(report)
    if report.total.missed:
        yield from (Text(""), _missed(report))
    if gap := report.total.longest_gap:
        began = local(gap.starts_at_utc, report.tz)
        when = f"from {began:%H:%M on %a %d %b %Y}"
        yield Text(f"\nLongest dark gap: {hours(gap.lasts_ms)} h {when}, {_reason(gap.reason)}.")
    if report.wear is not None and report.wear.lamps:
        yield from (Text(""), build_table(_LAMP_COLUMNS, map(_lamp_cells, report.wear.lamps)))
    if report.wear is not None and report.wear.relays:
        yield from (Text(""), build_table(_RELAY_COLUMNS, map(_relay_cells, report.wear.relays)))
    notes = [*_since(report), *hour_notes(report)]
    if notes:
        yield Text("")
    yield from map(note_line, notes)


def _hours(report: HoursReport) -> RenderableType:
    """Lay out every row, with totals where there is something to add up."""
    columns = _hour_columns(report)

    def cells(period: str, each: HourSum) -> list[str]:
        return [period, each.zone or "", *(find(each) for _, find in columns)]

    rows: list[Row] = []
    shown = ""
    several = len(report.totals) > 1
    for row in report.rows:
        name = _name(row)
        if shown and shown != name and several:
            rows.append(None)
        rows.append(cells(name if name != shown else "", row))
        shown = name
    if len(report.periods) > 1 and several:
        rows.append(None)
        rows += [cells("" if number else "all nights", each) for number, each in enumerate(report.totals)]
    if len(report.periods) > 1 or several:
        rows += [None, strong(*cells("total", report.total))]
    return build_table([*texts("Period", "Zone"), *numbers(*(heading for heading, _ in columns))], rows)


def _hour_columns(report: HoursReport) -> list[_Column]:
    """Choose the columns: what is nought everywhere is left out."""
    total, currency = report.total, currency_of(report.site)
    columns: list[_Column] = [("Lit h", lambda each: hours(each.lit_ms))]
    if total.override_ms:
        columns.append(("Override", lambda each: hours(each.override_ms)))
    if total.unknown_ms:
        columns.append(("Other", lambda each: hours(each.unknown_ms)))
    if total.daylight_ms:
        columns.append(("Before\ndusk or\nafter dawn", lambda each: hours(each.daylight_ms)))
    columns += [
        ("Starts", lambda each: str(each.starts)),
        ("Missed\nh", lambda each: hours(each.missed_ms)),
        ("Lamps\nkWh", lambda each: kwh(each.lamps_j, at_least=each.without_load_ms > 0)),
        ("Meter\nkWh", lambda each: kwh(each.meter_j, at_least=each.at_least)),
    ]
    if currency:
        columns.append((f"Cost {currency}", lambda each: money(each.cost, currency, at_least=each.at_least)))
    return columns


def _missed(report: HoursReport) -> RenderableType:
    """Lay out what was missed, and for which reasons."""
    rows = [
        [
            _name(row),
            row.zone or "",
            hours(row.planned_ms),
            hours(row.missed_ms),
            ", ".join(f"{_reason(part.reason)} {hours(part.lasts_ms)}" for part in row.missed),
        ]
        for row in report.rows
        if row.missed
    ]
    columns = [*texts("Missed", "Zone"), *numbers("Planned h", "Missed h"), *texts("Reasons", folds=True)]
    return build_table(columns, rows)


def _name(row: HourSum) -> str:
    return "" if row.period is None else row.period.name


_LAMP_COLUMNS = [
    *texts("Lamps", folds=True),
    *texts("Since"),
    TableColumn(heading="Lit", right=True, folds=True),
    *numbers("Rated life", "Used", "Per year"),
    *texts("Outlook", folds=True),
]
_RELAY_COLUMNS = [*texts("Relay"), *numbers("Cycles", "Rated", "Used"), *texts("Worn out about")]


def _lamp_cells(life: LampLife) -> list[str]:
    lamps = life.lamps
    estimated = f" ({life.estimated_h:,.0f} h estimated)" if life.estimated_h else ""
    return [
        f"{lamps.zone}:{lamps.number} {lamps.fixture.count} × {lamps.name}",
        "not known" if life.since is None else life.since.isoformat(),
        f"{life.lit_h:,.0f} h{estimated}",
        NONE if lamps.life_h is None else f"{lamps.life_h:,.0f} h",
        share(life.used),
        share(life.used_in_a_year),
        life.words,
    ]


def _relay_cells(life: RelayLife) -> list[str]:
    about = life.wears_out_about
    return [
        life.zone,
        f"{life.cycles:,}",
        f"{life.endurance_cycles:,}",
        share(life.used),
        f"not within {HORIZON_YEARS} years" if about is None else f"{about:%B %Y}",
    ]


def _reason(reason: Cause | None) -> str:
    return "unexplained" if reason is None else str(reason)


def _since(report: HoursReport) -> Iterable[str]:
    """Say where the journal begins, if that lies within what was asked."""
    if report.began_utc is None:
        return ["the journal holds no time yet that can be trusted, so nothing can be counted"]
    began = local(report.began_utc, report.tz)
    if began.date() < report.first:
        return []
    return [f"the journal begins on {began:%a %d %b %Y} at {began:%H:%M}"]

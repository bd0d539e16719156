"""The account of the past for people: tables of hours, energy and money, of lamps, and of relays."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date
from itertools import chain

from rich.console import RenderableType
from rich.text import Text

from api.render.limits import hour_notes
from api.render.numbers import (
    NONE,
    count,
    currency_of,
    hours,
    hours_of,
    kwh,
    kwh_of,
    money,
    share,
    signed,
    signed_money,
)
from api.render.tables import PAGE_ROWS, Row, TableColumn, build_table, note_line, numbers, strong, texts
from controller.calendar.night import local
from controller.calendar.periods import Period, parse_period
from controller.history.query import Beside
from controller.history.report import HoursHead, HoursStream
from controller.history.totals import Comparison, Figures, HourSum, Recorded, add_up
from controller.history.work import Task
from controller.lamps.life import HORIZON_YEARS, LampLife, RelayLife
from controller.records.entries import Cause

# A heading, and how its cell is found.
_Column = tuple[str, Callable[[HourSum], str]]


def lay_out_hours(stream: HoursStream) -> Iterator[RenderableType]:
    """Lay out an account: one table, or where it is long page after page, and the totals at the end."""
    head = stream.head
    yield Text(f"{head.site.name}, nights of {head.first} to {head.last}, by {head.by}\n")
    if head.attention:
        yield from (build_table(_ATTENTION_COLUMNS, map(_attention_cells, head.attention)), Text(""))
    without = set(head.beside)
    pages = _pages(stream, without)
    page = next(pages, [])
    following = next(pages, None)
    if following is None:
        yield from _page(head, page, stream.totals)
    else:
        for each in chain([page, following], pages):
            yield from _page(head, each, ())
            yield Text("")
        yield from _page(head, [], stream.totals)
    total = stream.total
    if gap := total.longest_gap:
        began = local(gap.starts_at_utc, head.tz)
        when = f"from {began:%H:%M on %a %d %b %Y}"
        yield Text(f"\nLongest dark gap: {hours(gap.lasts_ms)} h {when}, {_reason(gap.reason)}.")
    if head.wear is not None and head.wear.lamps:
        yield from (Text(""), build_table(_LAMP_COLUMNS, map(_lamp_cells, head.wear.lamps)))
    if head.wear is not None and head.wear.relays:
        yield from (Text(""), build_table(_RELAY_COLUMNS, map(_relay_cells, head.wear.relays)))
    notes = [*_since(head), *_without_beside(without), *hour_notes(head.site, stream.totals)]
    if notes:
        yield Text("")
    yield from map(note_line, notes)


def _pages(stream: HoursStream, without: set[Beside]) -> Iterator[list[HourSum]]:
    """Gather rows into pages of whole periods; what stands beside one of them is no longer ``without``."""
    page: list[HourSum] = []
    for row in chain.from_iterable(stream.batches()):
        without -= {beside for beside, (_, find) in _BESIDE.items() if find(row)}
        if len(page) >= PAGE_ROWS and row.period != page[-1].period:
            yield page
            page = []
        page.append(row)
    if page:
        yield page


def _page(head: HoursHead, rows: Sequence[HourSum], totals: Sequence[HourSum]) -> Iterator[RenderableType]:
    """Lay out rows and totals, where there are any, what was missed in the rows, and what is beside them."""
    yield _hours(head, rows, totals)
    if any(row.missed for row in rows):
        yield from (Text(""), _missed(head, rows))
    for heading, find in _BESIDE.values():
        if any(find(row) for row in (*rows, *totals)):
            yield from (Text(""), _beside(head, heading, find, rows, totals))


def _hours(head: HoursHead, rows: Sequence[HourSum], totals: Sequence[HourSum]) -> RenderableType:
    """Lay out rows, with totals where there is something to add up."""
    columns = _hour_columns(head, add_up(rows or totals))

    def cells(period: str, each: HourSum) -> list[str]:
        return [period, each.zone or "", *(find(each) for _, find in columns)]

    lines: list[Row] = []
    shown, several = "", len({row.zone for row in (*rows, *totals)}) > 1
    for row in rows:
        name = _name(head, row)
        if shown and shown != name and several:
            lines.append(None)
        lines.append(cells(name if name != shown else "", row))
        shown = name
    if totals:
        whole = len({row.period for row in rows}) == 1
        if several and not whole:
            lines += [None] if rows else []
            lines += [cells("" if number else "all nights", each) for number, each in enumerate(totals)]
        if several or not whole:
            lines += [None, strong(*cells("total", add_up(totals)))]
    headings = [*texts("Period", folds=True), *texts("Zone"), *numbers(*(heading for heading, _ in columns))]
    return build_table(headings, lines)


def _hour_columns(head: HoursHead, total: HourSum) -> list[_Column]:
    """Choose the columns: what is nought everywhere is left out."""
    currency = currency_of(head.site)
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


def _missed(head: HoursHead, rows: Sequence[HourSum]) -> RenderableType:
    """Lay out what was missed, and for which reasons."""
    lines = [
        [
            _name(head, row),
            row.zone or "",
            hours(row.planned_ms),
            hours(row.missed_ms),
            ", ".join(
                f"{_reason(part.reason)} {hours(part.lasts_ms)} ({count(part.on_nights or 0, 'night')})"
                for part in row.missed
            ),
        ]
        for row in rows
        if row.missed
    ]
    columns = [*texts("Missed", "Zone"), *numbers("Planned h", "Missed h"), *texts("Reasons", folds=True)]
    return build_table(columns, lines)


def _beside(
    head: HoursHead,
    heading: str,
    find: Callable[[HourSum], Comparison | None],
    rows: Sequence[HourSum],
    totals: Sequence[HourSum],
) -> RenderableType:
    """Lay out what stands beside rows and totals: the figures there, and how much more they are here."""
    currency = currency_of(head.site)

    def cells(name: str, zone: str | None, beside: Comparison) -> list[str]:
        other, change = beside.other, beside.change or Figures()
        pairs = [
            (hours(other.lit_ms), signed(hours_of(change.lit_ms))),
            (kwh(other.meter_j, at_least=beside.at_least), signed(kwh_of(change.meter_j))),
        ]
        if currency:
            cost = money(other.cost, currency, at_least=beside.at_least)
            pairs.append((cost, signed_money(change.cost, currency)))
        known = beside.change is not None
        return [
            name,
            zone or "",
            *(cell for there, more in pairs for cell in (there, more if known else NONE)),
        ]

    lines: list[Row] = [
        cells(_period_text(beside.period, head), row.zone, beside)
        for row in rows
        if (beside := find(row)) is not None and beside.period is not None
    ]
    if totals and (beside := find(add_up(totals))) and len(lines) != 1:
        lines += [None, strong(*cells("total", None, beside))]
    columns = [
        "Lit h",
        "Change",
        "Meter\nkWh",
        "Change",
        *([f"Cost {currency}", "Change"] if currency else ()),
    ]
    return build_table([*texts(heading, folds=True), *texts("Zone"), *numbers(*columns)], lines)


# Over each table of what stands beside the rows, and how that is found in a row.
_BESIDE: dict[Beside, tuple[str, Callable[[HourSum], Comparison | None]]] = {
    Beside.LAST_YEAR: ("A year earlier", lambda row: row.year_earlier),
    Beside.FORECAST: ("Forecast", lambda row: row.forecast),
}


def _name(head: HoursHead, row: HourSum) -> str:
    return "" if row.period is None else _period_text(row.period, head)


def _period_text(period: Period, head: HoursHead) -> str:
    """Name a period of an account: 2027-06, 2027-06 (so far), 2027-05 (from 20 May), 2027-05 (20 May).

    Two dates joined by "to" stand above every table; here they are all nights.
    """
    name = "all nights" if " to " in period.name else period.name
    marks = _marks(period, head)
    return f"{name} ({marks})" if marks else name


def _marks(period: Period, head: HoursHead) -> str:
    bounds, named = head.bounds, parse_period(period.name, head.tz, latitude_deg=head.site.latitude_deg)
    if period.starts_at_utc >= bounds.now_utc:
        return "to come"
    recorded = bounds.recorded(period)
    if recorded is Recorded.NONE:
        return "no record"
    has_two_years = named.first.year != named.last.year

    def day(date_: date) -> str:
        return f"{date_.day} {date_:%b %Y}" if has_two_years else f"{date_.day} {date_:%b}"

    marks = []
    if period.nights == 1 < named.nights:
        marks.append(day(period.first))
    if recorded is Recorded.PART:
        began = local(bounds.began_utc, head.tz)
        marks.append(f"from {began:%H:%M}" if period.nights == 1 else f"from {day(began)}")
    elif period.first > named.first and period.nights > 1:
        marks.append(f"from {day(period.first)}")
    if period.ends_at_utc > bounds.now_utc:
        marks.append("so far")
    elif period.last < named.last and period.nights > 1:
        marks.append(f"to {day(period.last)}")
    return ", ".join(marks)


_ATTENTION_COLUMNS = [*texts("Attention"), *texts("What to do", folds=True), *texts("By")]
_LAMP_COLUMNS = [
    *texts("Lamps", folds=True),
    *texts("Since"),
    TableColumn(heading="Lit", right=True, folds=True),
    *numbers("Rated life", "Used", "Per year"),
    *texts("Outlook", folds=True),
]
_RELAY_COLUMNS = [*texts("Relay", "Since"), *numbers("Cycles", "Rated", "Used"), *texts("Worn out about")]


def _attention_cells(task: Task) -> list[str]:
    where = " ".join(filter(None, [task.zone or "garden", task.part]))
    return [where, task.words, "now" if task.by is None else f"{task.by:%B %Y}"]


def _lamp_cells(life: LampLife) -> list[str]:
    lamps = life.lamps
    estimated = f" ({life.estimated_h:,.0f} h estimated)" if life.estimated_h else ""
    return [
        f"{lamps.zone} {lamps.part}: {lamps.fixture.count} × {lamps.name}",
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
        "not known" if life.since is None else life.since.isoformat(),
        f"{life.cycles:,}",
        f"{life.endurance_cycles:,}",
        share(life.used),
        f"not within {HORIZON_YEARS} years" if about is None else f"{about:%B %Y}",
    ]


def _reason(reason: Cause | None) -> str:
    return "unexplained" if reason is None else str(reason)


def _without_beside(without: set[Beside]) -> Iterator[str]:
    """Say why nothing stands beside any row, where something was asked for."""
    if Beside.LAST_YEAR in without:
        yield "there is no record of the year before"
    if Beside.FORECAST in without:
        yield "the forecast stands beside nights that are over; leerie year shows those to come"


def _since(head: HoursHead) -> Iterable[str]:
    """Say where the journal begins, if that lies within what was asked."""
    if head.began_utc is None:
        return ["the journal holds no time yet that can be trusted, so nothing can be counted"]
    notes = []
    began = local(head.began_utc, head.tz)
    if began.date() >= head.first:
        notes.append(f"the journal begins on {began:%a %d %b %Y} at {began:%H:%M}")
    if head.bounds.record_ended:
        ended = local(head.bounds.now_utc, head.tz)
        notes.append(
            f"there is no record after {ended:%a %d %b %Y} at {ended:%H:%M}: no Leerie wrote it since"
        )
    return notes

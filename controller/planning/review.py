"""A year's review of a site's programs: which spans give no light, and which are lit for hours in daylight.

A span that can never give light is found when the file is read. What depends on the sun, such as a dusk after
the off time in June, shows only night by night.
"""

from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from itertools import groupby

from config.errors import KeyPath, Severity
from config.models.site import Zone
from config.phrase import Phrase, list_phrases
from config.program.spans import NOON_HOUR, ClockEdge, Span, SunEdge
from config.program.special_nights import Nights, OneDate
from config.validation.finding import SiteFinding
from controller.calendar.intervals import overlap
from controller.calendar.night import Night, nights
from controller.planning.plan import NightPlan, PlanContext, plan_night
from controller.planning.planner import Planner
from controller.planning.program_record import ZoneProgram
from controller.sun.sun import SUNSET_ANGLE_DEG

Finding = tuple[Severity, SiteFinding]

# Runs of dark nights named in one finding; more of them are counted.
RUNS_NAMED = 2
# Less is what any clock time in the evening has in June.
HOURS_IN_DAYLIGHT = 2


def review_year(planner: Planner, first: date) -> tuple[Finding, ...]:
    """Check every night of the year that begins with a date, zone by zone in the order of the site file."""
    year = list(nights(first, _a_year_after(first), planner.tz))
    return tuple(
        finding
        for index, zone in enumerate(planner.site.zones)
        for finding in _review_zone(zone, ("zones", index), year, planner.place)
    )


def _a_year_after(first: date) -> date:
    try:
        return first.replace(year=first.year + 1) - timedelta(days=1)
    except ValueError:  # 29 February; or the last year of the calendar
        return first + timedelta(days=365)


def _review_zone(zone: Zone, path: KeyPath, year: Sequence[Night], place: PlanContext) -> Iterator[Finding]:
    """Check a zone's program on the nights that are left to it, and each special night on its own."""
    left = dict.fromkeys(year)
    decided: dict[int, list[Night]] = {}
    for index in reversed(range(len(zone.special_nights))):
        decided[index] = [night for night in left if zone.special_nights[index].nights.match(night.date)]
        for night in decided[index]:
            del left[night]
    yield from _review_program((*path, "program"), zone.program, list(left), place)
    for index, special in enumerate(zone.special_nights):
        its_path = (*path, "special_nights", index)
        if decided[index]:
            yield from _review_program((*its_path, "program"), special.program, decided[index], place)
        elif not any(special.nights == later.nights for later in zone.special_nights[index + 1 :]):
            yield from _review_idle((*its_path, "nights"), special.nights, year)


def _review_idle(path: KeyPath, condition: Nights, year: Sequence[Night]) -> Iterator[Finding]:
    """Say why a special night decides no night of the year; one that is still to come is in order."""
    if any(condition.match(night.date) for night in year):
        what = Phrase(
            "never decides: a later special night matches each of its nights, and the last one decides"
        )
        remedy = Phrase("move it below the other, or remove it")
        yield Severity.WARNING, SiteFinding(path, what, remedy)
    elif isinstance(condition, OneDate) and condition.on_date < year[0].date:
        what, remedy = Phrase("is in the past"), Phrase("remove it, or give it a later date")
        yield Severity.NOTE, SiteFinding(path, what, remedy)


def _review_program(
    path: KeyPath, program: Sequence[Span], decided: Sequence[Night], place: PlanContext
) -> Iterator[Finding]:
    for index, span in enumerate(program):
        # What the clock alone shows was said when the file was read, about the text and not about the year.
        if span.never_lights or not decided:
            continue
        plans = [plan_night(ZoneProgram(id="", program=(span,)), night, place) for night in decided]
        dark = [plan for plan in plans if not plan.windows]
        if dark:
            severity, what = _describe(plans, dark)
            yield severity, SiteFinding((*path, index), what, _remedy(span, severity))
        yield from _review_daylight((*path, index), span, plans, place)


def _review_daylight(
    path: KeyPath, span: Span, plans: Sequence[NightPlan], place: PlanContext
) -> Iterator[Finding]:
    """Find a span that is lit for hours while the sun is up: on most of its nights it is hardly meant."""
    by_day = {plan.night.date: _daylight_h(plan, place) for plan in plans}
    many = [night for night, hours in by_day.items() if hours >= HOURS_IN_DAYLIGHT]
    if not many:
        return
    worst = max(many, key=lambda night: by_day[night])
    which = Phrase("its only night")
    if len(plans) > 1:
        which = Phrase("{some} of its {all} nights", some=len(many), all=len(plans))
    what = Phrase(
        "is lit in daylight for {hours} hours or more on {which}, at most {most:.1f} h ({worst})",
        hours=HOURS_IN_DAYLIGHT,
        which=which,
        most=by_day[worst],
        worst=str(worst),
    )
    severity = Severity.WARNING if 2 * len(many) > len(plans) else Severity.NOTE
    remedy = Phrase("add “, while dark” or change the times")
    ends = span.ends
    if isinstance(ends, ClockEdge) and 0 < ends.hour < NOON_HOUR and isinstance(span.begins, SunEdge):
        remedy = Phrase(
            "write {evening} if the evening is meant, or add “, while dark”",
            evening=f"{ends.hour + NOON_HOUR}:{ends.minute:02}",
        )
    yield severity, SiteFinding(path, what, remedy)


def _daylight_h(plan: NightPlan, place: PlanContext) -> float:
    """Count the hours that a night's windows are lit between sunrise and sunset."""
    windows = [(window.on_utc, window.off_utc) for window in plan.windows]
    dark = place.sun.dark_intervals(plan.night, SUNSET_ANGLE_DEG) if windows else ()
    after_sunset = overlap(windows, [(each.starts_at_utc, each.ends_at_utc) for each in dark])
    lit, in_the_dark = (sum((off - on for on, off in each), timedelta()) for each in (windows, after_sunset))
    return (lit - in_the_dark) / timedelta(hours=1)


def _describe(plans: Sequence[NightPlan], dark: Sequence[NightPlan]) -> tuple[Severity, Phrase]:
    why = next((each.words for each in dark[0].no_light), Phrase("no light"))
    first, last = str(dark[0].night.date), str(dark[-1].night.date)
    if len(dark) == len(plans) == 1:
        what = Phrase(
            "gives no light on its only night from {first} to {last} ({why})", first=first, last=last, why=why
        )
        return Severity.WARNING, what
    if len(dark) == len(plans):
        what = Phrase(
            "gives no light on any of its {count} nights from {first} to {last} ({why})",
            count=len(dark),
            first=first,
            last=last,
            why=why,
        )
        return Severity.WARNING, what
    what = Phrase(
        "gives no light on {dark} of its {all} nights: {runs} ({first}: {why})",
        dark=len(dark),
        all=len(plans),
        runs=_dark_runs(plans),
        first=first,
        why=why,
    )
    return Severity.NOTE, what


def _dark_runs(plans: Sequence[NightPlan]) -> Phrase:
    """Name the runs of dark nights; nights on which another program decides do not interrupt one."""
    runs = [[*run] for is_dark, run in groupby(plans, key=lambda plan: not plan.windows) if is_dark]
    dark = [(run[0].night.date, run[-1].night.date) for run in runs]
    named = [
        Phrase("{first} to {last}", first=str(first), last=str(last)) if last > first else f"{first}"
        for first, last in dark[:RUNS_NAMED]
    ]
    more = len(dark) - len(named)
    if more:
        return Phrase("{names} and {count} more", names=list_phrases(named), count=more)
    first_run, *others = named
    return Phrase("{first} and {last}", first=first_run, last=others[0]) if others else list_phrases(named)


def _remedy(span: Span, severity: Severity) -> Phrase:
    is_note = severity is Severity.NOTE
    kept = Phrase("change it or remove it")
    if is_note:
        kept = Phrase("leave it if those nights may stay dark")
    sun = [str(edge) for edge in (span.begins, span.ends) if isinstance(edge, SunEdge)]
    if sun:
        named = Phrase("{first} and {last}", first=sun[0], last=sun[1]) if len(sun) > 1 else sun[0]
        return Phrase(
            "{kept}; a clock time in place of {edges} does not move with the sun", kept=kept, edges=named
        )
    if span.while_dark and is_note:
        return kept
    if span.while_dark:
        return Phrase("{kept}; “while dark” waits for darkness that does not come", kept=kept)
    return Phrase("{kept}; choose clock times that no clock change takes away", kept=kept)

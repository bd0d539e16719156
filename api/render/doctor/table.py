"""What is wrong with a board, for people: the worst first, and what is in order as a number."""

from collections import Counter
from collections.abc import Iterator, Sequence

from rich.console import RenderableType

from api.render.numbers import count
from api.render.tables import build_table, texts
from config.errors import Severity
from controller.doctor.check import Check


def doctor_table(
    site: str, checks: Sequence[Check], *, show_all: bool, path: str
) -> Iterator[RenderableType]:
    """Show each check that is not in order, or all, with what to do.

    Args:
        site: name of the site.
        checks: what was found.
        show_all: list what is in order as well.
        path: of the site file, for the commands that are named.
    """
    listed = [each for each in checks if show_all or each.level is not Severity.OK]
    listed.sort(key=lambda each: -each.level.rank)
    rows = [(each.level, each.about, _words(each).replace("SITE.toml", path)) for each in listed]
    if rows:
        columns = [*texts("Level", "About"), *texts("What was found, and what to do", folds=True)]
        yield build_table(columns, rows)
        yield ""
    number = Counter(each.level for each in checks)
    found = [count(number[level], level) for level in (Severity.ERROR, Severity.WARNING, Severity.NOTE)]
    rest = "" if show_all else "; --all lists them"
    yield f"{site}: {', '.join(found)}, {number[Severity.OK]} in order{rest}"


def _words(check: Check) -> str:
    return f"{check.what}; {check.remedy}" if check.remedy else check.what

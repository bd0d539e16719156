"""The runner of the benches: when a limit is kept, what the shell gets, and what DEVELOPERS.md says."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from pathlib import Path

import pytest

from tests.bench import __main__ as runner
from tests.bench import report
from tests.bench.benchmark import Benchmark, Measurement

GOOD = Benchmark(what="good", unit="s", max_value=2)
BAD = Benchmark(what="bad", unit="s", reference="other", max_ratio=2)


@pytest.mark.parametrize(
    ("value", "reference", "max_ratio", "max_value", "ok"),
    [
        (3.0, 1.0, 3.0, None, True),
        (3.1, 1.0, 3.0, None, False),
        (5.0, None, None, 6.0, True),
        (6.1, None, None, 6.0, False),
        (5.0, 1.0, 3.0, 6.0, False),
        (2.0, 1.0, 3.0, 1.5, False),
        (float("nan"), 1.0, 3.0, None, False),
        (float("nan"), None, None, 6.0, False),
    ],
)
def test_a_line_is_ok_only_where_every_limit_is_kept(
    value: float, reference: float | None, max_ratio: float | None, max_value: float | None, ok: bool
) -> None:
    """A limit counts where it is given, and a figure that is no number keeps none."""
    name = "other" if reference else ""
    benchmark = Benchmark(what="x", unit="s", reference=name, max_ratio=max_ratio, max_value=max_value)
    assert benchmark.measured(value, reference).ok is ok


def test_a_benchmark_that_could_not_fail_is_refused() -> None:
    """A benchmark needs a limit, a limit of a ratio needs a reference, and a reference needs a figure."""
    with pytest.raises(ValueError, match="could not fail"):
        Benchmark(what="x", unit="s")
    with pytest.raises(ValueError, match="has no reference"):
        Benchmark(what="x", unit="s", max_ratio=2.0)
    with pytest.raises(ValueError, match="which measured None"):
        BAD.measured(1.0)
    with pytest.raises(ValueError, match=r"which measured 2\.0"):
        GOOD.measured(1.0, 2.0)


@pytest.fixture
def benches(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three benches: one keeps its limit, one does not, one breaks."""

    def run_bench(name: str) -> list[Measurement]:
        if name == "breaks":
            raise RuntimeError("no luck")
        return [GOOD.measured(1.0) if name == "good" else BAD.measured(3.0, 1.0)]

    monkeypatch.setattr(runner, "bench_names", lambda: ["bad", "breaks", "good"])
    monkeypatch.setattr(runner, "run_bench", run_bench)


@pytest.mark.usefixtures("benches")
def test_the_exit_code_separates_kept_from_broken_from_unknown(capsys: pytest.CaptureFixture[str]) -> None:
    """0 where all is kept, 1 where a limit or a bench breaks (the rest still shown), 2 for no such bench."""
    assert runner.main(["good"]) == 0
    assert "yes" in capsys.readouterr().out
    assert runner.main(["good", "bad"]) == 1
    assert "NO" in capsys.readouterr().out
    assert runner.main(["breaks", "good"]) == 1
    shown = capsys.readouterr()
    assert "good" in shown.out
    assert "breaks: broken" in shown.out
    assert "no luck" in shown.err
    assert runner.main(["nothing"]) == 2
    assert "bad, breaks, good" in capsys.readouterr().err


@pytest.mark.usefixtures("benches")
def test_writing_fills_the_section_and_nothing_else(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The table comes between the marks; where a bench broke, or only some ran, nothing is written."""
    page = tmp_path / "page.md"
    before = f"# Page\n\n{report.BEGIN}\nold\n{report.END}\n\n## After\n"
    page.write_text(before, encoding="utf-8")
    monkeypatch.setattr(report, "DEVELOPERS", page)
    assert runner.main(["--write", "good"]) == 2
    assert runner.main(["--write"]) == 1
    assert page.read_text(encoding="utf-8") == before
    monkeypatch.setattr(runner, "bench_names", lambda: ["bad", "good"])
    assert runner.main(["--write"]) == 1
    after = page.read_text(encoding="utf-8")
    assert after.startswith(f"# Page\n\n{report.BEGIN}\nMeasured on ")
    assert after.endswith(f"{report.END}\n\n## After\n")
    assert "| bad | 3 s | 1 (other) | 3.00 | ratio ≤ 2 | NO |\n| good | 1 s |  |  | ≤ 2 s | yes |\n" in after


def test_a_page_without_the_marks_is_refused() -> None:
    """The section goes nowhere but between its two marks."""
    fresh = report.section([], today=date(2027, 1, 1), machine="a board")
    with pytest.raises(ValueError, match="there must be one"):
        report.replace_section("# Page\n", fresh)


# A benchmark that is newer than the table says so, until ``python -m tests.bench --write`` fills it.
NOT_YET = "not measured yet"


def declared() -> Sequence[Benchmark]:
    """Give every benchmark of the folder."""
    return [benchmark for name in runner.bench_names() for benchmark in runner.benchmarks_of(name)]


def test_every_bench_of_the_folder_is_found() -> None:
    """Each is found by the name of its file and declares what it measures; no two lines read the same."""
    assert "sun" in runner.bench_names()
    lines = [(benchmark.what, benchmark.reference) for benchmark in declared()]
    assert len(set(lines)) == len(lines)


def test_the_developers_page_holds_what_was_measured() -> None:
    """The section “Measured” has a date, a machine, and a figure and today's limit for every benchmark."""
    text = report.DEVELOPERS.read_text(encoding="utf-8").split(report.BEGIN)[1].split(report.END)[0]
    said, table = text.strip().split("\n\n")
    assert re.fullmatch(r"Measured on \d{4}-\d\d-\d\d by `.+`: .+ cores, .+, Python 3\.\d+\.\d+\.", said)
    lines = [[cell.strip() for cell in line.strip("|").split("|")] for line in table.splitlines()[2:]]
    assert [(line[0], line[4]) for line in lines] == [(each.what, each.limit) for each in declared()]
    for line, benchmark in zip(lines, declared(), strict=True):
        if line[1] == NOT_YET:
            continue
        number, unit = line[1].split(" ", 1)
        # Only what is counted may be none at all.
        counted = benchmark.unit == "%" or benchmark.unit.startswith("of ")
        assert float(number.replace(",", "")) > 0 or (number == "0" and counted)
        assert unit == benchmark.unit
        assert line[5] in ("yes", "NO")
        if benchmark.reference:
            assert re.fullmatch(rf"[\d.,e-]+ \({re.escape(benchmark.reference)}\)", line[2]), line

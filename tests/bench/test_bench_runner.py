"""The runner of the benches: what counts as kept, and what it answers to the shell."""

from __future__ import annotations

import pytest

from tests.bench import __main__ as runner
from tests.bench.rows import Row


@pytest.mark.parametrize(
    ("ours", "peer", "ratio", "figure", "holds"),
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
def test_a_row_holds_only_where_every_bound_is_kept(
    ours: float, peer: float | None, ratio: float | None, figure: float | None, holds: bool
) -> None:
    """A bound counts where it is given, and a figure that is no number keeps none."""
    row = Row(what="x", unit="s", ours=ours, peer=peer, ratio_at_most=ratio, ours_at_most=figure)
    assert row.holds is holds


def test_a_row_that_could_not_fail_is_refused() -> None:
    """A row needs a bound, and a bound on a ratio needs a peer's figure."""
    with pytest.raises(ValueError, match="could not fail"):
        Row(what="x", unit="s", ours=1.0)
    with pytest.raises(ValueError, match="peer's figure is None"):
        Row(what="x", unit="s", ours=1.0, ratio_at_most=2.0)


def test_the_exit_code_tells_kept_from_broken_from_unknown(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """0 where all holds, 1 where a bound or a bench breaks (the rest still shown), 2 for no such bench."""
    kept = Row(what="kept", unit="s", ours=1.0, ours_at_most=2.0)
    missed = Row(what="missed", unit="s", ours=3.0, ours_at_most=2.0)

    def run_bench(name: str) -> list[Row]:
        if name == "breaks":
            raise RuntimeError("no luck")
        return [kept] if name == "good" else [missed]

    monkeypatch.setattr(runner, "names_of_benches", lambda: ["bad", "breaks", "good"])
    monkeypatch.setattr(runner, "run_bench", run_bench)
    assert runner.main(["good"]) == 0
    assert "yes" in capsys.readouterr().out
    assert runner.main(["good", "bad"]) == 1
    assert "NO" in capsys.readouterr().out
    assert runner.main(["breaks", "good"]) == 1
    shown = capsys.readouterr()
    assert "kept" in shown.out
    assert "breaks: broken" in shown.out
    assert "no luck" in shown.err
    assert runner.main(["nothing"]) == 2
    assert "bad, breaks, good" in capsys.readouterr().err


def test_every_bench_of_the_folder_is_found() -> None:
    """The bench of the sun is among them, by the name of its file."""
    assert "sun" in runner.names_of_benches()

"""How to fix the errors: changes to the wiring, found by search, solved and inspected, the cheapest first.

What is offered leaves no error that cables or taps could mend and makes none elsewhere, and it keeps a
margin: every lamp has its volts with a tenth of a volt to spare, no load is above 95 % of its limit. Where it
brings a new warning, it says so and stands behind those that bring none. Cost is that of cable and trench; a
tap costs nothing, and where taps alone do, nothing is bought for another tap.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from itertools import islice, product
from typing import Final

from config.models.cable_changes import CableChange, MoveToTap, Terminal
from controller.inspection.changes import ChangeKind, carry_out, terminal_of
from controller.inspection.checks import inspect
from controller.inspection.findings import InspectionResult
from controller.inspection.gauges import LOAD_PART, Prices, Sizing
from controller.inspection.proposals import MARGIN_V, Judge, Proposal, safe_range
from controller.inspection.search import (
    Choice,
    Chosen,
    Plan,
    Room,
    Run,
    choose_together,
    find_excessive,
    lay_plan,
    list_choices,
    list_plans,
    list_thinner,
    split_runs,
    to_changes,
)
from controller.inspection.second_transformer import add_transformer
from controller.wiring.network import FixtureAt, Limits, Network
from controller.wiring.solver import Solution

MOST_TRIES: Final = 60
"""How often one kind of change is corrected after it was solved."""

MOST_EFFORT, EFFORT_FOR_EACH = 1000, 40
"""Cables that are solved or sized again for such corrections, all kinds of change together: so many, and so
many more for each cable that there is."""

_TRIED: Final = ("taps", "present tap", "thicker", "run from the present tap", "feed", "anything")


def advise(
    networks: Sequence[Network],
    *,
    taps_v: Sequence[float] = (),
    commons: int = 1,
    limits: Limits | None = None,
    prices: Prices | None = None,
) -> tuple[Proposal, ...]:
    """Search for changes that mend the errors, those without new warnings first, then by their cost.

    Args:
        networks: everything behind one transformer. Rings are only moved to other taps and commons.
        taps_v: its taps, whether in use or not.
        commons: how many it has.
        limits: what the site asks of its wiring.
        prices: of cable and trench.
    """
    limits, prices = limits or Limits(), prices or Prices()
    before = inspect(networks, limits)
    if not before.to_mend:
        return ()
    if _failing_rings(networks, before):
        lamps = frozenset(fixture.node for network in networks for fixture in network.fixtures)
        judges = [
            Judge(
                networks=tuple(networks),
                before=before,
                limits=limits,
                prices=prices,
                lenient=lenient,
                left_alone=frozenset(),
            )
            for lenient in (frozenset[str](), lamps)
        ]
        volts = sorted({*taps_v, *(network.feed.source_v for network in networks)})
        terminals = [Terminal(tap_v=v, common=c) for v in volts for c in range(1, commons + 1)]
        again = partial(advise, taps_v=taps_v, commons=commons, limits=limits, prices=prices)
        if found := _move_rings(networks, terminals, judges, again):
            return found
    search = _Search(
        networks=tuple(networks),
        taps_v=tuple(taps_v),
        commons=commons,
        before=before,
        limits=limits,
        prices=prices,
    )
    proposals: dict[tuple[CableChange, ...], Proposal] = {}
    for tried in _TRIED:
        if (proposal := search.find(tried)) is not None:
            proposals.setdefault(proposal.changes, proposal)
    if all(each.remains for each in proposals.values()):
        second = add_transformer(networks, taps_v, limits, prices)
        if second is not None:
            return (second,)
    free = any(not each.cost.buys and not each.warnings for each in proposals.values())
    offered = (
        each
        for each in proposals.values()
        if not (free and each.cost.buys and search.uses_other_taps(each.networks))
    )
    return tuple(sorted(offered, key=lambda each: (bool(each.warnings), each.cost.total)))


def _move_rings(
    networks: Sequence[Network],
    terminals: Sequence[Terminal],
    judges: Sequence[Judge],
    again: Callable[[Sequence[Network]], tuple[Proposal, ...]],
) -> tuple[Proposal, ...]:
    """Move whole rings that fail to other taps and commons, the nearest taps first.

    What else there is to mend is then mended ``again``, as if they were there already.

    Returns:
        What the first terminals that do lead to.
    """
    failing = _failing_rings(networks, judges[0].before)
    own = [terminal_of(network.feed) for network in failing]

    def distance(wanted: Sequence[Terminal]) -> float:
        return sum(abs(one.tap_v - old.tap_v) for one, old in zip(wanted, own, strict=True))

    for wanted in islice(sorted(product(terminals, repeat=len(failing)), key=distance), MOST_TRIES):
        moves = tuple(
            MoveToTap(table=cable.table, node=cable.to_node, terminal=terminal)
            for network, terminal, old in zip(failing, wanted, own, strict=True)
            if terminal != old
            for cable in network.segments
            if cable.from_node == network.feed.node
        )
        moved = carry_out(networks, moves)
        after = judges[0].inspect(moved)
        if not moves or _failing_rings(moved, after):
            continue
        wholes = [moves, *((*moves, *other.changes) for other in again(moved))]
        for judge in judges:
            judged = [judge.judge(changes) for changes in wholes]
            if found := tuple(each for each in judged if isinstance(each, Proposal)):
                return found
    return ()


def _failing_rings(networks: Sequence[Network], inspection: InspectionResult) -> list[Network]:
    """The networks with rings that have something to mend."""
    feeds = {each.feed for each in inspection.to_mend}
    return [each for each in networks if not each.is_tree and each.feed.node in feeds]


def _held_part(before: InspectionResult) -> float:
    """Volts of the taps with everything lit as a part of the rated ones: the least of the taps'."""
    held = [
        one.lit.volts[one.feed] / one.lit.network.feed.source_v
        for one in before.solved
        if isinstance(one.lit, Solution)
    ]
    return min(held, default=before.solved[0].lit.network.feed.full_load)


@dataclass(kw_only=True, slots=True)
class _Trial:
    """One run during the search: how many volts more its lamps are to get, and how it can be laid.

    Attributes:
        lenient: whether LEDs without a stated range only have to keep what is no error.
        left_alone: whether nothing does; it then stays as it is.
    """

    run: Run
    extra_v: float = 0.0
    lenient: bool = False
    left_alone: bool = False
    rewired: bool = True
    choices: list[Choice] | None = None
    thinner: list[Choice] = field(default_factory=list)
    forbidden: set[tuple[object, ...]] = field(default_factory=set)
    excessive: dict[float, frozenset[str]] = field(default_factory=dict)


class _Search:
    """The search for one transformer."""

    def __init__(
        self,
        *,
        networks: tuple[Network, ...],
        taps_v: tuple[float, ...],
        commons: int,
        before: InspectionResult,
        limits: Limits,
        prices: Prices,
    ) -> None:
        self._networks, self._before, self._limits, self._prices = networks, before, limits, prices
        terminals = [terminal_of(network.feed) for network in networks]
        self._in_use = frozenset(terminals)
        self._taps_v = sorted({*taps_v, *(terminal.tap_v for terminal in terminals)})
        self._commons = range(1, max(commons, *(terminal.common for terminal in terminals)) + 1)
        # Rings and cables side by side stay as they are, and so does their load.
        self._trees = [network for network in networks if network.is_tree]
        self._full_v = _held_part(before)
        self._cables = sum(len(network.segments) for network in networks)
        self._effort = 0
        self._trials = [
            _Trial(run=run)
            for run in split_runs(self._trees, [terminal_of(network.feed) for network in self._trees])
        ]
        for place, trial in enumerate(self._trials):
            trial.rewired = self._fails(trial.run)
            if not self._choices(place):
                trial.lenient, trial.choices = True, None
                trial.excessive.clear()
                trial.left_alone = not self._choices(place)
        self._judge = Judge(
            networks=networks,
            before=before,
            limits=limits,
            prices=prices,
            lenient=frozenset(self._ends(lambda trial: trial.lenient)),
            left_alone=frozenset(
                {
                    *self._ends(lambda trial: trial.left_alone),
                    *(c.to_node for each in networks if not each.is_tree for c in each.segments),
                }
            ),
        )

    def _ends(self, holds: Callable[[_Trial], bool]) -> Iterator[str]:
        """The nodes of some runs."""
        for trial in self._trials:
            if holds(trial):
                yield from (cable.to_node for cable in trial.run.network.segments)

    def uses_other_taps(self, networks: Sequence[Network]) -> bool:
        """Whether some networks have a terminal that is not in use now."""
        return not {terminal_of(network.feed) for network in networks} <= self._in_use

    def find(self, tried: str) -> Proposal | None:
        """Find the cheapest changes of one kind; correct them until the solver agrees."""
        # Each kind may take its share of the effort that is left.
        most = MOST_EFFORT + EFFORT_FOR_EACH * self._cables
        share = max(0, most - self._effort) // (len(_TRIED) - _TRIED.index(tried))
        until = self._effort + share
        for _ in range(MOST_TRIES):
            if self._effort > until:
                return None
            lists = [self._allowed(place, tried) for place in range(len(self._trials))]
            runs = [trial.run for trial in self._trials]
            chosen = choose_together(runs, lists, self._room())
            if chosen is None:
                return None
            changes = to_changes(runs, chosen)
            if not changes:
                return None
            judged = self._judge.judge(changes)
            self._effort += self._cables
            if isinstance(judged, Proposal):
                return judged
            if not self._correct(chosen, judged):
                return None
        return None

    def _fails(self, run: Run) -> bool:
        """Whether one of its lamps or cables is not well, or stands at the edge."""
        for one in self._before.solved:
            if one.feed != run.network.feed.node:
                continue
            if not isinstance(one.lit, Solution):
                return True
            ends = {cable.to_node for cable in run.network.segments}
            for state, most_v in zip(one.lit.lamps, one.sure_v, strict=True):
                if state.fixture.node in ends:
                    low_v, high_v = safe_range(state.fixture, lenient=False)
                    if state.volts < low_v or most_v is None or most_v > high_v:
                        return True
            amperes = one.lit.cables[run.first.to_node].amperes
            return amperes > LOAD_PART * run.network.feed.limit_a or any(
                state.amperes > LOAD_PART * state.segment.limit_a
                for state in one.lit.segments
                if state.segment.to_node in ends
            )
        return True

    def _choices(self, place: int) -> list[Choice]:
        """Everything that one run can be, the cheapest first, without what was ruled out."""
        trial = self._trials[place]
        if trial.choices is None:
            trial.choices = []
            for taps_v in self._taps_by_need():
                plans = list_plans(trial.run, self._size(trial, taps_v), rewired=trial.rewired)
                trial.choices += self._list_choices(trial, plans, taps_v)
        found = [each for each in (*trial.choices, *trial.thinner) if each.key not in trial.forbidden]
        return sorted(found, key=lambda choice: choice.cost)

    def _taps_by_need(self) -> list[list[float]]:
        """The taps, together where a lamp needs the same volts on all of them."""
        together = self._limits.drop_percent is None
        return [self._taps_v] if together else [[volts] for volts in self._taps_v]

    def _size(
        self, trial: _Trial, taps_v: Sequence[float], below_mm2: Mapping[str, float] | None = None
    ) -> Sizing:
        floor_v = 0.0
        if self._limits.drop_percent is not None:
            floor_v = self._lit_v(taps_v[-1]) * (1.0 - self._limits.drop_percent / 100.0)

        def needed_v(fixture: FixtureAt) -> float:
            return max(safe_range(fixture, lenient=trial.lenient)[0], floor_v) + trial.extra_v

        return Sizing(trial.run.network, needed_v, self._prices, self._lit_v(taps_v[-1]), below_mm2)

    def _lit_v(self, tap_v: float) -> float:
        """What a tap gives with everything lit, as far as is known before anything is changed."""
        return self._full_v * tap_v

    def _list_choices(self, trial: _Trial, plans: Sequence[Plan], taps_v: Sequence[float]) -> list[Choice]:
        return list_choices(
            trial.run,
            plans,
            taps_v,
            self._lit_v,
            lambda tap_v: self._excessive(trial, tap_v),
        )

    def _excessive(self, trial: _Trial, tap_v: float) -> frozenset[str]:
        if tap_v not in trial.excessive:
            trial.excessive[tap_v] = find_excessive(
                trial.run,
                tap_v,
                lambda fixture: safe_range(fixture, lenient=trial.lenient)[1],
                self._limits.cool_c,
            )
        return trial.excessive[tap_v]

    def _allowed(self, place: int, tried: str) -> list[Choice]:
        """The choices of one run that fit what is tried."""
        trial = self._trials[place]
        if trial.left_alone:
            return [self._as_it_is(place)]
        own_v = trial.run.terminal.tap_v

        def fits(choice: Choice) -> bool:
            stays = all(volts == own_v for volts in choice.volts)
            kind = choice.plan.kind
            match tried:
                case "taps":
                    return choice.buys_nothing
                case "present tap":
                    return kind is ChangeKind.CABLE and stays
                case "thicker":
                    return kind is ChangeKind.CABLE
                case "run from the present tap":
                    return (
                        kind is not ChangeKind.FEED
                        and stays
                        and (kind is ChangeKind.RUN or choice.buys_nothing)
                    )
                case "feed":
                    return kind is ChangeKind.FEED or (kind is ChangeKind.CABLE and choice.buys_nothing)
            return True

        return [choice for choice in self._choices(place) if fits(choice)]

    def _as_it_is(self, place: int) -> Choice:
        """Leave a run that nothing mends as it is; of its load no more is known than the lamps' watts."""
        run = self._trials[place].run
        volts = run.terminal.tap_v
        amperes = sum(lamp.rated_va / lamp.rated_v for lamp in run.network.fixtures)
        plan = Plan(kind=ChangeKind.CABLE, way=(), fronts=())
        return Choice(
            plan=plan,
            volts=(volts,),
            points=((0.0, 0.0, amperes, 0.0, None),),
            cost=0.0,
            amperes=(amperes,),
            moves=False,
        )

    def _room(self) -> Room:
        """What the transformer can carry besides lights at its terminals."""
        # Where nobody said which commons there are, each tap is a circuit of its own, as in the findings.
        by_common = self._networks[0].feed.commons_known or len(self._commons) > 1
        fixed_a: dict[Terminal | int, float] = {}
        fixed_va = 0.0
        for network in self._networks:
            feed = network.feed
            stays = not network.is_tree
            at_terminals = (lamp for lamp in network.fixtures if stays or lamp.node == feed.node)
            va = sum(lamp.rated_va for lamp in at_terminals)
            circuit = feed.common if by_common else terminal_of(feed)
            fixed_a[circuit] = fixed_a.get(circuit, 0.0) + va / feed.source_v
            fixed_va += va
        feed = self._networks[0].feed
        most_va = LOAD_PART * feed.rated_va - fixed_va
        return Room(
            terminals=tuple(
                Terminal(tap_v=volts, common=common) for volts in self._taps_v for common in self._commons
            ),
            most_a=lambda terminal: (
                LOAD_PART * feed.limit_a - fixed_a.get(terminal.common if by_common else terminal, 0.0)
            ),
            by_common=by_common,
            most_va=float("inf") if self._judge.overloaded else most_va,
        )

    def _correct(self, chosen: Chosen, blamed: Mapping[str, float]) -> bool:
        """Correct the choices of the runs that are to blame, or rule all choices out where none is.

        A run with too few volts is asked for more; one with too many gets the same with thinner cable.

        Returns:
            Whether anything was corrected.
        """
        corrected = False
        for trial, (choice, _) in zip(self._trials, chosen, strict=True):
            short = [blamed[c.to_node] for c in trial.run.network.segments if c.to_node in blamed]
            if blamed and not short:
                continue
            corrected, short_v = True, max(short, default=0.0)
            if short_v > 0.0 and trial.extra_v + short_v < MARGIN_V:
                trial.extra_v += 1.2 * short_v + 1e-4
                trial.choices = None
                trial.thinner.clear()
                self._effort += 10 * len(trial.run.network.segments)
                continue
            trial.forbidden.add(choice.key)
            for below_mm2 in list_thinner(choice) if blamed else ():
                self._effort += len(trial.run.network.segments)
                sizing = self._size(trial, self._taps_v, dict(below_mm2))
                plan = lay_plan(sizing, choice.plan.kind, choice.plan.way, below_mm2)
                if plan is not None:
                    found = self._list_choices(trial, [plan], self._taps_v)
                    trial.thinner += [each for each in found if each.volts == choice.volts]
        return corrected

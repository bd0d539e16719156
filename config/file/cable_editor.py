"""Writes changes of cables into the site file: other gauges, other taps, runs laid anew.

A cable of the file may be several pieces: those between the lights of a line, the legs of a hub. Each change
is made to the pieces first; then every table whose pieces have changed is written anew from them. A line of
which only a part changes becomes several tables of the same line, each with its number of lights. The node at
which a piece ends is that of the same table before and after, so that comments stay where they belong.
"""

import os
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from itertools import pairwise

from config.errors import KeyPath
from config.file.editor import change_text, edit_site, fill_table
from config.file.loader import LoadedSite, parse_site, refuse_file
from config.file.toml_editor import LayoutError, TomlEditor
from config.models.cable_changes import AddTransformer, CableChange, LayGauge, LayRun, MoveToTap, Terminal
from config.models.cables import M_PER_FT, Cable, Gauge
from config.models.site import Site, Transformer
from config.phrase import Phrase
from config.validation.cable_tree import CableRun, CableTree, check_tree, read_tree

_SAME = 1e-6
_LEAST_TEXT = 0.01
_KEPT = ("splice_ohm", "rated_a", "connector_a", "cables_in_conduit")
_KEYS = (
    *("from", "to", "line", "lights", "hub", "legs", "leg_gauge", "gauge", "length", "tap", "common"),
    *_KEPT,
)
_MEASURED = ("measured_volts", "no_load_volts", "full_load_volts")


@dataclass(frozen=True, kw_only=True, slots=True)
class _Piece:
    """One piece of cable as it is to be.

    Attributes:
        terminal: of a piece that begins at a transformer.
        kept: further keys of its table that still hold for it.
    """

    start: str
    end: str
    gauge: Gauge
    length_m: float
    terminal: Terminal | None = None
    kept: Mapping[str, object] = field(default_factory=dict)

    def goes_on(self, other: "_Piece") -> bool:
        """Whether another piece of the same line follows as the same cable."""
        same = self.gauge == other.gauge and self.kept == other.kept and other.terminal is None
        return same and other.start == self.end and abs(self.length_m - other.length_m) <= _SAME


def write_changes(path: str | os.PathLike[str], site: Site, changes: Sequence[CableChange]) -> LoadedSite:
    """Write changes of cables into the site file from which a site was read.

    Returns and raises what edit_site does; the file is left as it is where it holds another site by now.
    """
    return edit_site(path, _change_by(site, changes, os.fspath(path)))


def change_cables(text: str, site: Site, changes: Sequence[CableChange], name: str) -> str:
    """Give the text that the site file would have after changes of cables.

    Raises:
        SiteFileError: its layout cannot be edited, or it is that of another site by now.
    """
    return change_text(text, _change_by(site, changes, name), name)


def _change_by(site: Site, changes: Sequence[CableChange], name: str) -> Callable[[TomlEditor], None]:
    def change(editor: TomlEditor) -> None:
        if parse_site(editor.text, name).site != site:
            what = Phrase("was changed by another program meanwhile and is left as it is")
            raise refuse_file(name, what, Phrase("try again"))
        tree = read_tree(editor.values)
        if tree is None or list(check_tree(tree)):
            raise LayoutError("the cables are not known")
        _Writer(editor, site, tree).write(changes)

    return change


class _Writer:
    """Carries changes out on the pieces of a site's cables, and writes the tables that changed."""

    def __init__(self, editor: TomlEditor, site: Site, tree: CableTree) -> None:
        self._editor, self._site, self._tree = editor, site, tree
        self._transformers = {each.id: each for each in site.transformers}
        self._owner = {end: place for place, run in enumerate(tree.runs) for end in run.nodes}
        self._old: dict[str, _Piece] = {}
        for run, cable in zip(tree.runs, site.cables, strict=True):
            self._old.update((piece.end, piece) for piece in self._pieces_of(run, cable))
        self._new = dict(self._old)
        # Pieces that end at one node are those of a ring, or lie side by side. Their tables are moved whole.
        ends = Counter(end for run in tree.runs for end in run.nodes)
        self._shared = {
            place: first
            for place, (run, cable) in enumerate(zip(tree.runs, site.cables, strict=True))
            if any(ends[end] > 1 for end in run.nodes)
            and (first := next(self._pieces_of(run, cable))).terminal is not None
        }
        # A hub that is written as single cables gives its name to the line of its lights.
        self._renamed: dict[str, str] = {}

    def write(self, changes: Sequence[CableChange]) -> None:
        for laid in (change for change in changes if isinstance(change, LayGauge)):
            for end in laid.ends:
                self._new[end] = _without_plate(replace(self._new[end], gauge=laid.gauge))
        moved: dict[int, _Piece] = {}
        for change in changes:
            if isinstance(change, MoveToTap) and change.table in self._shared:
                moved[change.table] = replace(self._shared[change.table], terminal=change.terminal)
            elif isinstance(change, MoveToTap):
                self._new[change.node] = replace(self._new[change.node], terminal=change.terminal)
            elif isinstance(change, LayRun):
                self._lay_run(change)
        self._shared.update(moved)
        self._move_usual_taps()
        for place, piece in moved.items():
            self._connect(place, piece)
        changed = {self._owner[end] for end, piece in self._new.items() if piece != self._old.get(end)}
        for place in sorted(changed, reverse=True):
            self._write_table(place)
        for added in (change for change in changes if isinstance(change, AddTransformer)):
            self._add_transformer(added)
        for path, cable in self._cables():
            if (begins := self._renamed.get(str(cable.get("from")))) is not None:
                self._editor.put((*path, "from"), begins)

    def _pieces_of(self, run: CableRun, cable: Cable) -> Iterator[_Piece]:
        """The pieces of one table, in the order of their nodes."""
        terminal = None
        if (transformer := self._transformers.get(cable.begins)) is not None:
            terminal = Terminal(tap_v=cable.tap or _usual_v(transformer), common=cable.common or 1)
        kept = {key: getattr(cable, key) for key in _KEPT if key in cable.model_fields_set}
        first = _Piece(
            start=cable.begins,
            end=run.nodes[0],
            gauge=cable.gauge,
            length_m=cable.length_m,
            terminal=terminal,
            kept=kept,
        )
        if run.form == "hub":
            yield first
            for end, length_m in zip(run.nodes[1:], cable.leg_lengths_m, strict=True):
                gauge = cable.leg_gauge or cable.gauge
                leg = replace(first, start=run.name, end=end, gauge=gauge, length_m=length_m, terminal=None)
                leg = replace(leg, kept={key: kept[key] for key in kept if key != "cables_in_conduit"})
                yield leg if gauge == cable.gauge else _without_plate(leg)
            return
        each_m = cable.length_m / len(run.nodes)
        yield replace(first, length_m=each_m)
        for near, far in pairwise(run.nodes):
            yield replace(first, start=near, end=far, length_m=each_m, terminal=None)

    def _lay_run(self, change: LayRun) -> None:
        way = [self._new[change.node]]
        while way[-1].terminal is None:
            way.append(self._new[way[-1].start])
        transformer = way[-1].start
        if change.instead_of:
            for piece in way[:-1]:
                self._new[piece.start] = replace(piece, start=piece.end, end=piece.start)
        self._new[change.node] = _Piece(
            start=transformer,
            end=change.node,
            gauge=change.gauge,
            length_m=change.length_m,
            terminal=change.terminal,
        )

    def _move_usual_taps(self) -> None:
        """Where every cable of a transformer goes to one other tap, let that be its usual one."""
        for number, transformer in enumerate(self._site.transformers):
            shared = {run.nodes[0] for place, run in enumerate(self._tree.runs) if place in self._shared}
            pieces = [piece for end, piece in self._new.items() if end not in shared]
            pieces += self._shared.values()
            roots = [each for each in pieces if each.terminal and each.start == transformer.id]
            taps_v = {each.terminal.tap_v for each in roots if each.terminal}
            bound = any(light.node == transformer.id for light in self._tree.lights)
            measured = any(getattr(transformer, key) is not None for key in _MEASURED)
            if len(taps_v) != 1 or taps_v == {_usual_v(transformer)} or bound or measured:
                continue
            (tap_v,) = taps_v
            self._editor.put(("transformers", number, "tap"), _number(tap_v))
            self._transformers[transformer.id] = transformer.model_copy(update={"tap": tap_v})

    def _connect(self, place: int, piece: _Piece) -> None:
        """Write only where a table begins."""
        path: KeyPath = ("cables", place)
        keys, present = self._terminal_keys(piece), self._editor.get(path)
        wanted = {key: keys.get(key) for key in ("tap", "common") if key in keys or key in present}
        fill_table(self._editor, path, {k: v for k, v in wanted.items() if v != present.get(k)})

    def _write_table(self, place: int) -> None:
        """Write one table anew from its pieces, and more of them behind it where it takes more."""
        run = self._tree.runs[place]
        pieces = [self._new[end] for end in run.nodes]
        if run.form == "hub":
            tables = self._write_hub(run, pieces)
        elif run.form == "line":
            tables = self._write_line(run, pieces)
        else:
            tables = [self._table(place, pieces, to=run.name)]
        path: KeyPath = ("cables", place)
        first, *others = tables
        present = self._editor.get(path)
        wanted = {key: first.get(key) for key in _KEYS if key in first or key in present}
        fill_table(self._editor, path, {k: v for k, v in wanted.items() if v != present.get(k)})
        for number, table in enumerate(others, start=1):
            self._editor.insert_table(("cables", place + number), dict(table))

    def _write_line(self, run: CableRun, pieces: Sequence[_Piece]) -> list[dict[str, object]]:
        """One table for each stretch of a line that is one cable."""
        groups: list[list[_Piece]] = []
        for piece in pieces:
            if groups and groups[-1][-1].goes_on(piece):
                groups[-1].append(piece)
            else:
                groups.append([piece])
        place = self._owner[pieces[0].end]
        if len(groups) == 1:
            lights = {} if run.lights is None else {"lights": run.lights}
            return [self._table(place, pieces, line=run.name, **lights)]
        return [self._table(place, group, line=run.name, lights=len(group)) for group in groups]

    def _write_hub(self, run: CableRun, pieces: Sequence[_Piece]) -> list[dict[str, object]]:
        """A hub as one table while its legs are alike, else as single cables."""
        main, *legs = pieces
        place = self._owner[run.name]
        old_legs = [self._old[leg.end] for leg in legs]
        gauges = {leg.gauge for leg in legs}
        alike = all(
            leg.start == old.start and leg.length_m == old.length_m
            for leg, old in zip(legs, old_legs, strict=True)
        )
        present = self._editor.get(("cables", place))
        if alike and len(gauges) == 1:
            table = self._table(place, [main], hub=run.name, legs=present["legs"])
            (gauge,) = gauges
            if gauge != main.gauge:
                table["leg_gauge"] = str(gauge)
            return [table]
        if not self._tree.count_lights(run.name):
            return [self._table(place, [piece], to=piece.end) for piece in pieces]
        hub = f"{run.name} hub"
        while hub in self._owner:
            hub += " hub"
        self._renamed[run.name] = hub
        legs = [replace(leg, start=hub) if leg.start == run.name else leg for leg in legs]
        tables = [self._table(place, [main], to=hub)]
        return tables + [self._table(place, [leg], line=run.name, lights=1) for leg in legs]

    def _table(self, place: int, pieces: Sequence[_Piece], **ends: object) -> dict[str, object]:
        """A table for pieces that are one cable, with the keys that name where it ends."""
        first, present = pieces[0], self._editor.get(("cables", place))
        cable = self._site.cables[place]
        length_m = sum(piece.length_m for piece in pieces)
        length = present["length"]
        if abs(length_m - cable.length_m) > _SAME * cable.length_m:
            in_feet = str(length).rstrip().lower().endswith("ft")
            length = _length_text(length_m, in_feet=in_feet)
        gauge = present["gauge"] if first.gauge == cable.gauge else str(first.gauge)
        start = self._renamed.get(first.start, first.start)
        keys: dict[str, object] = {"from": start, **ends, "gauge": gauge, "length": length}
        keys |= self._terminal_keys(first)
        kept = {key: present.get(key, each) for key, each in first.kept.items()}
        return {**keys, **kept}

    def _terminal_keys(self, piece: _Piece) -> dict[str, object]:
        """The keys that say where a piece is connected to its transformer, none for what is usual."""
        keys: dict[str, object] = {}
        if piece.terminal is not None:
            if piece.terminal.tap_v != _usual_v(self._transformers[piece.start]):
                keys["tap"] = _number(piece.terminal.tap_v)
            if piece.terminal.common != 1:
                keys["common"] = piece.terminal.common
        return keys

    def _cables(self) -> list[tuple[KeyPath, Mapping[str, object]]]:
        rows = self._editor.get(("cables",)) or []
        return [(("cables", place), row) for place, row in enumerate(rows)]

    def _add_transformer(self, change: AddTransformer) -> None:
        """Write a new transformer, and have cables and zones go to it; every zone then names its own."""
        known = set(self._transformers)
        number = 2
        while (new_id := f"{change.like}-{number}") in known:
            number += 1
        place = len(self._editor.get(("transformers",)))
        values = {"id": new_id, "rated_va": _number(change.rated_va), "tap": _number(change.tap_v)}
        self._editor.insert_table(("transformers", place), values)
        for table in change.tables:
            fill_table(self._editor, ("cables", table), {"from": new_id})
            for key in ("tap", "common"):
                if self._editor.get(("cables", table, key)) is not None:
                    self._editor.remove_key(("cables", table, key))
        for at, zone in enumerate(self._site.zones):
            old = self._site.transformer_of(zone)
            name = new_id if zone.id in change.zones else old.id if old else None
            if name is not None and name != zone.transformer:
                self._editor.put(("zones", at, "transformer"), name)


def _without_plate(piece: _Piece) -> _Piece:
    """What is on a cable's plate goes with the cable."""
    return replace(piece, kept={key: value for key, value in piece.kept.items() if key != "rated_a"})


def _usual_v(transformer: Transformer) -> float:
    if transformer.tap is None:
        raise LayoutError(f"transformer “{transformer.id}” has no tap")
    return transformer.tap


def _length_text(length_m: float, *, in_feet: bool) -> str:
    length, unit = (length_m / M_PER_FT, "ft") if in_feet else (length_m, "m")
    text = f"{max(length, _LEAST_TEXT):.2f}".rstrip("0").rstrip(".")
    return f"{text} {unit}"


def _number(value: float) -> int | Decimal:
    return int(value) if value == int(value) else Decimal(repr(value))

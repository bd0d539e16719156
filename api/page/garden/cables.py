"""The cables of a site file as forms and as a small tree: what begins where, and what hangs on it."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from api.page.garden.fields import Choice, Field
from api.render.words import N_, Words
from config.errors import KeyPath
from config.file.toml_editor import TomlEditor
from config.validation.cable_tree import CableRun, CableTree, check_tree, read_tree
from config.validation.cables import tables_of
from config.validation.finding import CABLE_FORMS

Table = Mapping[str, Any]
_GAUGES = ("18 AWG", "16 AWG", "14 AWG", "12 AWG", "10 AWG", "8 AWG", "1.5 mm2", "2.5 mm2", "4 mm2", "6 mm2")
GAUGE = Field(
    key="gauge",
    label=N_("Its gauge"),
    hint=N_("As 12 AWG or 2.5 mm2; add solid, stranded or flexible where it is printed on it"),
    suggestions=_GAUGES,
    required=True,
)
LENGTH = Field(key="length", label=N_("Its length"), hint=N_("With its unit: 80 ft or 25 m"), required=True)
_KINDS = (
    Choice("to", N_("a plain stretch to one place")),
    Choice("line", N_("a line with lamps along it")),
    Choice("hub", N_("a hub with a leg to each lamp")),
)
_HUB = "hub"


def cable_fields(document: Table, begins: str = "") -> tuple[Field, ...]:
    """Make the fields of a cable; one that does not begin at a transformer has no tap."""
    zones = [str(row.get("id")) for _, row in tables_of(document, "zones")]
    places = [node for run in _runs(document) for node in run.nodes]
    transformers = [row.get("id") for _, row in tables_of(document, "transformers")]
    tap = Field(
        key="tap",
        label=N_("Volts of its tap"),
        kind="number",
        hint=N_("Where it is another than the transformer's tap in use"),
        more=True,
    )
    common = Field(
        key="common",
        label=N_("Which of the transformer's commons"),
        kind="whole",
        hint=N_("Counted from 1; empty: the first"),
        more=True,
    )
    return (
        Field(
            key="from",
            label=N_("It begins at"),
            kind="choice",
            choices=_begins(document, begins),
            required=True,
        ),
        Field(key="form", label=N_("It is"), kind="choice", choices=_KINDS, required=True),
        Field(
            key="end",
            label=N_("What its end, line or hub is called"),
            hint=N_(
                "A line or a hub with the short name of a zone carries the lamps of that zone. A place may be"
                " called as you like; lamps name it."
            ),
            suggestions=tuple(dict.fromkeys((*zones, *places))),
            required=True,
        ),
        GAUGE,
        LENGTH,
        Field(
            key="legs",
            label=N_("The length of each leg"),
            kind="texts",
            hint=N_("With commas: 10 ft, 20 ft, 12 ft"),
        ),
        Field(
            key="leg_gauge",
            label=N_("The gauge of the legs"),
            hint=N_("Empty: that of the cable to the hub"),
            suggestions=_GAUGES,
        ),
        Field(
            key="lights",
            label=N_("How many of its lamps are on this cable"),
            kind="whole",
            hint=N_("Where several cables make up the line; empty: those that are left"),
        ),
        *((tap, common) if not begins or begins in transformers else ()),
        Field(
            key="splice_ohm",
            label=N_("Ohms of the splice at its far end"),
            kind="number",
            more=True,
        ),
        Field(
            key="rated_a",
            label=N_("Amperes printed on the cable"),
            kind="number",
            hint=N_("Empty: those of its gauge"),
            more=True,
        ),
        Field(
            key="connector_a",
            label=N_("Amperes that its connectors are rated for"),
            kind="number",
            hint=N_("Empty: as for the whole garden"),
            more=True,
        ),
        Field(
            key="cables_in_conduit",
            label=N_("Cables in the same conduit, this one counted"),
            kind="whole",
            default="1",
            more=True,
        ),
    )


def show_cable(row: Table) -> Table:
    """Give a cable as its form has it, with its kind and the name of its end apart."""
    form = next((each for each in CABLE_FORMS if each in row), "to")
    return {**row, "form": form, "end": row.get(form, "")}


def write_cable(row: Table | None, values: Mapping[str, Any]) -> dict[str, Any]:
    """Turn what was changed in the form into keys of the site file; None takes a key out."""
    shown = {"form": "to", "end": None} if row is None else show_cable(row)
    written = {key: each for key, each in values.items() if key not in ("form", "end")}
    form = values.get("form", shown["form"])
    if "form" in values or "end" in values:
        written |= {each: None for each in CABLE_FORMS if each != form and row is not None and each in row}
        written[form] = values.get("end", shown["end"])
    if form != _HUB:
        written |= {"legs": None, "leg_gauge": None}
    if form != "line":
        written["lights"] = None
    return written


def share_line(editor: TomlEditor, values: Mapping[str, Any]) -> None:
    """Leave to a new cable of a line that there is as many of its lamps as are on the new one."""
    lights = values.get("lights")
    if "line" not in values or lights is None:
        return
    rows = dict(tables_of(editor.values, "cables"))
    whole = [run for run in _runs(editor.values) if rows[run.path].get("line") == values["line"]]
    whole = [run for run in whole if "lights" not in rows[run.path] and len(run.nodes) > lights]
    if len(whole) == 1:
        editor.put((*whole[0].path, "lights"), len(whole[0].nodes) - lights)


def rename_end(editor: TomlEditor, path: KeyPath, values: Mapping[str, Any]) -> None:
    """Have lamps and cables at the end of a cable, along its line or at its hub go by its new name.

    Where another cable leads to the old place, or the new one is there already, this one is led elsewhere.
    """
    row = show_cable(editor.get(path))
    old = row["end"]
    new = next((values[form] for form in CABLE_FORMS if values.get(form) is not None), old)
    runs = _runs(editor.values)
    others = {node for run in runs for node in (run.name, *run.nodes) if run.path != path}
    if new == old or old in others or new in others:
        return
    is_simple = row["form"] != "to"
    named = re.compile(rf"{re.escape(old)}(?= \d+\Z|\Z)" if is_simple else rf"{re.escape(old)}\Z")
    for cable, other in tables_of(editor.values, "cables"):
        for key in ("from", "to"):
            if cable != path and isinstance(name := other.get(key), str) and named.match(name):
                editor.put((*cable, key), named.sub(new, name, count=1))
    for zone, other in tables_of(editor.values, "zones"):
        for place, fixture in enumerate(other.get("fixtures", ())):
            # Lamps without a node are on the line or hub with their zone's name.
            node = fixture.get("node", other.get("id") if is_simple else None)
            if isinstance(node, str) and named.match(node):
                editor.put((*zone, "fixtures", place, "node"), named.sub(new, node, count=1))


def node_field(document: Table, fixture: Table) -> Field:
    """Make the field of where lamps are on the cables: a choice of what there is."""
    nodes = [node for run in _runs(document) for node in dict.fromkeys((run.name, *run.nodes))]
    nodes += [str(row.get("id")) for _, row in tables_of(document, "transformers")]
    mine = [str(fixture["node"])] if fixture.get("node", nodes[0]) not in nodes else []
    return Field(
        key="node",
        label=N_("Where on the cables"),
        kind="choice",
        choices=(
            Choice("", N_("on this zone's line or hub, if any")),
            *(Choice(each, each, is_name=True) for each in (*mine, *dict.fromkeys(nodes))),
        ),
    )


def onward(document: Table, path: KeyPath) -> list[str]:
    """Name where another cable may go on from this one: at its end, its hub, or the last lamp of its line."""
    runs = [run for run in _runs(document) if run.path == path and run.nodes]
    return [run.nodes[-1] if run.form == "line" else run.name for run in runs]


def _tree(document: Table) -> CableTree | None:
    """Read the cables; None where they are not known, as in a file that somebody is editing."""
    tree = read_tree(document)
    if tree is not None:
        list(check_tree(tree))  # names the nodes
    return tree


def _runs(document: Table) -> Sequence[CableRun]:
    tree = _tree(document)
    return () if tree is None else tree.runs


def _begins(document: Table, begins: str) -> tuple[Choice, ...]:
    """List where a cable may begin: the transformers, and every node that a cable leads to."""
    transformers = tables_of(document, "transformers")
    found = {
        str(row.get("id")): Choice(str(row.get("id")), str(row.get("name", row.get("id"))), is_name=True)
        for _, row in transformers
    }
    for run in _runs(document):
        for node in run.nodes:
            found.setdefault(node, Choice(node, node, is_name=True))
    if begins:
        found.setdefault(begins, Choice(begins, begins, is_name=True))
    return tuple(found.values())


@dataclass(frozen=True, kw_only=True, slots=True)
class Run:
    """A cable as it is drawn: what it leads to, what it is made of, and the cables that begin there.

    Attributes:
        address: of its form.
        begins: the place of the line or hub above at which it begins; empty where that is clear.
        is_here: whether it is the one that the form is about.
    """

    name: str
    what: str
    begins: str
    address: str
    is_here: bool
    runs: tuple[Run, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Supply:
    """A transformer with the cables that begin there."""

    id: str
    name: str
    runs: tuple[Run, ...]


def draw_cables(document: Table, words: Words, *, here: KeyPath = ()) -> list[Supply]:
    """Draw the cables from each transformer outwards; nothing where the file has none that are known."""
    tree = _tree(document)
    if tree is None or not tree.runs:
        return []
    drawing = _Drawing(tree, document, words, here)
    return [
        Supply(id=str(row["id"]), name=str(row.get("name", row["id"])), runs=drawing.runs(str(row["id"])))
        for _, row in tables_of(document, "transformers")
    ]


def describe_cable(document: Table, path: KeyPath, words: Words) -> str:
    """Say what a cable is made of, and how many lamps are on it; an empty text for one that is not there."""
    tree = _tree(document)
    runs = [run for run in _runs(document) if run.path == path]
    if tree is None or not runs:
        return ""
    drawing = _Drawing(tree, document, words, path)
    return ", ".join(drawing.what(runs[0])) + "."


class _Drawing:
    def __init__(self, tree: CableTree, document: Table, words: Words, here: KeyPath) -> None:
        self._tree, self._words, self._here = tree, words, here
        self._rows = dict(tables_of(document, "cables"))

    def runs(self, node: str) -> tuple[Run, ...]:
        return tuple(self._run(each, "") for each in self._tree.runs if each.begins == node)

    def _run(self, run: CableRun, begins: str) -> Run:
        # A ring is drawn from both sides up to the node at which they meet, and what goes on from there once.
        nodes = {node for node in run.nodes if self._tree.owner.get(node) is run}
        onward = [
            self._run(each, each.begins if each.begins != run.name else "")
            for each in self._tree.runs
            if each.begins in nodes
        ]
        return Run(
            name=run.name,
            what=", ".join((*self._kind(run), *self.what(run))),
            begins=begins,
            address=f"/garden/cables/{int(run.path[1]) + 1}",
            is_here=run.path == self._here,
            runs=tuple(onward),
        )

    def _kind(self, run: CableRun) -> Iterator[str]:
        if run.form == "line":
            yield self._words.gettext("line")
        elif run.form == _HUB:
            count = self._words.ngettext("hub with %(count)d leg", "hub with %(count)d legs", run.legs)
            yield count % {"count": run.legs}
        elif self._tree.owner.get(run.name) is not run:
            yield self._words.gettext("another way there")

    def what(self, run: CableRun) -> Iterator[str]:
        """Say what it is made of, and how many lamps are on it."""
        row = self._rows[run.path]
        yield f"{row.get('gauge', '')} {row.get('length', '')}"
        count = self._tree.count_lights
        lamps = len(run.nodes) if run.form == "line" else count(run.name)
        lamps += sum(count(node) for node in run.nodes if node != run.name)
        if lamps:
            yield self._words.ngettext("%(count)d lamp", "%(count)d lamps", lamps) % {"count": lamps}

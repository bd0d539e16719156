"""A hypothesis strategy for site files with comments in every place that TOML allows, in many layouts."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from hypothesis import strategies as st

from tests.config.strategies import nights, spans

HEAD = ["[site]", 'name = "Tern Cottage"', "latitude = 51.5", "longitude = -0.1", 'time_zone = "Etc/UTC"']
READINGS = ["11.6", "12", "11.75"]


@dataclass
class CommentedSite:
    """A site file in pieces, each with what it is about; comments are numbered, so that each is unique.

    ``subject`` of a piece: empty for what no edit may touch, else such as ``program 0``.
    """

    draw: Any
    pieces: list[tuple[str, str]] = field(default_factory=list)
    comments: list[str] = field(default_factory=list)
    programs: list[list[str]] = field(default_factory=list)
    special_nights: list[list[dict[str, Any]]] = field(default_factory=list)

    @property
    def text(self) -> str:
        """The whole file."""
        return "".join(text for text, _ in self.pieces)

    def kept(self, *subjects: str) -> list[str]:
        """The pieces that an edit of these subjects must leave as they are, blank lines left out."""
        return [text for text, subject in self.pieces if subject not in subjects and text.strip()]

    # -- drawing ---------------------------------------------------------------------------------------------

    def comment(self) -> str:
        """A comment, with what would mean something elsewhere."""
        tail = self.draw(st.sampled_from(["", " why", ' "]} [[zones]]', " ' , = {", " 🌙"]))
        self.comments.append(f"# <{len(self.comments)}>{tail}")
        return self.comments[-1]

    def gap(self, indent: str) -> str:
        """What may stand between two values of a list."""
        match self.draw(st.sampled_from(["", " ", "line", "end", "own"])):
            case "line":
                return "\n" + indent
            case "end":
                return f"  {self.comment()}\n{indent}"
            case "own":
                return f"\n{indent}{self.comment()}\n{indent}"
            case blank:
                return blank

    def array(self, values: list[str], indent: str) -> str:
        """A list over one or several lines."""
        inner = indent + self.draw(st.sampled_from(["", "  ", "\t"]))
        text = "".join(f"{self.gap(inner)}{each}{self.gap(inner)}," for each in values)
        if text and self.draw(st.booleans()):
            text = text[:-1]
        return f"[{text}{self.gap(inner)}]"

    def quote(self, text: str) -> str:
        """A text in one of TOML's quotes."""
        return self.draw(st.sampled_from(["'{}'", '"{}"'])).format(text)

    def program(self, program: list[str], indent: str) -> str:
        """A list of spans."""
        return self.array([self.quote(each) for each in program], indent)

    def line(self, text: str, indent: str = "", subject: str = "") -> None:
        """One key or heading with what stands above it and behind it."""
        for above in self.draw(st.lists(st.sampled_from(["blank", "comment"]), max_size=2)):
            self.pieces.append(("\n" if above == "blank" else f"{indent}{self.comment()}\n", ""))
        behind = "  " + self.comment() if self.draw(st.booleans()) else ""
        self.pieces.append((f"{indent}{text}{behind}\n", subject))

    def special_night(self, special: dict[str, Any], indent: str) -> str:
        """A special night in braces; only inside its list may there be a comment."""
        nights, program = self.quote(special["nights"]), self.program(special["program"], indent)
        return f"{{ nights = {nights}, program = {program} }}"

    # -- the zones -------------------------------------------------------------------------------------------

    def add_zone_under_heading(self, number: int) -> None:
        """Write a zone under a heading, its keys and tables in any order."""
        indent = self.draw(st.sampled_from(["", "", "    "]))
        self.line("[[zones]]", indent)
        keys = ["id", "pin", "program", *self.draw(st.sampled_from([[], ["watts"]]))]
        special_nights, in_braces = self.special_nights[number], self.draw(st.booleans())
        for key in self.draw(st.permutations(keys + (["nights"] if in_braces else []))):
            if key == "id":
                self.line(f'id = "zone-{number}"', indent)
            elif key == "pin":
                self.line(f"pin = {number + 4}", indent)
            elif key == "watts":
                self.line("measured_watts = 28.4", indent, f"watts {number}")
            elif key == "program":
                program = self.program(self.programs[number], indent)
                self.line(f"program = {program}", indent, f"program {number}")
            else:
                rows = self.array([self.special_night(each, indent) for each in special_nights], indent)
                self.line(f"special_nights = {rows}", indent, f"nights {number}")
        tables = [] if in_braces else ["special_nights"] * len(special_nights)
        inner = indent + self.draw(st.sampled_from(["", "  "]))
        waiting = iter(special_nights)
        fixtures = 0
        for table in self.draw(st.permutations([*tables, "fixtures"])):
            if table == "fixtures":
                fixtures += 1
                self.line("[[zones.fixtures]]", inner)
                self.line('kind = "path"', inner)
                self.line("count = 2", inner)
                self.line("watts = 4.5", inner)
                readings = self.draw(st.sampled_from([[], ["11.6"], ["11.6", "12"]]))
                if readings:
                    self.line(f"measured_volts = {self.array(readings, inner)}", inner, f"volts {number}")
                continue
            special = next(waiting)
            self.line("[[zones.special_nights]]", inner, f"nights {number}")
            self.line(f"nights = {self.quote(special['nights'])}", inner, f"nights {number}")
            if special["program"] or self.draw(st.booleans()):
                written = self.program(special["program"], inner)
                self.line(f"program = {written}", inner, f"nights {number}")
            else:
                del special["program"]

    def add_zones_in_braces(self) -> None:
        """Write all zones as one list of tables in braces; an edit of one may put comments above the list."""
        rows = []
        for number, program in enumerate(self.programs):
            pairs = [f'id = "zone-{number}"', f"pin = {number + 4}", f"program = {self.program(program, '')}"]
            if self.special_nights[number] or self.draw(st.booleans()):
                nights = [self.special_night(each, "") for each in self.special_nights[number]]
                pairs.append(f"special_nights = {self.array(nights, '')}")
            rows.append("{ " + ", ".join(self.draw(st.permutations(pairs))) + " }")
        self.line(f"zones = {self.array(rows, '')}", "", "zones")


programs = st.lists(spans.map(str), max_size=4)
special_nights_lists = st.lists(
    st.fixed_dictionaries({"nights": nights.map(str), "program": programs}), max_size=3
)


@st.composite
def commented_sites(draw: Any) -> CommentedSite:
    """A valid site file of one to three zones."""
    site = CommentedSite(draw)
    count = draw(st.integers(1, 3))
    for _ in range(count):
        site.programs.append(draw(programs))
        site.special_nights.append(draw(special_nights_lists))
    if draw(st.integers(0, 3)) == 0:
        site.add_zones_in_braces()
    for line in HEAD:
        site.line(line)
    if all(subject != "zones" for _, subject in site.pieces):
        for number in range(count):
            site.add_zone_under_heading(number)
    for _ in range(draw(st.integers(0, 1))):
        site.pieces.append((site.comment() + "\n", ""))
    return site


@st.composite
def changed_lists(draw: Any, old: list[Any], new: Any) -> list[Any]:
    """A list made of another: some of it gone, moved, changed, some of it new."""
    kept = [each for each in old if draw(st.booleans())]
    if draw(st.booleans()):
        kept = draw(st.permutations(kept))
    for _ in range(draw(st.integers(0, 2))):
        kept.insert(draw(st.integers(0, len(kept))), draw(new))
    return list(kept)

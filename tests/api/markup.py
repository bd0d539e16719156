"""Reads pages and pictures strictly: every tag closed in its order, every name used once."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from xml.etree import ElementTree as ET

SVG = "{http://www.w3.org/2000/svg}"
# HTML Living Standard, section 13.1.2: elements without an end tag.
VOID = frozenset({"area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source"})


class Page(HTMLParser):
    """A page of HTML, read tag by tag.

    Attributes:
        text: all its text, tidied.
        ids: its id attributes.
        tags: names of its elements.
        tables: for each table its rows of cells.
    """

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self._open: list[str] = []
        self._words: list[str] = []
        self.ids: list[str] = []
        self.tags: list[str] = []
        self.links: list[str] = []
        self.tables: list[list[list[str]]] = []
        self.feed(html)
        self.close()
        assert not self._open, f"never closed: {self._open}"
        assert len(set(self.ids)) == len(self.ids), "an id is used twice"

    @property
    def text(self) -> str:
        return re.sub(r"\s+", " ", "".join(self._words)).strip()

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        names = [name for name, _ in attrs]
        assert len(set(names)) == len(names), f"an attribute twice in <{tag}>"
        for name, value in attrs:
            if name == "id":
                self.ids.append(value)
            if name in ("href", "src", "xlink:href"):
                self.links.append(value)
        if tag not in VOID:
            self._open.append(tag)
        if tag == "table":
            self.tables.append([])
        elif tag == "tr":
            self.tables[-1].append([])
        elif tag in ("td", "th"):
            self.tables[-1][-1].append("")

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.handle_endtag(tag)

    def handle_endtag(self, tag):
        assert self._open, f"</{tag}> closes nothing"
        assert self._open.pop() == tag, f"</{tag}> out of order"

    def handle_data(self, data):
        if self._open and self._open[-1] in ("style", "script"):
            return
        self._words.append(data)
        if self._open and {"td", "th"} & set(self._open[-3:]):
            self.tables[-1][-1][-1] += data


class Drawing:
    """An SVG picture, read as XML."""

    def __init__(self, text: str) -> None:
        self.root = ET.fromstring(text)
        assert self.root.tag == f"{SVG}svg"
        ids = [each.get("id") for each in self.root.iter() if each.get("id")]
        assert len(set(ids)) == len(ids), "an id is used twice"
        for each in self.root.iter():
            for name, value in each.attrib.items():
                if name.endswith("href"):
                    assert value.startswith("#")
                    assert value[1:] in ids
                for used in re.findall(r"url\(#([^)]*)\)", value):
                    assert used in ids
        self.ids = ids

    def words(self, tag: str = "text") -> list[str]:
        """The texts of its elements of one kind."""
        return [" ".join("".join(each.itertext()).split()) for each in self.root.iter(f"{SVG}{tag}")]

    def paths(self, fill: str) -> list[str]:
        """The outlines that are filled with one ink."""
        return [each.get("d") for each in self.root.iter(f"{SVG}path") if each.get("fill") == fill]


def boxes(path: str) -> list[tuple[int, int, float, float]]:
    """Read a path of boxes back: first and last column, lower and upper hour since noon."""
    found = re.findall(r"M(\d+) ([\d.]+)H(\d+)V([\d.]+)H\1z", path)
    assert "".join(f"M{a} {low}H{b}V{high}H{a}z" for a, low, b, high in found) == path
    return [(int(a), int(b), 24 - float(low), 24 - float(high)) for a, low, b, high in found]

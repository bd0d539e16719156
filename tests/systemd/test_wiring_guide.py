"""The wiring guide: its drawings, its links, its site files."""

import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from config.header import HEADER_PINS, RELAY_LINES, SUPPLY_PINS
from config.models.site import FIRST_PIN, LAST_PIN
from tests.api.browser import browsing, needs_chromium
from tests.api.command import ROOT, call_json
from tests.systemd.drawings import DRAWINGS, SCHEMES
from tests.systemd.unit_file import README, SYSTEMD

GUIDE = SYSTEMD / "wiring.md"
SVG = "{http://www.w3.org/2000/svg}"
SHAPES = {"svg", "title", "desc", "style", "rect", "circle", "line", "polyline", "path", "text", "tspan", "g"}
SITE = """
[site]
name = "Plum Tree Cottage"
latitude = 51.2210
longitude = -2.4130
time_zone = "Europe/London"
"""


@pytest.mark.parametrize("name", DRAWINGS)
def test_a_drawing_is_the_one_that_the_script_draws(name):
    """After a change of the script or of config/header.py the files are written anew."""
    drawn = (SYSTEMD / name).read_text(encoding="utf-8")
    assert drawn == str(DRAWINGS[name]()), "run python -m tests.systemd.drawings"


def test_every_drawing_is_shown_in_the_guide_with_a_text_in_its_place():
    """All of them, none twice, each described for those who cannot see it."""
    shown = re.findall(r'<img src="([^"]+)" width="\d+" alt="[^"]{40,}">', GUIDE.read_text(encoding="utf-8"))
    assert sorted(shown) == sorted(DRAWINGS) == sorted(path.name for path in SYSTEMD.glob("*.svg"))


@pytest.mark.parametrize("name", DRAWINGS)
def test_a_drawing_is_well_formed_and_needs_nothing_from_elsewhere(name):
    """It is plain shapes with a title: no script, picture, font, link or address."""
    text = (SYSTEMD / name).read_text(encoding="utf-8")
    root = ET.fromstring(text)
    assert {part.tag.removeprefix(SVG) for part in root.iter()} <= SHAPES
    assert root.find(f"{SVG}title").text
    assert root.find(f"{SVG}desc").text
    assert not [key for part in root.iter() for key in part.attrib if key.startswith("on") or "href" in key]
    assert not re.search(r"url\(|@import|@font-face|&", re.sub("&(quot|amp|lt|gt);", "", text))
    assert text.count("http") == 1  # the name of SVG itself


def _pins() -> dict[int, ET.Element]:
    root = ET.parse(SYSTEMD / "header.svg").getroot()
    groups = [part for part in root.iter(f"{SVG}g") if part.get("id", "").startswith("pin-")]
    return {int(part.get("id").removeprefix("pin-")): part for part in groups}


def _said(part: ET.Element, name: str) -> str:
    return " ".join("".join(part.find(f"{SVG}text[@class='{name}']").itertext()).split())


def test_the_header_is_drawn_as_it_is():
    """Each of the forty pins has its number and its line or supply, in two columns, odd ones on the left."""
    pins = _pins()
    assert sorted(pins) == list(range(1, 41))
    on_pin = SUPPLY_PINS | {pin: f"BCM {bcm}" for bcm, pin in HEADER_PINS.items()}
    places = {}
    for number, part in pins.items():
        assert _said(part, "number") == str(number)
        label = part.find(f".//{SVG}tspan[@class='bold']").text
        assert label == on_pin[number]
        circle, text = part.find(f"{SVG}circle"), part.find(f"{SVG}text[@class='what']")
        assert circle.get("cx") == part.find(f"{SVG}text[@class='number']").get("x")
        assert abs(float(circle.get("cy")) - float(text.get("y"))) < 6
        places[number] = float(circle.get("cx")), float(circle.get("cy"))
        is_left = float(text.get("x")) < places[number][0]
        assert is_left == (number % 2 == 1)
    for number in range(1, 40, 2):
        assert places[number][0] < places[number + 1][0]
        assert places[number][1] == places[number + 1][1]
        assert number == 1 or places[number][1] > places[number - 2][1]


@pytest.mark.parametrize("bcm", range(FIRST_PIN, LAST_PIN + 1))
def test_the_colour_of_a_line_says_what_leerie_check_says(tmp_path, bcm):
    """Green warns of nothing, yellow only where the relay closes on high, red always."""
    warned = []
    for active_high in ("false", "true"):
        path = tmp_path / f"{active_high}.toml"
        zone = (
            f'[[zones]]\nid = "a"\npin = {bcm}\nactive_high = {active_high}\nprogram = ["dusk to midnight"]\n'
        )
        path.write_text(SITE + zone, encoding="utf-8")
        problems = call_json("check", path)["problems"]
        warned.append(any(each["level"] == "warning" for each in problems))
    kind = _pins()[HEADER_PINS[bcm]].find(f"{SVG}circle").get("class").removeprefix("pin ")
    assert {"good": [False, False], "warm": [False, True], "bad": [True, True]}[kind] == warned
    assert (kind == "good") == (bcm in RELAY_LINES)


def _luminance(colour: str) -> float:
    """WCAG 2.2, relative luminance."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.mark.parametrize("scheme", SCHEMES)
def test_texts_and_wires_stand_out_from_what_is_behind_them(scheme):
    """WCAG 2.2: 4.5 to 1 for texts, 3 to 1 for wires, in light and in dark."""
    colours = SCHEMES[scheme]

    def contrast(one, two):
        low, high = sorted((_luminance(colours[one]), _luminance(colours[two])))
        return (high + 0.05) / (low + 0.05)

    behind = ("back", "fill")
    assert min(contrast(text, back) for text in ("ink", "soft") for back in behind) >= 4.5
    assert min(contrast("ink", pin) for pin in ("good", "warm", "bad", "grey")) >= 4.5
    assert min(contrast(wire, back) for wire in ("mains", "low", "signal", "edge") for back in behind) >= 3


# Texts that leave the drawing, lie on each other, or are crossed by a wire.
_LABELS = """() => {
  const view = document.documentElement.viewBox.baseVal, wrong = [];
  const texts = [...document.querySelectorAll("text")].map(e => [e.textContent, e.getBBox()]);
  const lines = [...document.querySelectorAll("polyline, path, line")];
  texts.forEach(([said, a], i) => {
    if (a.x < 2 || a.x + a.width > view.width - 2 || a.y < 2 || a.y + a.height > view.height - 2)
      wrong.push(`${said}: outside`);
    for (const [other, b] of texts.slice(i + 1))
      if (a.x < b.x + b.width && b.x < a.x + a.width && a.y < b.y + b.height - 3 && b.y < a.y + a.height - 3)
        wrong.push(`${said}: on ${other}`);
    for (const line of lines)
      for (let at = 0; at <= line.getTotalLength(); at += 1) {
        const p = line.getPointAtLength(at);
        if (p.x > a.x && p.x < a.x + a.width && p.y > a.y + 3 && p.y < a.y + a.height - 3) {
          wrong.push(`${said}: crossed`);
          break;
        }
      }
  });
  return [texts.length, wrong];
}"""


@needs_chromium
def test_no_label_lies_on_another_or_on_a_wire():
    """In a real browser every text is inside its drawing, apart from the others, and free of wires."""
    with browsing() as (page, complaints):
        for name in DRAWINGS:
            page.goto((SYSTEMD / name).as_uri())
            count, wrong = page.evaluate(_LABELS)
            assert count > 5
            assert not wrong, name
        assert not complaints


def _anchor(heading: str) -> str:
    """Small letters and digits, hyphens for blanks, nothing else."""
    return re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-")


def _anchors(path: Path) -> set[str]:
    text = re.sub(r"^```.*?^```", "", path.read_text(encoding="utf-8"), flags=re.MULTILINE | re.DOTALL)
    return {_anchor(heading) for heading in re.findall(r"^#+ (.+)$", text, re.MULTILINE)}


@pytest.mark.parametrize("path", [README, GUIDE, ROOT / "README.md"], ids=str)
def test_every_link_leads_somewhere(path):
    """Each link of the documents leads to a file that exists, and to a heading in it."""
    links = re.findall(r"\]\(([^)\s]+)\)", path.read_text(encoding="utf-8"))
    assert links
    for link in links:
        name, _, anchor = link.partition("#")
        target = path.parent / name if name else path
        assert target.is_file(), link
        assert not anchor or anchor in _anchors(target), link


@pytest.mark.parametrize("path", [README, GUIDE], ids=str)
def test_the_contents_list_every_section(path):
    """Whoever reads from the top finds each section of the page in its contents."""
    text = path.read_text(encoding="utf-8")
    contents, _, _ = text.partition("\n## ")
    sections = {_anchor(each) for each in re.findall(r"^## (.+)$", text, re.MULTILINE)}
    assert sections
    assert {each for each in sections if f"](#{each})" not in contents} == set()


_BLOCKS = re.findall(
    r"^( *)```toml\n(.*?)^\1```", GUIDE.read_text(encoding="utf-8"), re.MULTILINE | re.DOTALL
)


@pytest.mark.parametrize("block", [block for _, block in _BLOCKS])
def test_a_site_file_of_the_guide_passes_the_check(tmp_path, block):
    """Each is read without an error and without a warning."""
    path = tmp_path / "site.toml"
    path.write_text(block if "[site]" in block else SITE + block, encoding="utf-8")
    problems = call_json("check", path)["problems"]
    assert [each for each in problems if each["level"] != "note"] == []


def test_the_guide_names_keys_that_exist():
    """Each key of the site file that it names is in the table of config/README.md."""
    known = (ROOT / "config" / "README.md").read_text(encoding="utf-8")
    named = re.findall(r"`([a-z]+(?:_[a-z]+)+)(?: = [^`]*)?`", GUIDE.read_text(encoding="utf-8"))
    assert {"relay_side", "active_high", "contact_inrush_a"} <= set(named)
    assert [key for key in named if f"`{key}`" not in known] == []

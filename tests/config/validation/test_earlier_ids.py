"""Ids of fixtures, and ids that zones and fixtures had earlier: each has one owner."""

from __future__ import annotations

import pytest

from config.errors import UnknownZoneError
from config.file.loader import parse_site
from config.validation.earlier_ids import find_renames
from tests.config.site_texts import GOOD, problems_of

DRIVE = '\n[[zones]]\nid = "drive"\ntransformer = "shed"\npin = 27\nprogram = ["dusk for 4h"]\n'
SPOT = '\n  [[zones.fixtures]]\n  kind = "spot"\n  count = 1\n  watts = 3\n'


def told(text: str) -> list[str]:
    """What is wrong, without the place."""
    return [line.partition(": ")[2] for line in problems_of(text)]


def test_earlier_ids_of_zones_and_fixtures_are_read():
    """A chain of names is a list, and a zone is found by the name that it has now."""
    text = GOOD.replace('id = "path"', 'id = "path"\nformerly = ["front-path", "walk"]')
    site = parse_site(text + '  id = "edge"\n  formerly = ["steps"]\n', "site.toml").site
    assert site.zone("path").formerly == ("front-path", "walk")
    assert (site.zones[0].fixtures[0].id, site.zones[0].fixtures[0].formerly) == ("edge", ("steps",))
    assert [site.zone_id_now(each) for each in ("walk", "front-path", "path", "pond")] == [
        "path",
        "path",
        "path",
        "pond",
    ]
    with pytest.raises(UnknownZoneError) as refusal:
        site.zone("walk")
    assert str(refusal.value) == "no zone is called “walk” any more; it is now “path”"


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            GOOD.replace('id = "path"', 'id = "path"\nformerly = ["drive"]') + DRIVE,
            (
                'zone “path”, formerly[1] = "drive": is still the id of the zone on line 35; '
                "remove it here, or give that zone another id"
            ),
        ),
        (
            GOOD.replace('id = "path"', 'id = "path"\nformerly = ["walk"]') + DRIVE + 'formerly = ["walk"]\n',
            (
                'zone “drive”, formerly[1] = "walk": is named as an earlier id on line 20 already; '
                "its history goes on in one zone: remove one of the two"
            ),
        ),
        (
            GOOD + '  id = "edge"\n' + SPOT + '  id = "edge"\n',
            (
                'zone “path”, fixture “edge”, id = "edge": is already the id of fixture “edge” on line 32; '
                "give each fixture its own id"
            ),
        ),
        (
            GOOD + '  id = "edge"\n' + SPOT + '  id = "tree"\n  formerly = ["edge"]\n',
            (
                'zone “path”, fixture “tree”, formerly[1] = "edge": is still the id of the fixture on '
                "line 32; remove it here, or give that fixture another id"
            ),
        ),
    ],
)
def test_an_earlier_id_has_one_owner(text, expected):
    """What is still in use, or claimed twice, would count one past for two."""
    assert told(text) == [expected]


def test_fixtures_of_different_zones_may_share_an_id():
    """An id of a fixture is its own in its zone, and so are those that it had earlier."""
    text = GOOD + '  id = "edge"\n' + DRIVE + SPOT + '  id = "tree"\n  formerly = ["edge"]\n'
    assert told(text) == []


@pytest.mark.parametrize(
    ("after", "hints"),
    [
        (
            GOOD.replace('id = "path"', 'id = "walk"'),
            [
                (
                    "zone path is gone and zone walk is new on the same pin: if it is the same zone, "
                    'write formerly = ["path"] in it to keep its history'
                )
            ],
        ),
        (
            GOOD.replace('id = "path"', 'id = "walk"\nformerly = ["steps"]'),
            [
                (
                    "zone path is gone and zone walk is new on the same pin: if it is the same zone, "
                    'write formerly = ["steps", "path"] in it to keep its history'
                )
            ],
        ),
        (GOOD.replace('id = "path"', 'id = "walk"\nformerly = ["path"]'), []),
        (GOOD.replace('id = "path"', 'id = "walk"').replace("pin = 17", "pin = 22"), []),
        (GOOD.replace('id = "path"', 'id = "path"\nname = "The path"') + DRIVE, []),
        (GOOD, []),
    ],
)
def test_a_rename_without_its_earlier_id_is_noticed(after, hints):
    """A zone that is gone and a new one on its pin are probably one zone; nothing else is taken for that."""
    before, now = (parse_site(text, "site.toml").site for text in (GOOD, after))
    assert list(find_renames(before, now)) == hints

"""Whole tables of a site file written, added and removed, with every comment kept."""

import re
import tomllib
from decimal import Decimal

import pytest

from config.errors import SiteFileError
from config.file.editor import edit_site, write_table
from config.file.loader import example_path, load_site
from config.file.toml_editor import TomlEditor

EXAMPLES = ["one-zone", "two-zones", "full-property", "polar"]
COMMENT = re.compile(r"#.*")


@pytest.fixture(params=EXAMPLES)
def site(request, tmp_path):
    """One of the examples, to be changed."""
    path = tmp_path / "site.toml"
    path.write_bytes(example_path(request.param).read_bytes())
    return path


def comments(path):
    return sorted(each.rstrip() for each in COMMENT.findall(path.read_text("utf-8")))


@pytest.mark.parametrize(
    ("table", "values"),
    [
        ("network", {"listen": "home"}),
        ("customer", {"name": "The owners", "address": None}),
        ("tariff", {"currency": "GBP", "per_kwh": Decimal("0.2450")}),
        ("site", {"name": "Another", "dusk_angle": 8}),
    ],
)
def test_a_table_is_filled_or_added(site, table, values):
    """The keys that are named are as asked for, all others and all comments as before."""
    before, was = tomllib.loads(site.read_text("utf-8"), parse_float=Decimal), comments(site)
    write_table(site, (table,), values)
    after = tomllib.loads(site.read_text("utf-8"), parse_float=Decimal)
    wanted = {**before.get(table, {}), **values}
    assert after == {**before, table: {key: value for key, value in wanted.items() if value is not None}}
    assert comments(site) == was
    assert "\n\n\n" not in site.read_text("utf-8")


def test_a_new_table_stands_behind_the_others(tmp_path):
    """A person finds it among the settings, before the transformers and zones."""
    path = tmp_path / "site.toml"
    path.write_bytes(example_path("one-zone").read_bytes())
    write_table(path, ("network",), {"listen": "home"})
    lines = path.read_text("utf-8").splitlines()
    assert lines[lines.index("[network]") - 2].startswith("board = ")
    assert lines[lines.index("[network]") + 1 :][:3] == ['listen = "home"', "", "[[transformers]]"]


def test_a_key_that_is_none_goes(tmp_path):
    """The comment on its line stays."""
    path = tmp_path / "site.toml"
    path.write_bytes(example_path("full-property").read_bytes())
    write_table(path, ("installer",), {"telephone": None, "email": "other@example.com"})
    installer = load_site(path).site.installer
    assert (installer.telephone, installer.email) == (None, "other@example.com")


def test_what_would_not_be_valid_is_not_written(site):
    """The file is as it was, to the byte."""
    before = site.read_bytes()
    with pytest.raises(SiteFileError, match="time_zone"):
        write_table(site, ("site",), {"time_zone": "Europe/Lundon"})
    assert site.read_bytes() == before


def test_a_zone_is_added_behind_the_last_with_all_its_tables(site):
    """Its heading stands below the fixtures of the zone before, so that they stay that one's."""
    before = load_site(site).site
    zone = {"id": "new-one", "name": "New one", "pin": 26, "program": ["dusk to 22:00"]}
    if len(before.transformers) > 1:
        zone["transformer"] = before.transformers[0].id
    was = comments(site)
    after = edit_site(site, lambda editor: editor.insert_table(("zones", len(before.zones)), zone)).site
    assert after.zones[:-1] == before.zones
    assert after.zones[-1].id == "new-one"
    assert comments(site) == was


def test_a_zone_goes_with_all_its_tables(tmp_path):
    """The others and all comments stay as they are; the last zone cannot go."""
    path = tmp_path / "site.toml"
    path.write_bytes(example_path("polar").read_bytes())
    zone = {"id": "new-one", "transformer": "barn", "pin": 26, "program": ["dusk to 22:00"]}
    added = edit_site(path, lambda editor: editor.insert_table(("zones", 1), zone)).site
    before, was = added.zones, comments(path)
    after = edit_site(path, lambda editor: editor.remove_table(("zones", 0))).site
    assert after.zones == before[1:]
    assert comments(path) == was
    path.write_bytes(example_path("one-zone").read_bytes())
    with pytest.raises(SiteFileError, match="zones"):
        edit_site(path, lambda editor: editor.remove_table(("zones", 0)))


def test_the_first_transformer_stands_behind_the_settings():
    """Where there is no list yet, it begins before the zones, or at the end of the file."""
    text = '[site]\nname = "x"\n\n[relays]\nboard = "simulated"\n# of the shed\n\n[[zones]]\nid = "a"\n'
    editor = TomlEditor(text)
    editor.insert_table(("transformers", 0), {"id": "shed", "rated_va": 60})
    assert editor.is_consistent
    assert editor.text == text.replace(
        "# of the shed\n", '# of the shed\n\n[[transformers]]\nid = "shed"\nrated_va = 60\n'
    )


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_the_ends_of_lines_are_those_of_the_file(end):
    """A file of another system stays one."""
    editor = TomlEditor(f'[site]{end}name = "x"{end}{end}[[zones]]{end}id = "a"{end}')
    editor.add_settings("network", {"listen": "home"})
    editor.insert_table(("zones", 1), {"id": "b"})
    assert editor.is_consistent
    assert editor.text.count("\n") == editor.text.count(end)
    assert editor.text.endswith(f'[[zones]]{end}id = "b"{end}')

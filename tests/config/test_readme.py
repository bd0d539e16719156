"""The table of keys in the README, held against the models."""

import re
from importlib import resources
from typing import get_args

from config.models.base import Table
from config.models.site import SITE_KEYS, Site


def table_in(annotation):
    """The model inside an annotation, if there is one."""
    if isinstance(annotation, type):
        return annotation if issubclass(annotation, Table) else None
    return next((table for each in get_args(annotation) if (table := table_in(each))), None)


def list_keys(table, name):
    """Every (table, key) that a site file may have below a model."""
    for field_name, field in table.model_fields.items():
        key = field.alias or field_name
        inner = table_in(field.annotation)
        if inner:
            yield from list_keys(inner, f"{name}.{key}" if name else key)
        else:
            yield (name or "site", key), field


def test_the_readme_lists_every_key_and_no_other_with_its_default():
    """A key that is added, renamed or given another default has to be written down."""
    text = (resources.files("config") / "README.md").read_text()
    written, table = {}, ""
    for line in text[text.index("| table | key |") :].splitlines()[2:]:
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if len(cells) != 4:
            break
        table = cells[0].strip("`[]") or table
        written[table, cells[1].strip("`")] = cells[3]
    keys = dict(list_keys(Site, ""))
    assert set(written) == set(keys)
    for key, field in keys.items():
        assert ("required" in written[key]) == field.is_required() or key == ("zones", "transformer"), key
        if isinstance(field.default, int | float) and not isinstance(field.default, bool):
            assert float(re.sub(r"[^0-9.]", "", written[key])) == field.default, key
        elif isinstance(field.default, str) and field.default:
            assert written[key].strip('`"') == field.default, key


def test_the_readme_has_the_keys_of_the_site_table():
    """The [site] table of the file is flat in the model, under the keys listed there."""
    assert {key for (table, key), _ in list_keys(Site, "") if table == "site"} == set(SITE_KEYS)

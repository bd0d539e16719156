"""The catalogues of the page: brings them up to date with the texts in the code of every layer.

``python -m tests.catalogue`` writes new texts into every catalogue, to be translated there, and compiles it.
"""

from __future__ import annotations

import io
from datetime import UTC, datetime
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po

ROOT = Path(__file__).parents[1]
LOCALE = ROOT / "api" / "render" / "locale"
KEYWORDS = {
    "_": None,
    "gettext": None,
    "N_": None,
    "ngettext": (1, 2),
    "pgettext": ((1, "c"), 2),
    "Phrase": (1,),
    "count_phrase": (1, 2),
}
METHODS = [("**.py", "python"), ("**/templates/**.html", "jinja2"), ("**/templates/**.svg", "jinja2")]
OPTIONS = {
    "**/templates/**": {"extensions": "jinja2.ext.i18n", "trimmed": "true", "newstyle_gettext": "true"}
}


def extract() -> Catalog:
    """Gather every text that is for translation."""
    found = Catalog(project="leerie", charset="utf-8")
    for layer in ("api", "config", "controller"):
        for place, _, text, comments, context in extract_from_dir(
            ROOT / layer, method_map=METHODS, options_map=OPTIONS, keywords=KEYWORDS
        ):
            found.add(text, None, [(f"{layer}/{place}", None)], auto_comments=comments, context=context)
    return found


def catalogue_path(language: str) -> Path:
    """Give where the catalogue of a language is."""
    return LOCALE / language / "LC_MESSAGES" / "leerie.po"


def read(language: str) -> Catalog:
    """Read the catalogue of a language."""
    with catalogue_path(language).open("rb") as file:
        return read_po(file, locale=language)


def compiled(catalog: Catalog) -> bytes:
    """Compile a catalogue, to the same bytes whenever it is done."""
    catalog.creation_date = catalog.revision_date = datetime(2026, 1, 1, tzinfo=UTC)
    out = io.BytesIO()
    write_mo(out, catalog)
    return out.getvalue()


def main() -> None:
    """Bring every catalogue up to date, and say what is left to be translated."""
    texts = extract()
    for folder in sorted(LOCALE.iterdir()):
        path = catalogue_path(folder.name)
        known = read(folder.name) if path.exists() else Catalog(locale=folder.name, project="leerie")
        known.update(texts, no_fuzzy_matching=True)
        known.obsolete.clear()
        for header in ("POT-Creation-Date", "PO-Revision-Date"):
            known.mime_headers = [each for each in known.mime_headers if each[0] != header]
        with path.open("wb") as file:
            write_po(file, known, width=0, sort_output=True, omit_header=True)
        path.with_suffix(".mo").write_bytes(compiled(read(folder.name)))
        left = [str(each.id) for each in known if each.id and not _is_translated(each.string)]
        print(f"{folder.name}: {len(left)} texts are not translated", *left, sep="\n  ")


def _is_translated(text: str | tuple[str, ...] | list[str]) -> bool:
    return all(text) if isinstance(text, (tuple, list)) else bool(text)


if __name__ == "__main__":
    main()

"""The last valid site file, kept as a copy in the state folder.

A file that a power cut or a slip of the hand has spoilt must not keep the garden dark.
"""

import contextlib
import logging
import os
from pathlib import Path

from config.errors import SiteFileError
from config.file.loader import LoadedSite, load_site

log = logging.getLogger("leerie")

LAST_GOOD = "site.last-good.toml"


def load_or_last_good(site_path: Path, state: Path) -> tuple[LoadedSite, str]:
    """Read the site file, or the last good copy where the file is not valid.

    Returns:
        The site, and why the file itself was refused, all of it; an empty text where it was not.

    Raises:
        SiteFileError: neither is valid; with the problems of the file itself.
    """
    try:
        return load_site(site_path), ""
    except SiteFileError as error:
        try:
            loaded = load_site(state / LAST_GOOD)
        except SiteFileError:
            raise error from None
        return loaded, str(error)


def is_first_run(site_path: Path, state: Path) -> bool:
    """Whether there is neither a site file nor a copy of one, but a folder to write it into."""
    there = os.path.lexists(site_path) or (state / LAST_GOOD).exists()
    return not there and site_path.absolute().parent.is_dir()


def log_warnings(loaded: LoadedSite) -> None:
    """Write what is probably a mistake in a site file to the log."""
    for warning in loaded.warnings:
        log.warning("%s", warning)


def remember(loaded: LoadedSite, state: Path) -> None:
    """Keep the text of a valid site file, if the state folder can be written; one caller at a time.

    What looks like a zone that was renamed since the last copy, and would lose its history, is logged.
    """
    from config.file.atomic_write import write_atomically  # noqa: PLC0415 - lights first

    copy, content = state / LAST_GOOD, loaded.text.encode()
    try:
        state.mkdir(parents=True, exist_ok=True)
        if not copy.exists() or copy.read_bytes() != content:
            _log_renames(copy, loaded)
            write_atomically(copy, content)
    except OSError as error:
        log.warning("%s: the site file could not be copied: %s", state, error.strerror or error)


def _log_renames(copy: Path, loaded: LoadedSite) -> None:
    from config.validation.earlier_ids import find_renames  # noqa: PLC0415 - lights first

    with contextlib.suppress(SiteFileError):
        for hint in find_renames(load_site(copy).site, loaded.site):
            log.warning("%s", hint)

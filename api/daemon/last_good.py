"""The last site file that was good, kept as a copy in the state folder.

A file that a power cut, or a slip of the hand, has spoilt must not keep the garden dark.
"""

from __future__ import annotations

import logging
import shutil
from pathlib import Path

from config.errors import SiteFileError
from config.file.loader import load_site
from config.models.site import Site

log = logging.getLogger("leerie")

LAST_GOOD = "site.last-good.toml"


def load_or_last_good(site_path: Path, state: Path) -> tuple[Site, str]:
    """Read the site file, or the last good copy where it will not do.

    Args:
        site_path: the site file.
        state: the state folder.

    Returns:
        The site, and why the file itself was not taken; an empty text where it was.

    Raises:
        SiteFileError: neither will do; it is the file's own problems that are told.
    """
    try:
        loaded = load_site(site_path)
    except SiteFileError as error:
        try:
            site = load_site(state / LAST_GOOD).site
        except SiteFileError:
            raise error from None
        log.error("%s", error)
        log.error("the site file will not do; going on with the last good one, %s", state / LAST_GOOD)
        return site, str(error).splitlines()[0]
    for warning in loaded.warnings:
        log.warning("%s", warning)
    return loaded.site, ""


def remember(site_path: Path, state: Path) -> None:
    """Keep a copy of a site file that was taken, if the state folder can be written."""
    kept, fresh = state / LAST_GOOD, state / (LAST_GOOD + ".new")
    try:
        state.mkdir(parents=True, exist_ok=True)
        if kept.exists() and kept.read_bytes() == site_path.read_bytes():
            return
        shutil.copyfile(site_path, fresh)
        fresh.replace(kept)
    except OSError as error:
        log.warning("%s: no copy of the site file could be kept: %s", state, error.strerror or error)

"""The unit of the service manager, the versions, and the site file as the running daemon sees it."""

from collections.abc import Iterator
from dataclasses import dataclass

from config.phrase import Phrase, count_phrase
from controller.doctor.check import Check, error, note, warning, well


@dataclass(frozen=True, kw_only=True, slots=True)
class UnitFacts:
    """What systemd says of the unit; the words of its own properties.

    Attributes:
        present: whether systemd runs this machine.
        answered: whether it said anything.
        load: LoadState, such as loaded, not-found or masked.
        file: UnitFileState, such as enabled or disabled.
        active: ActiveState, such as active, failed or activating; ``result`` why it failed.
        restarts: how often it was started again by itself.
        watchdog: whether a keeper that hangs is noticed.
        changed: the unit's file is newer than what systemd has read.
    """

    present: bool
    answered: bool = True
    load: str = ""
    file: str = ""
    active: str = ""
    result: str = ""
    restarts: int = 0
    watchdog: bool = True
    changed: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class VersionFacts:
    """What is installed, each as name and version; and the libraries that are missing."""

    installed: tuple[tuple[str, str], ...]
    missing: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class SiteFileFacts:
    """What the daemon says of the site file: why its last change was refused, or that one is not read yet."""

    refused: str = ""
    changed: bool = False


def judge_unit(facts: UnitFacts) -> Iterator[Check]:
    """Say whether Leerie starts with the board, and how it has fared."""
    if not facts.present:
        yield note("unit", Phrase("systemd does not run this machine: nothing starts Leerie by itself"))
        return
    if not facts.answered:
        yield note(
            "unit", Phrase("systemd does not answer"), Phrase("run this outside a container, or as root")
        )
        return
    install = Phrase("install it as systemd/README.md says")
    if facts.load == "not-found":
        yield note("unit", Phrase("is not installed: Leerie does not start with the board"), install)
        return
    if facts.load != "loaded":
        what = Phrase("cannot be used: systemd calls it {state}", state=facts.load or "unknown")
        yield error("unit", what, Phrase("{command} says why", command="systemctl status leerie"))
        return
    problems = list(_state(facts))
    yield from problems
    if not problems:
        yield well("unit", Phrase("installed, enabled, running, watched, never restarted"))


def _state(facts: UnitFacts) -> Iterator[Check]:
    log = Phrase("{command} says why", command="journalctl -u leerie -b")
    if facts.active == "failed":
        yield error("unit", Phrase("has failed: {result}", result=facts.result or "?"), log)
    elif facts.active in ("inactive", "deactivating"):
        remedy = Phrase("start it: {command}", command="sudo systemctl start leerie")
        yield error("unit", Phrase("is not running: no light is switched"), remedy)
    elif facts.active != "active":
        yield error(
            "unit", Phrase("is not running yet: systemd calls it {state}", state=facts.active or "?"), log
        )
    if facts.file not in ("enabled", "enabled-runtime", "static", "generated", "linked"):
        remedy = Phrase("enable it: {command}", command="sudo systemctl enable leerie")
        yield warning("unit", Phrase("is not enabled: after a power cut Leerie does not start"), remedy)
    if facts.restarts:
        what = count_phrase(
            "was restarted {n} time by itself", "was restarted {n} times by itself", facts.restarts
        )
        yield warning("unit", what, log)
    if not facts.watchdog:
        what = Phrase("has no watchdog: a keeper that hangs stays so")
        yield warning("unit", what, Phrase("install leerie.service of this version again"))
    if facts.changed:
        remedy = Phrase("read it: {command}", command="sudo systemctl daemon-reload")
        yield warning("unit", Phrase("its file has changed, and systemd has not read it"), remedy)


def judge_versions(facts: VersionFacts) -> Iterator[Check]:
    """List what is installed, and what is missing."""
    if facts.missing:
        what = Phrase("not installed: {libraries}", libraries=", ".join(facts.missing))
        yield error("versions", what, Phrase("install Leerie again; see systemd/README.md, Update"))
    yield well("versions", ", ".join(f"{name} {version}" for name, version in facts.installed))


def judge_site_file(facts: SiteFileFacts) -> Iterator[Check]:
    """Say whether the running daemon uses the file as it is now."""
    if facts.refused:
        what = Phrase("is refused, the one before stays in use: {why}", why=facts.refused)
        yield error(
            "site file",
            what,
            Phrase("correct it; {command} lists every problem", command="leerie check SITE.toml"),
        )
    elif facts.changed:
        yield note(
            "site file", Phrase("was changed and is not read yet"), Phrase("run this again in a minute")
        )
    else:
        yield well("site file", Phrase("is valid"))

"""Reading a unit file, for the tests: sections, keys that may come again, values in order."""

from pathlib import Path

SYSTEMD = Path(__file__).parents[2] / "systemd"
UNIT = SYSTEMD / "leerie.service"
SYSUSERS = SYSTEMD / "leerie.sysusers"
README = SYSTEMD / "README.md"


def read_unit(path: Path = UNIT) -> dict[str, list[str]]:
    """Give every value of every key; an empty value clears those before it, as systemd.syntax(7) says."""
    found: dict[str, list[str]] = {}
    for line in path.read_text(encoding="utf-8").splitlines():
        if not line or line.startswith(("#", ";", "[")):
            continue
        key, _, value = line.partition("=")
        if value:
            found.setdefault(key, []).append(value)
        else:
            found[key] = []
    return found


def read_sysusers(path: Path = SYSUSERS) -> list[list[str]]:
    """Give the words of each line, sysusers.d(5)."""
    lines = path.read_text(encoding="utf-8").splitlines()
    return [line.split() for line in lines if line and not line.startswith("#")]

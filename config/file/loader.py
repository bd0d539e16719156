"""Reads a site file: from TOML to a Site, or to every problem at once with its place.

A good file is read with Python's own TOML reader and nothing else. Only when there is something to report is
it scanned a second time, for the lines.
"""

import os
import stat
import tomllib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from functools import cached_property
from importlib import resources
from pathlib import Path

from pydantic import ValidationError

from config.errors import SiteFileError, SiteProblem
from config.models.site import Site, flatten_site
from config.phrase import Phrase
from config.validation.document import check_document, find_too_long
from config.validation.finding import SiteFinding, name_place, write_path

# A property with hundreds of zones stays far below; a file above this size is something else by mistake.
LARGEST_FILE_BYTES = 1_000_000
# The TOML reader takes long for keys of thousands of parts, and we for guesses at what such a line means.
LONGEST_LINE = 5000
BYTE_ORDER_MARK = "\ufeff"


@dataclass(frozen=True, kw_only=True)
class LoadedSite:
    """A site as it stands in its file, with the text and the name of that file."""

    site: Site
    text: str
    file_name: str

    @cached_property
    def warnings(self) -> tuple[SiteProblem, ...]:
        """What is probably a mistake, in the order of the file; looked for when it is first asked for."""
        # Not needed to start the lights.
        from config.validation.warnings import find_warnings  # noqa: PLC0415

        document = read_document(self.text, self.file_name)
        return locate(find_warnings(self.site, document), self.text, self.file_name)


def load_site(path: str | os.PathLike[str]) -> LoadedSite:
    """Read and check a site file; problems name it as it is given here.

    Raises:
        SiteFileError: the file cannot be read, is not TOML or does not describe a site; with all problems.
    """
    return parse_site(decode_text(read_bytes(path), os.fspath(path)), os.fspath(path))


def parse_site(text: str, file_name: str) -> LoadedSite:
    """Check the whole text of a site file, which problems call ``file_name``; raises as load_site does."""
    text = text.removeprefix(BYTE_ORDER_MARK)
    try:
        return _build(read_document(text, file_name), text, file_name)
    except RecursionError as error:
        # Brackets nested so deep that the TOML reader just about manages, and what follows it does not.
        raise _refuse_toml(error, text, file_name) from None


def _build(document: dict[str, object], text: str, file_name: str) -> LoadedSite:
    if too_long := list(find_too_long(document)):
        raise SiteFileError(locate(too_long, text, file_name))
    findings = list(check_document(document))
    site = None
    try:
        # By alias only: a name that the models have for code's sake is no key of the file.
        site = Site.model_validate(flatten_site(document), by_alias=True, by_name=False)
    except ValidationError as error:
        from config.validation.messages import explain_errors  # noqa: PLC0415 (not needed to start the lights)

        findings += explain_errors(error)
        findings = list(_say_once(findings, has_site=isinstance(document.get("site"), dict)))
    if site is None or findings:
        raise SiteFileError(locate(findings, text, file_name))
    return LoadedSite(site=site, text=text, file_name=file_name)


def _say_once(findings: Sequence[SiteFinding], *, has_site: bool) -> Iterator[SiteFinding]:
    """Leave out what follows from another finding: one for each place, none for a key under another name.

    Where [site] is missing, one problem says so, and not one more for each of its keys.
    """
    said = {finding.meant for finding in findings if finding.meant}
    for finding in findings:
        follows = not has_site and len(finding.path) > 1 and finding.path[0] == "site"
        if finding.path not in said and not follows:
            said.add(finding.path)
            yield finding


def example_path(name: str) -> Path:
    """Return the path of an example that comes with the program: one-zone, two-zones, full-property, polar.

    Raises:
        FileNotFoundError: there is no such example.
    """
    path = Path(str(resources.files("config") / "examples" / f"{name}.toml"))
    if not path.is_file():
        known = ", ".join(sorted(each.stem for each in path.parent.glob("*.toml")))
        raise FileNotFoundError(f"no example is called “{name}”; there are {known}")
    return path


def read_bytes(path: str | os.PathLike[str]) -> bytes:
    """Read a whole file that may be a site file, or raise SiteFileError."""
    name = os.fspath(path)
    try:
        # A pipe or a device could keep us waiting for ever: look before opening.
        if not stat.S_ISREG(Path(name).stat().st_mode):
            remedy = Phrase("give the path of a site file, such as site.toml")
            raise refuse_file(name, Phrase("is not a file"), remedy)
        with Path(name).open("rb") as file:
            content = file.read(LARGEST_FILE_BYTES + 1)
    except SiteFileError:
        raise  # it is a ValueError too
    except FileNotFoundError:
        remedy = Phrase("check the path, or start from a copy of one of the examples")
        raise refuse_file(name, Phrase("there is no such file"), remedy) from None
    except PermissionError:
        remedy = Phrase("let this user read it, for example with chmod a+r {name}", name=name)
        raise refuse_file(name, Phrase("may not be read"), remedy) from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or Phrase("its name is not a file name")
        remedy = Phrase("check the path and the disk")
        raise refuse_file(name, Phrase("cannot be read ({why})", why=why), remedy) from None
    if len(content) > LARGEST_FILE_BYTES:
        remedy = Phrase("check the path: a site file has some kilobytes")
        raise refuse_file(name, Phrase("is larger than 1 MB"), remedy)
    return content


def decode_text(content: bytes, file_name: str) -> str:
    """Decode the bytes of a site file, or raise SiteFileError; a byte order mark stays."""
    try:
        return content.decode()
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        what = Phrase("is not UTF-8 text (byte 0x{byte})", byte=f"{content[error.start]:02x}")
        remedy = Phrase("save it with the encoding UTF-8")
        raise refuse_file(file_name, what, remedy, line=line) from None


def read_document(text: str, file_name: str) -> dict[str, object]:
    """Read the tables of a TOML text without byte order mark, or raise SiteFileError; decimals stay exact."""
    for number, line in enumerate(text.split("\n"), 1):
        if len(line) > LONGEST_LINE:
            what = Phrase("this line is longer than {most} characters", most=LONGEST_LINE)
            raise refuse_file(file_name, what, Phrase("write lists over several lines"), line=number)
    try:
        return tomllib.loads(text, parse_float=Decimal)
    except (ValueError, RecursionError, InvalidOperation) as error:
        raise _refuse_toml(error, text, file_name) from None


def _refuse_toml(error: Exception, text: str, file_name: str) -> SiteFileError:
    from config.file.toml_errors import explain_toml_error  # noqa: PLC0415 (not needed to start the lights)

    return SiteFileError((explain_toml_error(error, text, file_name),))


def refuse_file(file_name: str, what: Phrase, remedy: Phrase, *, line: int = 0) -> SiteFileError:
    """Make the error for a file as a whole."""
    problem = SiteProblem(file=file_name, line=line, key="", value="", what=what, remedy=remedy)
    return SiteFileError((problem,))


def locate(findings: Iterable[SiteFinding], text: str, file_name: str) -> tuple[SiteProblem, ...]:
    """Give each finding its line and its value as written; return all in the order of the file."""
    findings = list(findings)
    if not findings:
        return ()
    from config.file.toml_positions import Positions  # noqa: PLC0415 (not needed to start the lights)

    document, positions = read_document(text, file_name), Positions(text)
    placed = []
    for finding in findings:
        place, what = positions.find(finding.path), finding.what
        if finding.other is not None:
            what = what.fill(line=positions.find(finding.other).line)
        problem = SiteProblem(
            file=file_name,
            line=place.line,
            key=write_path(finding.path),
            value=place.value,
            what=what,
            remedy=finding.remedy,
            where=name_place(finding.path, document),
        )
        placed.append((place.offset, problem))
    placed.sort(key=lambda pair: pair[0])
    return tuple(dict.fromkeys(problem for _, problem in placed))

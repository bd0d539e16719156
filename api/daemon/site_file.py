"""The site file while the daemon runs: read again once a change of it is finished, by whoever it was made.

A file is taken for finished when it has been still for two seconds and was the same before and after it was
read. Whoever looks at it has a thread of their own: a disk that hangs holds up no light.
"""

import logging
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from config.errors import SiteFileError
from config.file.atomic_write import FileChangedError
from config.file.loader import BYTE_ORDER_MARK, LoadedSite, decode_text, parse_site, read_bytes, refuse_file
from config.phrase import Phrase

log = logging.getLogger("leerie")

# How often the file is looked at, how often while it changes, and how long it must be still.
LOOK_EVERY_S = 2.0
LOOK_AGAIN_S = 0.5
STILL_S = 2.0
# How long one that reads or edits the file waits for another.
WAIT_S = 5.0
# From now on a disk that does not answer is worth a line in the log.
HANGS_S = 60.0

Signature = tuple[int, ...]
# The text of a file, without a byte order mark; or None, and why it cannot be read.
Content = tuple[str | None, str]


@dataclass(frozen=True, kw_only=True)
class SiteFileUse:
    """What is done with the file: each may raise TimeoutError, and is then done again later.

    Attributes:
        changed: a change was noticed and is not read yet.
        unchanged: it need not be read after all.
        take: use what was read; raises SiteFileError where that is not possible.
        refuse: keep the site in use, and say why.
    """

    changed: Callable[[], None]
    unchanged: Callable[[], None]
    take: Callable[[LoadedSite], None]
    refuse: Callable[[str], None]


class SiteFile:
    """The site file on the disk, and what of it is known.

    Args:
        path: the file; a link is followed.
        text: of the file as it was read last, without a byte order mark.
        refusal: why the file was refused then, all of it; empty where that text is of the file.
        now_s: a clock that nobody sets, in seconds.
    """

    def __init__(
        self,
        path: Path,
        *,
        text: str,
        refusal: str,
        use: SiteFileUse,
        now_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self._path = path
        self._use = use
        self._now_s = now_s
        self._lock = threading.Lock()  # held by whoever reads or edits the file
        self._refused_at_start = refusal
        self._last: Content | None = None if refusal else (text, "")
        self._known: Signature | None = None  # of the file as it was read last
        self._changed: tuple[Signature, float] | None = None  # as it was found instead, and since when
        self._looks_since_s: float | None = None
        self._said_that_it_hangs = False

    def watch(self) -> None:
        """Look at the file for ever; for a thread of its own."""
        while True:
            pause_s = LOOK_EVERY_S
            try:
                pause_s = self.look()
            except TimeoutError as error:
                log.warning("the site file was not read: %s", error)
            except Exception:
                log.exception("the site file could not be looked at")
            time.sleep(pause_s)

    def look(self) -> float:
        """Look at the file once, and read it if it has changed and is still.

        Returns:
            Seconds until the next look is due.
        """
        self._looks_since_s = self._looks_since_s or self._now_s()
        found = signature_of(self._path)
        if not self._lock.acquire(timeout=WAIT_S):
            return LOOK_EVERY_S
        try:
            return self._follow(found)
        finally:
            self._lock.release()
            self._looks_since_s, self._said_that_it_hangs = None, False

    def warn_if_it_hangs(self) -> None:
        """Say once in the log that the disk does not answer; never waits."""
        since_s = self._looks_since_s
        if since_s is not None and self._now_s() - since_s >= HANGS_S and not self._said_that_it_hangs:
            self._said_that_it_hangs = True
            log.warning("%s: the disk does not answer; a change of the file is not noticed", self._path)

    def read(self) -> None:
        """Read the file now, finished or not, because somebody asks.

        Raises:
            TimeoutError: the keeper or the disk does not answer.
        """
        with self._held():
            # From before the reading: what changes meanwhile is read again.
            found = signature_of(self._path)
            self._take(found, self._read_content())

    @contextmanager
    def editing(self) -> Iterator[None]:
        """Let one edit of ours in at a time, and only where the file is as it was read last.

        Raises:
            SiteFileError: somebody has changed it and may not have finished.
            TimeoutError: somebody else reads or edits it.
        """
        with self._held():
            if self._known is None:
                self._settle()
            if signature_of(self._path) != self._known:
                what = Phrase("was changed by hand and is not read yet")
                remedy = Phrase("try again in a few seconds")
                raise refuse_file(str(self._path), what, remedy) from FileChangedError()
            yield

    def was_edited(self, loaded: LoadedSite) -> None:
        """Take note of what an edit of ours has written, within ``editing``: it need not be read again."""
        self._last = (loaded.text, "")
        self._settle()

    @contextmanager
    def _held(self) -> Iterator[None]:
        if not self._lock.acquire(timeout=WAIT_S):
            raise TimeoutError(Phrase("the site file is being read or changed; try again in a moment"))
        try:
            yield
        finally:
            self._lock.release()

    def _follow(self, found: Signature) -> float:
        """Follow what was found: nothing new, a change that may go on, or one that is finished."""
        if self._known is None:
            self._settle()
        if found == self._known:
            if self._changed is not None:
                self._use.unchanged()
                self._changed = None
            return LOOK_EVERY_S
        if self._changed is None:
            self._use.changed()
        if self._changed is None or self._changed[0] != found:
            self._changed = found, self._now_s()
        if self._now_s() - self._changed[1] < STILL_S:
            return LOOK_AGAIN_S
        content = self._read_content()
        if signature_of(self._path) != found:
            return LOOK_AGAIN_S
        if content == self._last:
            self._use.unchanged()
            self._known, self._changed = found, None
        else:
            self._take(found, content)
        return LOOK_EVERY_S

    def _take(self, found: Signature, content: Content) -> None:
        text, refusal = content
        try:
            if text is None:
                self._use.refuse(refusal)
            else:
                self._use.take(parse_site(text, str(self._path)))
        except SiteFileError as error:
            self._use.refuse(str(error))
        self._last, self._known, self._changed = content, found, None

    def _settle(self) -> None:
        """Remember the file's signature where the file still holds what was read last."""
        found, content = signature_of(self._path), self._read_content()
        if self._last is None and self._problems_of(content) == self._refused_at_start:
            self._last = content
        if content == self._last and signature_of(self._path) == found:
            self._known = found

    def _read_content(self) -> Content:
        try:
            text = decode_text(read_bytes(self._path), str(self._path))
        except SiteFileError as error:
            return None, str(error)
        return text.removeprefix(BYTE_ORDER_MARK), ""

    def _problems_of(self, content: Content) -> str:
        text, refusal = content
        if text is not None:
            try:
                parse_site(text, str(self._path))
            except SiteFileError as error:
                return str(error)
        return refusal


def signature_of(path: Path) -> Signature:
    """Give what changes whenever a file is written, replaced, moved or removed."""
    try:
        found = path.stat()
    except OSError as error:
        # So that a file that came and went again between two looks is no file that was gone all the time.
        try:
            return (error.errno or 0, path.parent.stat().st_mtime_ns)
        except OSError:
            return (error.errno or 0,)
    return (found.st_dev, found.st_ino, found.st_size, found.st_mtime_ns, found.st_ctime_ns)

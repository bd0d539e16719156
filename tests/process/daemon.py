"""The installed daemon as a process of its own, with a listener in the service manager's place."""

from __future__ import annotations

import http.client
import json
import os
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from typing import Any

from config.errors import JournalError
from controller.journal.reader import JournalReader
from controller.records.entries import Event, EventKind, Switching
from controller.records.reading import Reading
from tests.process.faketime import boot_now_s

PROGRAM = Path(sys.executable).with_name("leerie")
# A busy machine may take its time; whatever is waited for comes sooner, or the test has failed.
PATIENCE_S = 60.0
_numbers = count()


@dataclass(frozen=True, kw_only=True)
class Heard:
    """One datagram of the daemon: when it came, by the kernel's boot-time clock, and what it said."""

    boot_s: float
    said: Mapping[str, str]


class Listener:
    """The service manager's end of sd_notify(3): hears of every round, and of every change of status."""

    def __init__(self) -> None:
        """Listen."""
        self.address = f"@leerie-test-{os.getpid()}-{next(_numbers)}"
        self.heard: list[Heard] = []
        self._news = threading.Condition()
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.bind("\0" + self.address[1:])
        self._thread = threading.Thread(target=self._listen, daemon=True)
        self._thread.start()

    def wait(self, condition: Callable[[], bool], within_s: float) -> bool:
        """Wait until something holds; it is looked at whenever the daemon says a word, and now and then."""
        ends_boot_s = boot_now_s() + within_s
        with self._news:
            while not condition():
                if boot_now_s() >= ends_boot_s:
                    return False
                self._news.wait(0.05)
        return True

    def close(self) -> None:
        """Stop listening."""
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sender:
            sender.sendto(b"", "\0" + self.address[1:])
        self._thread.join()
        self._socket.close()

    def _listen(self) -> None:
        """Take datagrams until an empty one comes."""
        while datagram := self._socket.recv(4096):
            said = dict(line.split("=", 1) for line in datagram.decode().splitlines())
            with self._news:
                self.heard.append(Heard(boot_s=boot_now_s(), said=said))
                self._news.notify_all()


class Daemon:
    """One run of the daemon."""

    def __init__(
        self, process: subprocess.Popen[bytes], listener: Listener, *, state: Path, port: int
    ) -> None:
        """Take a process that was started."""
        self.process = process
        self.listener = listener
        self.journal = JournalReader(state)
        self.log_path = state.with_name(state.name + ".log")
        self.port = port

    # -- what it says ----------------------------------------------------------------------------------------

    @property
    def log(self) -> str:
        """What it wrote on its standard error."""
        return self.log_path.read_text(encoding="utf-8")

    @property
    def is_ready(self) -> bool:
        """Whether it has said that the lights are right."""
        return any("READY" in each.said for each in self.listener.heard)

    @property
    def status_line(self) -> str:
        """The last line of status that it gave; empty before the first."""
        lines = [each.said["STATUS"] for each in self.listener.heard if "STATUS" in each.said]
        return lines[-1] if lines else ""

    @property
    def switchings(self) -> list[Switching]:
        """The switchings in the journal, by instant; empty where it cannot be read now."""
        try:
            return list(self.journal.switchings())
        except JournalError:
            return []

    @property
    def events(self) -> list[Event]:
        """The events in the journal, by instant; empty where it cannot be read now."""
        try:
            return list(self.journal.events())
        except JournalError:
            return []

    @property
    def started(self) -> list[Reading]:
        """When each run in its journal began."""
        return [each.at for each in self.events if each.kind is EventKind.STARTED]

    def started_since(self, boot_s: float) -> bool:
        """Whether the journal holds a start after a time of the boot-time clock."""
        return any(each.boot_s > boot_s for each in self.started)

    def ask(self, method: str, path: str, body: object = None) -> Any:
        """Ask the API; the answer's JSON."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE_S)
        try:
            sent = None if body is None else json.dumps(body)
            connection.request(method, path, body=sent, headers={"content-type": "application/json"})
            answer = connection.getresponse()
            text = answer.read().decode()
        finally:
            connection.close()
        assert answer.status < 300, f"{method} {path}: {answer.status} {text}"
        return json.loads(text) if text else None

    def lit(self) -> set[str]:
        """The zones that are lit, by the API."""
        return {zone["id"] for zone in self.ask("GET", "/v1/zones")["zones"] if zone["lit"]}

    # -- waiting ---------------------------------------------------------------------------------------------

    def wait_until(self, what: str, condition: Callable[[], bool], within_s: float = PATIENCE_S) -> None:
        """Wait until something holds, no longer than the process runs."""

        def holds_or_is_over() -> bool:
            return condition() or self.process.poll() is not None

        came = self.listener.wait(holds_or_is_over, within_s) and condition()
        message = f"not {what} within {within_s:g} s, exit code {self.process.poll()}"
        assert came, f"{message}:\n{self.log[-3000:]}"

    def wait_for_api(self) -> None:
        """Wait until the web server answers."""

        def answers() -> bool:
            try:
                self.ask("GET", "/health")
            except OSError:
                return False
            return True

        self.wait_until("answering", answers)

    # -- ending ----------------------------------------------------------------------------------------------

    def kill(self) -> float:
        """End it with SIGKILL; the kernel's boot-time clock at that."""
        self.process.kill()
        killed_boot_s = boot_now_s()
        self.process.wait()
        return killed_boot_s

    def stop(self, within_s: float = PATIENCE_S) -> int:
        """Ask it to end, and give its exit code."""
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(within_s)


@contextmanager
def running(
    site: Path, state: Path, *, environment: Mapping[str, str] | None = None, port: int | None = None
) -> Iterator[Daemon]:
    """Start the daemon; whatever happens, it has ended at the end of the block."""
    listener = Listener()
    port = free_port() if port is None else port
    heard_from = {
        "NOTIFY_SOCKET": listener.address,
        # So that it reports every round.
        "WATCHDOG_USEC": "90000000",
    }
    inherited = {name: os.environ[name] for name in ("PATH", "HOME", "LANG") if name in os.environ}
    try:
        with state.with_name(state.name + ".log").open("ab") as log:
            process = subprocess.Popen(
                [str(PROGRAM), "run", str(site), "--state", str(state), "--port", str(port)],
                env=inherited | heard_from | dict(environment or {}),
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
            )
        try:
            yield Daemon(process, listener, state=state, port=port)
        finally:
            process.kill()
            process.wait()
    finally:
        listener.close()


def free_port() -> int:
    """Find a port of this machine that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait_for_end(process: subprocess.Popen[bytes], within_s: float) -> bool:
    """Wait for a process to end by itself; False where it still runs after that time."""
    try:
        process.wait(within_s)
    except subprocess.TimeoutExpired:
        return False
    return True

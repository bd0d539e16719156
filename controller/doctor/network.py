"""How the API is reached, and who may use it."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from config.phrase import Phrase, count_phrase, list_phrases
from controller.doctor.check import Check, error, note, split, warning, well

_ENDS_SOON = timedelta(days=30)
_LOG = Phrase("read the log of Leerie")

Answer = Literal["this site", "another site", "another version", "another program", "nobody"]
"""Who answers on the port of the API."""


@dataclass(frozen=True, kw_only=True, slots=True)
class NetworkFacts:
    """What was found of the network.

    Attributes:
        site: name of the site; ``answers_for`` that of the daemon which answers, empty where none does.
        kept: whether a keeper of the state folder runs, whoever answers.
        installed: whether the service manager starts Leerie.
        opens_home: whether the site file opens the home network.
        home: the addresses there, as the daemon says, or as it would be.
        missing: addresses that the site file names and this machine does not have.
        announces: whether a name is to be announced there; ``announced`` are those.
        faults: what the daemon says is wrong.
        certificate_fault: why the certificate cannot be used; ``certificate_ends_utc`` when it ends.
        now_utc: None where the clock is not trusted.
    """

    site: str
    port: int
    answer: Answer
    answers_for: str = ""
    kept: bool = False
    installed: bool = False
    opens_home: bool = False
    home: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    announces: bool = False
    announced: tuple[str, ...] = ()
    faults: tuple[str, ...] = ()
    certificate_fault: str = ""
    certificate_ends_utc: datetime | None = None
    now_utc: datetime | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class AccessFacts:
    """Who is let in; ``devices`` is None where that is not known."""

    opens_home: bool
    devices: int | None = None
    failed_tries: int = 0
    fault: str = ""


def judge_network(facts: NetworkFacts) -> Iterator[Check]:
    """Say who answers on the port, and whether the home network reaches it as the site file asks."""
    yield from _port(facts)
    for fault in facts.faults:
        yield error("network", *split(fault, _LOG))
    if facts.missing:
        yield warning(
            "network",
            Phrase(
                "this machine does not have the address {addresses}", addresses=list_phrases(facts.missing)
            ),
            Phrase('write its present addresses under [network], or listen = "home"'),
        )
    elif facts.opens_home and not facts.home:
        yield warning(
            "network",
            Phrase("this machine has no address in a home network, so that no phone reaches it"),
            Phrase("connect its network; the address is opened once it is there"),
        )
    elif facts.opens_home:
        yield well("network", Phrase("home network: {addresses}", addresses=list_phrases(facts.home)))
    if facts.announces and facts.answer == "this site" and facts.home and not facts.faults:
        yield from _name(facts)
    yield from _certificate(facts)


def _port(facts: NetworkFacts) -> Iterator[Check]:
    port = str(facts.port)
    match facts.answer:
        case "this site":
            yield well("network", Phrase("the daemon answers on port {port}", port=port))
        case "another site":
            what = Phrase(
                "the daemon on port {port} keeps “{other}”, not “{site}”",
                port=port,
                other=facts.answers_for,
                site=facts.site,
            )
            yield error("network", what, Phrase("give one of the two another port under [network]"))
        case "another version":
            what = Phrase("the daemon on port {port} is of another version than this command", port=port)
            yield warning(
                "network", what, Phrase("restart it: {command}", command="sudo systemctl restart leerie")
            )
        case "another program":
            what = Phrase("port {port} is used by another program", port=port)
            yield error("network", what, Phrase("end that program, or write another port under [network]"))
        case "nobody" if facts.kept:
            what = Phrase("Leerie keeps the lights, but nothing answers on port {port}", port=port)
            yield error("network", what, Phrase("read its log, or name its port with --port"))
        case "nobody":
            start = "sudo systemctl start leerie" if facts.installed else "leerie run SITE.toml"
            what = Phrase(
                "no daemon runs: nothing answers on port {port}, and nobody keeps the lights", port=port
            )
            yield warning("network", what, Phrase("start it: {command}", command=start))


def _name(facts: NetworkFacts) -> Iterator[Check]:
    if facts.announced:
        names = list_phrases(facts.announced)
        yield well("network", Phrase("announced by multicast DNS as {names}", names=names))
    else:
        yield note(
            "network",
            Phrase("no name is announced by multicast DNS yet"),
            Phrase("run this again in a minute; else use the address, which always works"),
        )


def _certificate(facts: NetworkFacts) -> Iterator[Check]:
    replace = Phrase("put a new one in its place; no restart is needed")
    if facts.certificate_fault:
        yield error("network", *split(facts.certificate_fault, replace))
    ends = facts.certificate_ends_utc
    if ends is None or facts.now_utc is None:
        return
    left = ends - facts.now_utc
    if left <= timedelta(0):
        yield error("network", Phrase("the certificate ended on {day}", day=ends.date()), replace)
    elif left < _ENDS_SOON:
        what = count_phrase(
            "the certificate ends within {n} day, on {day}", "the certificate ends within {n} days, on {day}",
            left.days + 1,
            day=ends.date(),
        )  # fmt: skip
        yield warning("network", what, replace)
    else:
        yield well("network", Phrase("the certificate ends on {day}", day=ends.date()))


def judge_access(facts: AccessFacts) -> Iterator[Check]:
    """Say who is let in from the home network."""
    if facts.fault:
        yield error("access", *split(facts.fault, _LOG))
    if facts.failed_tries:
        what = count_phrase(
            "{n} wrong code or token was tried since the start",
            "{n} wrong codes or tokens were tried since the start",
            facts.failed_tries,
        )
        yield note("access", what, Phrase("the log says from which address"))
    if facts.devices is None:
        return
    if facts.opens_home and not facts.devices:
        command = "leerie access pair SITE.toml"
        remedy = Phrase("let a phone in: {command}", command=command)
        yield note("access", Phrase("the home network is open, but no device is let in"), remedy)
    else:
        yield well("access", count_phrase("{n} device is let in", "{n} devices are let in", facts.devices))

"""Every kind of problem that the web server can answer with.

The name of a kind is part of the contract: it stands in ``type`` as ``/problems/NAME`` and never changes. The
title is the same for every problem of a kind; what happened this time stands in the problem's detail.
Source of the form: RFC 9457, section 3.
"""

from __future__ import annotations

from dataclasses import dataclass

PROBLEM_TYPE = "application/problem+json"


@dataclass(frozen=True, kw_only=True, slots=True)
class ProblemType:
    """One kind of problem.

    Attributes:
        name: its name in ``type``.
        status: the status code that it is answered with.
        title: a few words, always the same.
        remedy: what would do, for somebody who looks the kind up.
        again_s: after how many seconds it is worth asking again; None where asking again changes nothing.
    """

    name: str
    status: int
    title: str
    remedy: str
    again_s: int | None = None


_ALL = (
    ProblemType(name="not-http", status=400, title="This is not HTTP", remedy="Speak HTTP/1.1 to this port."),
    ProblemType(
        name="not-json",
        status=400,
        title="The body is not JSON",
        remedy="Send one JSON object, in UTF-8.",
    ),
    ProblemType(
        name="cross-site",
        status=403,
        title="Another site's page may not change anything here",
        remedy="Send the request from Leerie's own page, or from a program that sends no Origin.",
    ),
    ProblemType(
        name="demonstration",
        status=403,
        title="A demonstration writes nothing",
        remedy="Start Leerie with a site file of your own to change programs.",
    ),
    ProblemType(
        name="not-found", status=404, title="There is nothing here", remedy="GET / lists what there is."
    ),
    ProblemType(
        name="unknown-zone",
        status=404,
        title="No such zone",
        remedy="GET /v1/zones lists the zones with their ids.",
    ),
    ProblemType(
        name="unknown-transformer",
        status=404,
        title="No such transformer",
        remedy="GET /v1/wiring lists the transformers with their ids.",
    ),
    ProblemType(
        name="method-not-allowed",
        status=405,
        title="This can be done here in another way only",
        remedy="Use one of the methods that the header Allow names.",
    ),
    ProblemType(
        name="too-slow",
        status=408,
        title="The request took too long to arrive",
        remedy="Send it again, all at once.",
        again_s=1,
    ),
    ProblemType(
        name="site-file-changed",
        status=409,
        title="Somebody else changed the site file meanwhile",
        remedy="Look at the zone again, then send the change again.",
        again_s=1,
    ),
    ProblemType(
        name="too-large",
        status=413,
        title="The body is too large",
        remedy="Send at most 64 kB; a program is a few lines.",
    ),
    ProblemType(
        name="not-json-type",
        status=415,
        title="Only JSON is read here",
        remedy="Send the body as JSON, with the header Content-Type: application/json.",
    ),
    ProblemType(
        name="wrong-host",
        status=421,
        title="This server does not go by that name",
        remedy="Use http://localhost or http://127.0.0.1 with the port.",
    ),
    ProblemType(
        name="invalid-request",
        status=422,
        title="Something in the request will not do",
        remedy="Put right what stands under errors; GET /openapi.json says what each field may be.",
    ),
    ProblemType(
        name="not-a-program",
        status=422,
        title="This is not in the program language",
        remedy="Write spans such as “dusk to midnight”, “dusk for 4h” or “17:00 to 23:00, while dark”.",
    ),
    ProblemType(
        name="override-refused",
        status=422,
        title="This override cannot be kept",
        remedy="Name an end that is still to come, or say for how long.",
    ),
    ProblemType(
        name="site-file-refused",
        status=422,
        title="The site file with this change would not do",
        remedy="Put right what stands under problems; the file was not touched.",
    ),
    ProblemType(
        name="fault",
        status=500,
        title="A fault of Leerie's own",
        remedy="The lights are kept all the same. The log says more.",
    ),
    ProblemType(
        name="keeper-late",
        status=503,
        title="The keeper is late",
        remedy="Look at the log; the service manager starts a keeper again that stays stuck.",
        again_s=30,
    ),
    ProblemType(
        name="keeper-silent",
        status=503,
        title="The keeper did not answer",
        remedy="Look at the zone before you ask again: the wish may have been taken.",
        again_s=5,
    ),
    ProblemType(
        name="journal-unreadable",
        status=503,
        title="The journal cannot be read now",
        remedy="The lights are kept without it. The detail says what would do.",
        again_s=30,
    ),
    ProblemType(
        name="site-file-unwritable",
        status=503,
        title="The site file cannot be written",
        remedy="Make the file and its folder writable for Leerie; the old file is intact.",
        again_s=30,
    ),
    ProblemType(
        name="stopping",
        status=503,
        title="Leerie is being stopped",
        remedy="Ask again when it runs.",
        again_s=5,
    ),
    ProblemType(
        name="too-busy",
        status=503,
        title="Too many requests at once",
        remedy="Wait for answers before sending more requests.",
        again_s=5,
    ),
    ProblemType(
        name="disk-full",
        status=507,
        title="There is no room to write the site file",
        remedy="Make room on the disk; the old file is intact.",
        again_s=30,
    ),
)

KINDS = {kind.name: kind for kind in _ALL}

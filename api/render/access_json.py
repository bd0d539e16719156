"""Who is let in, as JSON: codes, tokens and sessions."""

from datetime import datetime

from pydantic import Field

from api.access.client import ClientKind
from api.access.codes import LASTS_S, PairingCode
from api.access.credentials import Credential, Kind, Scope
from api.render.instants import instant_text
from api.render.model import Instant, ResponseModel

SCOPE = "what it may do: “read” everything, “control” everything, or read the “calendar” alone"


class CodeResponse(ResponseModel):
    """A pairing code, which is shown this once."""

    code: str = Field(
        description="to be typed in; capitals, blanks and hyphens do not matter", examples=["7K4M-2W9R-3H6X"]
    )
    scope: Scope = Field(description=SCOPE)
    name: str | None = Field(
        description="of the device; null where it chooses one", examples=["kitchen phone"]
    )
    ends_at: Instant = Field(description="when it is void, used or not")
    lasts_s: float = Field(description="seconds that it can be used for, once", examples=[LASTS_S])


class CredentialResponse(ResponseModel):
    """A token or a session, without its secret."""

    id: str = Field(description="its public name, with which it is revoked", examples=["3f9a12bc"])
    kind: Kind = Field(description="“token”, or “session” of a page")
    scope: Scope = Field(description=SCOPE)
    name: str = Field(description="what the device is called", examples=["kitchen phone"])
    made_at: Instant = Field(description="when it was made")
    used_at: Instant | None = Field(description="when it was last used; null where it never was")
    token_id: str | None = Field(
        description="of a session: the token that it was signed in with, and ends with; else null",
        examples=["3f9a12bc"],
    )


class TokenResponse(CredentialResponse):
    """A new token with its secret, which is shown this once."""

    token: str = Field(
        description="to be sent in the header: `Authorization: Bearer TOKEN`",
        examples=["WkN2dGJ1c2p0a3Z5d2Z4b2h6cWxtcGRyZ25jYWVpdXk"],
    )
    calendar: str | None = Field(
        description="the path that a calendar program subscribes to; null where the token is for more",
        examples=["/v1/calendar/WkN2dGJ1c2p0a3Z5d2Z4b2h6cWxtcGRyZ25jYWVpdXk.ics"],
    )


class CredentialsResponse(ResponseModel):
    """Every device that is let in."""

    tokens: list[CredentialResponse] = Field(description="tokens and sessions, the oldest first")


class ClientResponse(ResponseModel):
    """Who sends this request, and what they may do."""

    kind: ClientKind = Field(description="“board”, or “home” for the home network")
    address: str = Field(description="where the request came from", examples=["192.168.1.20"])
    name: str = Field(
        description="what log and journal call the sender: the device, or its address",
        examples=["kitchen phone"],
    )
    may_read: bool = Field(description="whether it may read everything")
    may_control: bool = Field(description="whether it may change something")
    id: str | None = Field(
        description="public name of the token or session that was shown; null without one",
        examples=["3f9a12bc"],
    )


def code_response(code: PairingCode, ends_at_utc: datetime) -> CodeResponse:
    """Describe a pairing code."""
    ends_at = instant_text(ends_at_utc)
    return CodeResponse(code=code.text, scope=code.scope, name=code.name, ends_at=ends_at, lasts_s=LASTS_S)


def credential_response(
    credential: Credential, *, made_utc: datetime, used_utc: datetime | None
) -> CredentialResponse:
    """Describe a token or a session, with its times by the clock as it is now."""
    return CredentialResponse(
        id=credential.id,
        kind=credential.kind,
        scope=credential.scope,
        name=credential.name,
        made_at=instant_text(made_utc),
        used_at=None if used_utc is None else instant_text(used_utc),
        token_id=credential.token_id,
    )


def token_response(credential: Credential, secret: str, *, made_utc: datetime) -> TokenResponse:
    """Describe a new token."""
    known = credential_response(credential, made_utc=made_utc, used_utc=None)
    calendar = f"/v1/calendar/{secret}.ics" if credential.scope is Scope.CALENDAR else None
    return TokenResponse(**dict(known), token=secret, calendar=calendar)

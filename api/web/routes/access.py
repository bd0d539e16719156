"""Routes of who is let in: pairing codes, tokens, and the session of the page."""

from datetime import timedelta
from typing import Annotated, Self

from fastapi import APIRouter, Path, Request, Response
from pydantic import AfterValidator, ConfigDict, Field, model_validator

from api.access.codes import LASTS_S
from api.access.credentials import LONGEST_NAME, Credential, Kind, Scope, checked_name
from api.render.access_json import (
    SCOPE,
    ClientResponse,
    CodeResponse,
    CredentialResponse,
    CredentialsResponse,
    TokenResponse,
    code_response,
    credential_response,
    token_response,
)
from api.render.instants import quote
from api.web.context import Context, ShortRoute, json_response
from api.web.permission import Caller, find_session, set_session_cookie
from api.web.problems.types import ProblemError, problems_of
from api.web.schemas.fields import RequestModel
from api.web.schemas.zones import by_present_clock
from controller.records.reading import Reading

router = APIRouter(tags=["access"], route_class=ShortRoute)

_LONGEST_SECRET = 100
DeviceName = Annotated[
    str,
    AfterValidator(checked_name),
    Field(min_length=1, max_length=LONGEST_NAME, examples=["kitchen phone"]),
]
Code = Annotated[str, Field(max_length=_LONGEST_SECRET, examples=["7K4M-2W9R-3H6X"])]
TokenId = Annotated[str, Path(description="as the list has it", examples=["3f9a12bc"])]


class CodeRequest(RequestModel):
    """What the code is for."""

    scope: Scope = Field(Scope.CONTROL, description=SCOPE, strict=False)
    name: DeviceName | None = Field(None, description="of the device; it chooses one if left out")


class TokenRequest(RequestModel):
    """A pairing code that becomes a token."""

    code: Code = Field(description="the pairing code")
    name: DeviceName | None = Field(None, description="of this device, where none was chosen with the code")


class SessionRequest(RequestModel):
    """What the session is made of: a pairing code, or a token."""

    # What ``_one`` checks, in the words of JSON Schema.
    model_config = ConfigDict(
        json_schema_extra={
            "oneOf": [
                {"required": [name], "properties": {name: {"type": "string"}}} for name in ("code", "token")
            ]
        }
    )

    code: Code | None = Field(None, description="a pairing code")
    token: Annotated[str, Field(max_length=_LONGEST_SECRET)] | None = Field(
        None, description="or a token", examples=["WkN2dGJ1c2p0a3Z5d2Z4b2h6cWxtcGRyZ25jYWVpdXk"]
    )
    name: DeviceName | None = Field(None, description="of this device, where none was chosen with the code")

    @model_validator(mode="after")
    def _one(self) -> Self:
        if (self.code is None) is (self.token is None):
            raise ValueError("give “code” or “token”, and not both")
        return self


@router.get("/v1/access", summary="Who sends this, and what they may do", response_model=ClientResponse)
async def get_access(client: Caller) -> Response:
    """Show whom Leerie takes the sender for; on the home network nobody needs permission for this."""
    found = ClientResponse(
        kind=client.kind,
        address=client.address,
        name=client.name,
        may_read=client.may_read,
        may_control=client.may_control,
        id=client.session_id or client.token_id,
    )
    return json_response(found)


@router.post(
    "/v1/access/codes",
    summary="Make a pairing code",
    status_code=201,
    responses={
        201: {
            "links": {
                "pair": {
                    "operationId": "post_token",
                    "requestBody": {"code": "$response.body#/code", "name": "kitchen phone"},
                    "description": "the device that is let in sends the code",
                }
            }
        },
        **problems_of("access-unwritable"),
    },
)
def post_code(context: Context, client: Caller, body: CodeRequest) -> CodeResponse:
    """Make a code that a person types into another device: once, within ten minutes.

    After ten wrong tries it is void.
    """
    now = context.now()
    code = context.access.make_code(body.scope, name=body.name, by=client.name, now=now)
    return code_response(code, now.utc + timedelta(seconds=LASTS_S))


@router.post(
    "/v1/access/tokens",
    summary="Exchange a pairing code for a token",
    status_code=201,
    responses={
        201: {
            "links": {
                "revoke": {
                    "operationId": "delete_token",
                    "parameters": {"token_id": "$response.body#/id"},
                    "description": "shuts the device out again",
                }
            }
        },
        **problems_of("too-many-requests", "access-unwritable"),
    },
)
def post_token(context: Context, client: Caller, body: TokenRequest) -> TokenResponse:
    """Use a pairing code up, and get a token for it; nobody needs permission for this.

    After five wrong codes within a minute, from whomever, none is looked at for a while.
    """
    now = context.now()
    made, secret = context.access.pair(body.code, Kind.TOKEN, name=body.name, address=client.address, now=now)
    return token_response(made, secret, made_utc=now.utc)


@router.get("/v1/access/tokens", summary="Every device that is let in")
def get_tokens(context: Context) -> CredentialsResponse:
    """List tokens and sessions: what each may do, when it was made and last used."""
    now = context.now()
    return CredentialsResponse(tokens=[_describe(each, now) for each in context.access.credentials(now)])


@router.delete(
    "/v1/access/tokens/{token_id}",
    summary="Revoke a token or a session",
    status_code=204,
    response_class=Response,
    responses=problems_of("unknown-token", "access-unwritable"),
)
def delete_token(context: Context, client: Caller, token_id: TokenId) -> None:
    """Shut a device out, from its next request on; a token's sessions end with it."""
    if context.access.revoke(token_id, by=client.name, now=context.now()) is None:
        where = "leerie access list and GET /v1/access/tokens show their ids"
        words = f"no token or session {quote(token_id)} is known; {where}"
        raise ProblemError("unknown-token", words)


@router.post(
    "/v1/access/session",
    summary="Sign in",
    status_code=201,
    responses=problems_of("too-many-requests", "access-unwritable"),
)
def post_session(
    context: Context, client: Caller, body: SessionRequest, request: Request, response: Response
) -> CredentialResponse:
    """Begin a session of the page, with a pairing code or a token; its cookie is in the response.

    It always has a new id; a session that was there before is over. It ends after 30 days without use, and
    after a year. Nobody needs permission for this.
    """
    access, now = context.access, context.now()
    earlier = find_session(request.scope, access, now)
    replaces = None if earlier is None else earlier.id
    if body.token is not None:
        made, secret = access.sign_in(body.token, address=client.address, now=now, replaces=replaces)
    else:
        made, secret = access.pair(
            body.code or "", Kind.SESSION, name=body.name, address=client.address, now=now, replaces=replaces
        )
    set_session_cookie(request, response, access, secret)
    return _describe(made, now)


@router.delete(
    "/v1/access/session",
    summary="Sign out",
    status_code=204,
    response_class=Response,
    responses=problems_of("access-unwritable"),
)
def delete_session(context: Context, request: Request, response: Response) -> None:
    """End the session of the page; no error where there is none."""
    now = context.now()
    session = find_session(request.scope, context.access, now)
    if session is not None:
        context.access.revoke(session.id, by=session.name, now=now)
    set_session_cookie(request, response, context.access, None)


def _describe(credential: Credential, now: Reading) -> CredentialResponse:
    return credential_response(
        credential,
        made_utc=by_present_clock(credential.made, now),
        used_utc=None if credential.used is None else by_present_clock(credential.used, now),
    )

"""The route that checks a proposed site file, before anybody writes it."""

from fastapi import APIRouter, Response
from pydantic import Field

from api.render.check_json import CheckResponse, check_response, find_problems, refused_response
from api.web.context import Context, LongRoute, json_response
from api.web.schemas.fields import DateField, RequestModel
from config.errors import SiteFileError
from config.file.loader import parse_site

FILE_NAME = "site.toml"

router = APIRouter(tags=["site"], route_class=LongRoute)


class CheckRequest(RequestModel):
    """A proposed site file."""

    text: str = Field(
        description="the whole text of the file, in TOML",
        examples=['[site]\nname = "Saltmarsh Lodge"\nlatitude = 41.4901\n'],
    )
    first: DateField | None = Field(
        None, alias="from", description="the first night of the year that is looked at; tonight if left out"
    )


@router.post("/v1/check", summary="Check a proposed site file", response_model=CheckResponse)
def post_check(context: Context, body: CheckRequest) -> Response:
    """List every problem of a site file that somebody may want to use, and what the year's sun makes of it.

    Nothing is written, and nothing changes. A file that cannot be used is an answer too, and no error of the
    request.
    """
    # One after the other with other long work.
    with context.years.turn:
        try:
            loaded = parse_site(body.text, FILE_NAME)
        except SiteFileError as error:
            return json_response(refused_response(error.problems))
        problems = find_problems(loaded, body.first, now_utc=context.now().utc)
        return json_response(check_response(loaded, problems))

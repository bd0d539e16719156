"""The screen of one zone's program: to read, to change, and to see what a change would do."""

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response

from api.page.answer import go, show, words_for
from api.page.forms import OwnForm
from api.page.page_route import LongPageRoute, PageRoute
from api.page.programs.choices import choices_of
from api.page.programs.form import ProgramDraft, draft_of, read_draft
from api.page.programs.last_change import ChangedMeanwhile, Program, last_change, program_of
from api.page.programs.overview import change_prose, program_sentences, view_of
from api.page.programs.preview import Preview, preview
from api.page.sentences import who_words
from api.page.span_prose import capital
from api.page.tonight import night_shown
from api.render.words import Words
from api.web.conditions import tag_of
from api.web.context import Context, RequestContext
from api.web.permission import Caller
from api.web.problems.types import ProblemError
from api.web.schemas.zones import program_response
from config.errors import SiteFileError
from config.file.editor import write_programs
from config.models.site import Site
from config.phrase import list_phrases

router = APIRouter(route_class=PageRoute, include_in_schema=False)
long_router = APIRouter(route_class=LongPageRoute, include_in_schema=False)

ZoneId = Annotated[str, Path()]


@router.get("/programs/{zone_id}")
def get_program(request: Request, context: Context, zone_id: ZoneId) -> Response:
    """Show one zone's program, to be changed by whoever may."""
    site = context.gateway.site
    return _show(request, context, zone_id, draft_of(program_of(site, zone_id)), seen=_tag(site, zone_id))


@router.post("/programs/{zone_id}")
def post_program(
    request: Request, context: Context, client: Caller, zone_id: ZoneId, form: OwnForm
) -> Response:
    """Save a program, or draw the form with something added, removed or moved."""
    draft, seen, do = read_draft(form), form["seen"], form["do"]
    context.gateway.site.zone(zone_id)
    if do not in ("save", "open", "everywhere"):
        try:
            draft = draft.after(do)
        except ValueError as error:
            raise ProblemError("invalid-request", str(error)) from None
    program = draft.program
    if do not in ("save", "everywhere") or program is None or draft.is_unclear:
        status = 422 if do in ("save", "everywhere") else 200
        return _show(request, context, zone_id, draft, seen=seen, status=status)
    if do == "everywhere":
        return _ask_where(request, context, zone_id, draft, program, seen=seen)

    def require(site: Site) -> None:
        if _tag(site, zone_id) != seen and program_of(site, zone_id) != program:
            raise ChangedMeanwhile

    try:
        context.write_site(
            lambda path: write_programs(path, {zone_id: program}),
            f"the program of {zone_id} was changed",
            by=client.name,
            require=require,
        )
    except ChangedMeanwhile:
        return _ask_which(request, context, zone_id, draft, program)
    except SiteFileError as error:
        return _show(request, context, zone_id, draft, seen=seen, refused=error)
    return go(f"/programs#{zone_id}")


@long_router.post("/programs/{zone_id}/preview")
def post_preview(request: Request, context: Context, zone_id: ZoneId, form: OwnForm) -> Response:
    """Show what a program would do: in three nights, and in a year beside the present one."""
    draft, words = read_draft(form), words_for(request)
    program, shown = draft.program, None
    if program is not None:
        now_utc = context.now().utc
        with context.years.planner_like(context.gateway.planner) as planner:
            shown = preview(planner, zone_id, program, now_utc, words)
    return _show(request, context, zone_id, draft, seen=form["seen"], shown=shown)


router.routes.extend(long_router.routes)


@router.post("/programs/{zone_id}/everywhere")
def post_everywhere(
    request: Request, context: Context, client: Caller, zone_id: ZoneId, form: OwnForm
) -> Response:
    """Save one program for all zones that are ticked, in one change that can be undone as one."""
    draft, seen = read_draft(form), form["seen"]
    program, site = draft.program, context.gateway.site
    site.zone(zone_id)
    if program is None:
        return _show(request, context, zone_id, draft, seen=seen, status=422)
    zones = [zone.id for zone in site.zones if f"zone-{zone.id}" in form]
    if not zones:
        return _ask_where(request, context, zone_id, draft, program, seen=seen, mistake="none")

    def require(now: Site) -> None:
        if any(_tag(now, zone) != form[f"tag-{zone}"] for zone in zones):
            raise ChangedMeanwhile

    try:
        context.write_site(
            lambda path: write_programs(path, dict.fromkeys(zones, program)),
            f"the program of {', '.join(zones)} was changed",
            by=client.name,
            require=require,
        )
    except ChangedMeanwhile:
        return _ask_where(request, context, zone_id, draft, program, seen=seen, mistake="changed")
    except SiteFileError as error:
        return _show(request, context, zone_id, draft, seen=seen, refused=error)
    return go("/programs")


def _tag(site: Site, zone_id: str) -> str:
    """Give the ETag of a zone's program, as GET /v1/zones/{zone_id}/program does."""
    return tag_of(program_response(site.zone(zone_id)).model_dump_json().encode())


def _show(
    request: Request,
    context: RequestContext,
    zone_id: str,
    draft: ProgramDraft,
    *,
    seen: str,
    status: int = 200,
    shown: Preview | None = None,
    refused: SiteFileError | None = None,
) -> Response:
    words, now, zone = words_for(request), context.now(), context.gateway.site.zone(zone_id)
    with context.planner_lock:
        planner = context.gateway.planner
        tonight = planner.plan(zone_id, night_shown(planner, now.utc))
    change = last_change(context)
    is_ours = change is not None and zone_id in change.before
    return show(
        request,
        "program.html",
        status=status if refused is None else 422,
        words=words,
        zone=view_of(zone, tonight, words),
        draft=draft,
        said=[_part_prose(draft, number, words) for number in range(len(draft.parts))],
        choices=choices_of(words),
        seen=seen,
        preview=shown,
        problems=[]
        if refused is None
        else [list_phrases([each.what, each.remedy], "; ") for each in refused.problems],
        change=change_prose(change, context.gateway.site, now, words) if change and is_ours else None,
    )


def _part_prose(draft: ProgramDraft, number: int, words: Words) -> str:
    """Say one part of the form; nothing where it is a mistake."""
    part = draft.parts[number]
    if part.program is None:
        return ""
    if part.nights is None:
        return program_sentences((part.program, ()), words)[0]
    one = ProgramDraft(parts=(draft.parts[0], part)).program
    return "" if one is None else program_sentences(one, words)[1]


def _ask_which(
    request: Request, context: RequestContext, zone_id: str, draft: ProgramDraft, program: Program
) -> Response:
    """Show what somebody else saved meanwhile beside what was to be saved, and ask which is to be."""
    words, site = words_for(request), context.gateway.site
    change = last_change(context)
    is_theirs = change is not None and zone_id in change.before
    return show(
        request,
        "program_conflict.html",
        status=412,
        words=words,
        zone_id=zone_id,
        name=site.zone(zone_id).name,
        theirs=program_sentences(program_of(site, zone_id), words),
        ours=program_sentences(program, words),
        who=capital(who_words(change.by, words)) if change and is_theirs else "",
        fields=list(draft.fields()),
        seen=_tag(site, zone_id),
    )


def _ask_where(
    request: Request,
    context: RequestContext,
    zone_id: str,
    draft: ProgramDraft,
    program: Program,
    *,
    seen: str,
    mistake: str = "",
) -> Response:
    """Show what each zone does now, and ask which of them are to have this program."""
    words, site = words_for(request), context.gateway.site
    zones = [
        {
            "id": zone.id,
            "name": zone.name,
            "now": program_sentences(program_of(site, zone.id), words),
            "has_it": program_of(site, zone.id) == program,
            "in_service": zone.out_of_service is None,
            "tag": _tag(site, zone.id),
        }
        for zone in site.zones
    ]
    return show(
        request,
        "program_everywhere.html",
        status={"": 200, "none": 422, "changed": 412}[mistake],
        words=words,
        zone_id=zone_id,
        said=program_sentences(program, words),
        zones=zones,
        fields=list(draft.fields()),
        seen=seen,
        mistake=mistake,
    )

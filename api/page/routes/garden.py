"""The garden as its site file has it, in short sections, and a form for each of its parts."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path as FilePath
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request, Response

from api.page.answer import go, show, words_for
from api.page.forms import OwnForm
from api.page.garden.change import change_part, complete, read_form, require_board
from api.page.garden.fields import FieldError
from api.page.garden.last_change import GardenChange, How
from api.page.garden.overview import show_garden
from api.page.garden.parts import Part, find_part, find_seen
from api.page.garden.place import with_place
from api.page.garden.surroundings import surroundings
from api.page.page_route import PageRoute
from api.web.context import Context
from api.web.permission import Caller
from api.web.problems.types import ProblemError
from config.errors import SiteFileError, SiteProblem
from config.file.editor import edit_site, restore_text
from config.file.loader import BYTE_ORDER_MARK, LoadedSite, parse_site, read_document
from config.file.toml_editor import TomlEditor
from config.models.site import SITE_KEYS
from config.phrase import Phrase
from config.validation.finding import write_path

router = APIRouter(route_class=PageRoute, include_in_schema=False)

Where = Annotated[str, Path()]


class _ChangedMeanwhile(Exception):  # noqa: N818 - not an error, but a question for a person
    """Somebody else changed this part while this client looked at it."""


@router.get("/garden")
def get_garden(request: Request, context: Context) -> Response:
    """Show the garden in short sections."""
    words = words_for(request)
    loaded = _load(context)
    document, warnings = _document(context), loaded.warnings if loaded else ()
    garden = show_garden(context.gateway.site, document, warnings, words)
    change = _last_change(request)
    if change is not None and (loaded is None or change.after != loaded.text):
        change = None  # something else was changed since
    said = {"id": change.id, "said": change.prose(context.now(), words)} if change is not None else None
    return show(request, "garden.html", words=words, garden=garden, change=said)


@router.post("/garden")
def post_undo(request: Request, context: Context, client: Caller, form: OwnForm) -> Response:
    """Take the last change back, while the file is as that one left it."""
    change = _last_change(request)
    if change is None or change.id != form["change"]:
        words = Phrase("somebody changed the garden meanwhile; look at it first")
        raise ProblemError("changed-meanwhile", words)
    context.write_site(
        lambda path: restore_text(path, change.before, expected=change.after),
        f"the last change of {write_path(change.part.path)} was taken back",
        by=client.name,
    )
    request.app.state.garden_change = change.undone(by=client.name, at=context.now())
    return go("/garden")


def _last_change(request: Request) -> GardenChange | None:
    change: GardenChange | None = getattr(request.app.state, "garden_change", None)
    return change


@router.get("/garden/new/{where:path}")
def get_new(
    request: Request, context: Context, where: Where, begins: Annotated[str, Query(alias="from")] = ""
) -> Response:
    """Show the form of a new zone, transformer, cable, price or kind of lamp."""
    return _form(
        request, context, find_part(_document(context), where.split("/"), is_new=True, begins=begins)
    )


@router.get("/garden/{where:path}")
def get_part(request: Request, context: Context, where: Where) -> Response:
    """Show the form of a part."""
    return _form(request, context, find_part(_document(context), where.split("/")))


@router.post("/garden/new/{where:path}")
def post_new(request: Request, context: Context, form: OwnForm, where: Where) -> Response:
    """Add a part to the site file."""
    return _write(request, context, form, where, is_new=True)


@router.post("/garden/remove/{where:path}")
def post_remove(request: Request, context: Context, form: OwnForm, where: Where) -> Response:
    """Take a part out of the site file, if it still is as the form showed it."""
    part = find_seen(_document(context), where.split("/"), form["seen"])

    def change(editor: TomlEditor) -> None:
        now = find_seen(editor.values, where.split("/"), form["seen"])
        _require_same(now, form)
        editor.remove_table(now.path)

    return _edit(request, context, part, change, note=f"{where} was taken out of the site")


@router.post("/garden/{where:path}")
def post_part(request: Request, context: Context, form: OwnForm, where: Where) -> Response:
    """Write what was changed of a part into the site file."""
    return _write(request, context, form, where)


def _write(
    request: Request, context: Context, form: Mapping[str, str], where: str, *, is_new: bool = False
) -> Response:
    document, words = _document(context), where.split("/")
    try:
        part = find_part(document, words, is_new=True) if is_new else find_seen(document, words, form["seen"])
    except ProblemError:
        if is_new or len(words) == 1:
            raise
        return _show_that_it_is_gone(request, context, form, document, words)
    values, mistakes = read_form(part, form)
    try:
        values = with_place(values, document.get("site", {}))
        require_board(part, values)
    except FieldError as error:
        mistakes.setdefault(error.key, str(error))
    typed = {field.key: field.written(form) for field in part.fields}
    if mistakes:
        return _form(request, context, part, status=422, typed=typed, mistakes=mistakes)
    if not values:
        return go(part.back)
    values = complete(part, values, document)

    def change(editor: TomlEditor) -> None:
        if is_new:
            now = find_part(editor.values, words, is_new=True)
        else:
            now = find_seen(editor.values, words, form["seen"])
            _require_same(now, form)
        change_part(now, values)(editor)

    note = f"{where} was {'added to' if is_new else 'changed in'} the site"
    return _edit(request, context, part, change, note=note, typed=typed)


def _edit(
    request: Request,
    context: Context,
    part: Part,
    change: Callable[[TomlEditor], None],
    *,
    note: str,
    typed: Mapping[str, str] | None = None,
) -> Response:
    """Change the site file, or show the form again with what is in the way."""
    by, before, after = request.state.client.name, "", ""

    def edit(path: FilePath) -> LoadedSite:
        nonlocal before, after
        before = _text(path)
        loaded = edit_site(path, change)
        after = loaded.text
        return loaded

    try:
        context.write_site(edit, note, by=by)
    except _ChangedMeanwhile as late:
        (now,) = late.args
        return _form(request, context, now, status=412, typed=typed, is_late=True)
    except SiteFileError as error:
        return _form(request, context, part, status=422, typed=typed, problems=error.problems)
    if after != before:
        how: How = "taken out" if typed is None else "added" if part.is_new else "changed"
        request.app.state.garden_change = GardenChange(
            part=part, how=how, by=by, at=context.now(), before=before, after=after
        )
    return go(part.back)


def _show_that_it_is_gone(
    request: Request, context: Context, form: Mapping[str, str], document: Mapping[str, Any], words: list[str]
) -> Response:
    """Show what somebody filled in of something that somebody else took out, which may be added again."""
    part = find_part(document, words[:-1], is_new=True)
    typed = {field.key: field.written(form) for field in part.fields}
    return _form(request, context, part, status=412, typed=typed, is_late=True)


def _require_same(now: Part, form: Mapping[str, str]) -> None:
    if now.tag != form["seen"]:
        raise _ChangedMeanwhile(now)


def _form(
    request: Request,
    context: Context,
    part: Part,
    *,
    status: int = 200,
    typed: Mapping[str, str] | None = None,
    mistakes: Mapping[str, str] | None = None,
    problems: Sequence[SiteProblem] = (),
    is_late: bool = False,
) -> Response:
    """Show the form of a part, with what is wrong beside each field, and what it belongs to."""
    words, document, loaded = words_for(request), _document(context), _load(context)
    by_field = part.sort_problems(problems or (loaded.warnings if loaded else ()))
    elsewhere = [each for each in problems if not any(each in found for found in by_field.values())]
    return show(
        request,
        "garden_part.html",
        status=status,
        words=words,
        part=part,
        typed=typed if typed is not None else part.shown,
        mistakes=mistakes or {},
        by_field=by_field,
        elsewhere=elsewhere,
        is_late=is_late,
        refused=bool(problems),
        **surroundings(part, document, loaded.warnings if loaded else (), words),
    )


def _load(context: Context) -> LoadedSite | None:
    """Read the site file as it is now; None in a demonstration, which has none."""
    path = context.gateway.site_path
    return None if path is None else parse_site(_text(path), path.name)


def _text(path: FilePath) -> str:
    """Read the text of the site file with its line ends, and without a byte order mark."""
    return path.read_bytes().decode().removeprefix(BYTE_ORDER_MARK)


def _document(context: Context) -> Mapping[str, Any]:
    path = context.gateway.site_path
    if path is not None:
        return read_document(_text(path), path.name)
    plain = context.gateway.site.model_dump(mode="json", by_alias=True, exclude_defaults=True)
    return {"site": {key: plain.pop(key) for key in SITE_KEYS if key in plain}, **plain}

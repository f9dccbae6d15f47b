"""The files people bring: list, check, store, held rows, formats."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from portal.calc.file_spec import Column, FileKind
from portal.downloads import table_file
from portal.forms import UploadForm
from portal.models import Upload
from portal.tables import is_missing
from portal.uploads import actions, queries
from portal.uploads.examine import RESENT, examine_file, is_id
from portal.uploads.places import Place, place_named, places_for
from portal.uploads.registry import Target, kind_named, kinds

HELD_PAGE = 50
SHOWN = 20


@require_GET
def files(request: HttpRequest) -> HttpResponse:
    """Every file brought so far, newest first."""
    page = Paginator(queries.uploads_of(request.user), 50).get_page(request.GET.get("page"))
    may_bring = any(queries.kinds_for(request.user, p.target.trial.pk) for p in places_for(request.user))
    return render(request, "portal/files.html", {"page": page, "may_bring": may_bring, "titles": _titles()})


@require_http_methods(["GET", "POST"])
def bring_file(request: HttpRequest) -> HttpResponse:
    """Choose a file; it is checked at once and shown before anything is stored."""
    places = places_for(request.user)
    allowed = {k.file.name: k for p in places for k in queries.kinds_for(request.user, p.target.trial.pk)}
    if not allowed:
        raise PermissionDenied("None of your roles brings files.")
    form = UploadForm(
        request.POST or None,
        request.FILES or None,
        kinds=[(k.file.name, k.file.title) for k in kinds() if k.file.name in allowed],
        places=[(p.key, p.label) for p in places],
        initial={"kind": request.GET.get("kind"), "place": request.GET.get("place") or _likely(places)},
    )
    problems: list[Any] = []
    if request.method == "POST" and form.is_valid():
        place = place_named(request.user, form.cleaned_data["place"])
        file = form.cleaned_data["file"]
        try:
            upload = actions.check_upload(
                kind_name=form.cleaned_data["kind"],
                target=place.target,
                file_name=file.name,
                data=file.read(),
                by=request.user,
            )
        except actions.UploadRefused as refused:
            form.add_error("file", str(refused))
            problems = refused.problems
        else:
            if upload.state == "stored":
                messages.info(request, "This very file was stored before. Bringing it again adds nothing.")
            return redirect("portal:file", upload.pk)
    context = {"form": form, "problems": problems, "kinds": allowed.values()}
    return render(request, "portal/bring_file.html", context, status=422 if request.method == "POST" else 200)


@require_GET
def file(request: HttpRequest, pk: int) -> HttpResponse:
    """One file: what storing it would do, or what became of it."""
    upload = _upload(request, pk)
    kind = kind_named(upload.kind).at(Target.of(upload))
    context: dict[str, Any] = {
        "upload": upload,
        "kind": kind,
        "may_write": queries.may_write(request.user, upload),
        "waiting": queries.waiting_rows(upload).count(),
    }
    if upload.state == "checked":
        with upload.content.open("rb") as handle:
            outcome = examine_file(kind, Target.of(upload), handle.read(), upload.file_name)
        held = sorted(outcome.held.items())
        columns, new_rows = _shown_rows(outcome.new, kind.file)
        context |= {
            "outcome": outcome,
            "new_columns": columns,
            "new_rows": new_rows,
            "held_rows": [(n, values, problems) for n, (values, problems) in held[:SHOWN]],
            "n_held": len(held),
            "n_new": len(outcome.new),
            "blocked": kind.whole and bool(held),
        }
    return render(request, "portal/file.html", context)


@require_POST
def store_file(request: HttpRequest, pk: int) -> HttpResponse:
    upload = _upload(request, pk)
    try:
        upload = actions.store_upload(upload_id=upload.pk, by=request.user)
    except actions.UploadRefused as refused:
        messages.error(request, str(refused))
    else:
        messages.success(request, f"{upload.added} rows stored, {upload.held} held.")
    return redirect("portal:held" if upload.state == "stored" and upload.held else "portal:file", pk)


@require_POST
def discard_file(request: HttpRequest, pk: int) -> HttpResponse:
    actions.discard_upload(upload_id=_upload(request, pk).pk, by=request.user)
    messages.info(request, "The file was set aside. None of its rows was stored.")
    return redirect("portal:files")


@require_http_methods(["GET", "POST"])
def held(request: HttpRequest, pk: int) -> HttpResponse:
    """The held rows of a file, editable in place."""
    upload = _upload(request, pk)
    if request.method == "POST":
        return _settle(request, upload)
    page = Paginator(queries.waiting_rows(upload), HELD_PAGE).get_page(request.GET.get("page"))
    kind = kind_named(upload.kind).at(Target.of(upload))
    context = {
        "upload": upload,
        "kind": kind,
        "page": page,
        "rows": list(page),
        "columns": _columns_of(page, kind.file.names),
        "may_write": queries.may_write(request.user, upload),
        "settled": upload.held_rows.exclude(state="waiting").order_by("row_number")[:HELD_PAGE],
        "may_replace": kind.replace is not None and any(row.differs for row in page),
    }
    return render(request, "portal/held.html", context)


def _settle(request: HttpRequest, upload: Upload) -> HttpResponse:
    """The three ways to settle held rows: mended, put in place of the stored values, set aside."""
    rows = _posted_rows(request)
    chosen = [int(i) for i in request.POST.getlist("chosen") if is_id(i)]
    what = request.POST.get("do", "")
    try:
        if what == "replace" or what.startswith("replace-"):
            ids = chosen if what == "replace" else [int(what.removeprefix("replace-"))]
            n = actions.replace_stored(upload_id=upload.pk, held_ids=ids, by=request.user)
            messages.success(request, f"{n} stored rows replaced; the old values stay in the history.")
        elif what == "aside" or what.startswith("aside-"):
            ids = chosen if what == "aside" else [int(what.removeprefix("aside-"))]
            n = actions.set_aside(upload_id=upload.pk, held_ids=ids, by=request.user)
            messages.info(request, f"{n} rows set aside. They stay on record.")
        else:
            stored, waiting = actions.mend_rows(upload_id=upload.pk, rows=rows, by=request.user)
            note = messages.success if stored and not waiting else messages.warning
            note(request, f"{stored} rows stored, {waiting} still held.")
    except (actions.UploadRefused, ValueError) as refused:
        messages.error(request, str(refused))
    return redirect("portal:held" if queries.waiting_rows(upload).exists() else "portal:file", upload.pk)


@require_GET
def held_download(request: HttpRequest, pk: int) -> HttpResponse:
    """The waiting rows as a file with their reasons, to mend in a spreadsheet and bring again."""
    upload = _upload(request, pk)
    names = list(kind_named(upload.kind).at(Target.of(upload)).file.names)
    rows = list(queries.waiting_rows(upload))
    extra = [n for n in dict.fromkeys(k for r in rows for k in r.values) if n not in names and n != RESENT]
    header = [*names, *extra, "problem", RESENT]
    lines = [
        [
            *(r.values.get(n, "") for n in [*names, *extra]),
            "; ".join(_sentence(p) for p in r.problems),
            str(r.pk),
        ]
        for r in rows
    ]
    return table_file(header, lines, _file_type(request), f"held_{upload.kind}_{upload.pk}")


@require_GET
def formats(request: HttpRequest) -> HttpResponse:
    """Every kind of file the portal takes, column by column."""
    return render(request, "portal/formats.html", {"kinds": kinds()})


@require_GET
def sample(request: HttpRequest, kind: str) -> HttpResponse:
    """A sample file: the header and as many rows as make a file that its own checks take."""
    try:
        found = kind_named(kind).file
    except KeyError as error:
        raise Http404 from error
    return table_file(found.names, found.sample_rows, _file_type(request), f"{found.name}_sample")


def _file_type(request: HttpRequest) -> str:
    return "xlsx" if request.GET.get("as") == "xlsx" else "csv"


def _upload(request: HttpRequest, pk: int) -> Upload:
    return get_object_or_404(queries.uploads_of(request.user), pk=pk)


def _titles() -> dict[str, str]:
    return {k.file.name: k.file.title for k in kinds()}


def _likely(places: list[Place]) -> str:
    studies = [p for p in places if p.target.study is not None]
    return (studies or places)[0].key if places else ""


def _shown_rows(frame: Any, kind: FileKind) -> tuple[list[Column], list[tuple[int, list[Any]]]]:
    """The first rows, in the columns that hold anything: (columns, [(row number, values)])."""
    top = frame.head(SHOWN)
    columns = [c for c in kind.columns if len(top) and top[c.name].notna().any()]
    rows = [
        (int(row["_row"]), [(c.kind, None if is_missing(v := row[c.name]) else v) for c in columns])
        for row in top.to_dict("records")
    ]
    return columns, rows


def _columns_of(rows: Any, names: tuple[str, ...]) -> list[str]:
    """The columns of the kind that these held rows fill or are found wanting in."""
    used = {name for row in rows for name in row.values}
    used |= {problem["column"] for row in rows for problem in row.problems}
    return [name for name in names if name in used]


def _posted_rows(request: HttpRequest) -> dict[int, dict[str, str]]:
    """Fields are named "row-<held row id>-<column>"."""
    rows: dict[int, dict[str, str]] = {}
    for name, value in request.POST.items():
        word, _, rest = name.partition("-")
        pk, dash, column = rest.partition("-")
        if word == "row" and dash and is_id(pk):
            rows.setdefault(int(pk), {})[column] = str(value).replace(
                "\x00", ""
            )  # no database text holds a NUL
    return rows


def _sentence(problem: dict[str, Any]) -> str:
    return f"{problem['column'] or 'row'}: found {problem['found']}, expected {problem['expected']}"

"""Bringing lists in and taking them out: an overview, one page a list, and the work on a file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, StreamingHttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import cached_property
from django.views import View
from django.views.generic import TemplateView
from django_htmx.http import HttpResponseClientRefresh

from orders.dataforms import BringForm, EnterForm
from orders.datatables import (
    ChangeRow,
    ChangeTable,
    ColumnTable,
    FaultRow,
    FaultTable,
    column_rows,
    rows_of,
)
from orders.exchange import LISTS
from orders.explained.origin import rows_of_a_file
from studio import roles
from studio.context import current_studio
from studio.explaining import Explained
from studio.exports import KINDS, SHEET_TYPE, file_name
from studio.files import desk, working, writing
from studio.files.desk import Handed
from studio.files.lists import FileList
from studio.files.taking import shown_name
from studio.lists import house_table
from studio.pages import FormPage, HousePage
from studio.roles import needs

MAY_BRING = "studio.change"


def list_called(slug: str) -> FileList:
    """Return a kind of list by its short name."""
    if slug not in LISTS:
        raise Http404
    return LISTS[slug]


def may_take(user: Any, flist: FileList) -> bool:
    """Tell whether a person may take a list out; what costs money is left out of it then."""
    return roles.can(user, flist.out_need) and roles.can(user, "export")


@needs("export")
class DataPage(HousePage, TemplateView):
    """What can be brought in and taken out."""

    template_name = "orders/data/data.html"
    heading = "Data"
    back = ("Studio", "studio")

    def get_back(self) -> tuple[str, str] | None:
        """Lead back to the studio whoever may go there."""
        return super().get_back() if self.may_bring else ("Store", reverse("store"))

    @property
    def may_bring(self) -> bool:
        """Whether this person may bring lists in."""
        return roles.can(self.request.user, MAY_BRING)

    def get_lede(self) -> str:
        """Say what there is to do."""
        if self.may_bring:
            return (
                "Lists come in from a spreadsheet and go out as one; the whole studio goes out as "
                "one file."
            )
        return "The lots as a list for a spreadsheet."

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """List what this person may take out, and let go of what lay here too long."""
        desk.clear_out()
        user = self.request.user
        return super().get_context_data(
            lists=[flist for flist in LISTS.values() if may_take(user, flist)],
            kinds=KINDS,
            **kwargs,
        )


@needs("export")
class DataOut(View):
    """Hand a list out as a file."""

    def get(self, request: HttpRequest, slug: str) -> HttpResponseBase:
        """Stream CSV, or answer with a workbook."""
        flist = list_called(slug)
        if not may_take(request.user, flist):
            raise PermissionDenied
        kind = "xlsx" if request.GET.get("format") == "xlsx" else "csv"
        rows = writing.rows_out(
            flist, current_studio(request), with_money=roles.can(request.user, "money")
        )
        answer: HttpResponseBase = (
            StreamingHttpResponse(writing.as_csv(rows), content_type=writing.CSV_TYPE)
            if kind == "csv"
            else HttpResponse(writing.as_xlsx(rows, flist.title), content_type=SHEET_TYPE)
        )
        return _as_file(answer, file_name(slug, timezone.localdate(), kind))


@needs(MAY_BRING)
class DataTemplate(View):
    """Hand out an empty list to fill in."""

    def get(self, request: HttpRequest, slug: str) -> HttpResponse:
        """Answer with headings, and what stands under each."""
        flist, studio = list_called(slug), current_studio(request)
        kind = "xlsx" if request.GET.get("format") == "xlsx" else "csv"
        answer = (
            HttpResponse(writing.template_csv(flist, studio), content_type=writing.CSV_TYPE)
            if kind == "csv"
            else HttpResponse(writing.template_xlsx(flist, studio), content_type=SHEET_TYPE)
        )
        return _as_file(answer, f"halfstuff-empty-{slug}.{kind}")


def _as_file(answer: HttpResponseBase, name: str) -> Any:
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer


@needs(MAY_BRING)
class DataBring(FormPage):
    """Hand in the file of one list; it is looked over first."""

    template_name = "orders/data/bring.html"
    form_class = BringForm
    back = ("Data", "data")
    button = "Look it over"
    side_head = "The file"
    note = "Nothing is entered before you have seen what it changes"

    @cached_property
    def flist(self) -> FileList:
        """Return the kind of list."""
        return list_called(self.kwargs["slug"])

    def get_heading(self) -> str:
        """Name the list."""
        return f"Bring in {self.flist.nouns}"

    def get_lede(self) -> str:
        """Say what it holds."""
        return self.flist.lede

    def act(self, form: Any, key: Any) -> str:
        """Keep the file and begin to look it over."""
        given = form.cleaned_data
        kept = desk.hand_in(
            given["file"].chunks(),
            by=self.request.user.pk,
            slug=self.flist.slug,
            name=shown_name(given["file"].name),
            sheet=given["sheet"],
            decimals=given["decimals"],
        )
        working.begin(kept, working.look_over, self.flist)
        return reverse("data_handed", args=[kept.token])

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Explain the columns."""
        columns = house_table(
            self.request,
            ColumnTable,
            column_rows(self.flist, self.studio),
            paginate=False,
            orderable=False,
        )
        return super().get_context_data(flist=self.flist, columns=columns, kinds=KINDS, **kwargs)


class HandedPage(HousePage, TemplateView):
    """What a file that was handed in comes to."""

    template_name = "orders/data/handed.html"

    @cached_property
    def kept(self) -> Handed:
        """Return the file on the desk, to whoever laid it there."""
        found = desk.handed(self.kwargs["token"])
        if found is None or not found.is_of(self.request.user):
            raise Http404
        return found

    @cached_property
    def told(self) -> dict[str, Any]:
        """Return what is known of it so far."""
        return self.kept.state

    @property
    def flist(self) -> FileList:
        """The kind of list it is."""
        return list_called(self.told["slug"])

    def get_back(self) -> tuple[str, str]:
        """Lead back to handing in another file."""
        return (f"Bring in {self.flist.nouns}", reverse("data_bring", args=[self.flist.slug]))

    def get_heading(self) -> str:
        """Name the file."""
        return str(self.told["name"])

    def get_lede(self) -> str:
        """Say in one sentence how it stands."""
        told, stage = self.told, self.told["stage"]
        if stage == desk.FAULTY:
            return str(told["refusal"])
        if stage == desk.DONE:
            return f"{self.flist.title}: {told['said']}."
        if stage in desk.AT_WORK:
            return "It is being looked over." if stage == desk.LOOKING else "It is being entered."
        if not told["is_new"]:
            return "Nothing in the list is new. There is nothing to enter."
        return f"Nothing is entered yet. It would be: {told['said']}."

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Show faults or changes, and the word to enter it."""
        told = self.told
        faults, changes = told.get("faults", ()), told.get("changes", ())
        kwargs["token"] = self.kept.token
        return super().get_context_data(
            told=told,
            flist=self.flist,
            is_working=told["stage"] in desk.AT_WORK,
            is_ready=told["stage"] == desk.READY and told["is_new"],
            is_done=told["stage"] == desk.DONE,
            form=kwargs.pop("form", None) or self.form(),
            faults=self._table(FaultTable, rows_of(faults, FaultRow)),
            changes=self._table(ChangeTable, rows_of(changes, ChangeRow)),
            more_faults=max(told.get("faults_count", 0) - len(faults), 0),
            more_changes=max(told.get("changes_count", 0) - len(changes), 0),
            done_page=reverse(self.flist.route),
            **kwargs,
        )

    def form(self) -> EnterForm:
        """Return the word to enter it; asked twice only where the list was entered before."""
        form = EnterForm(self.request.POST if self.request.method == "POST" else None)
        if not self.told.get("same"):
            del form.fields["again"]
        return form

    def _table(self, table: Any, rows: list[Any]) -> Any:
        return (
            house_table(self.request, table, rows, paginate=False, orderable=False)
            if rows
            else None
        )

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say how the rows of the file are counted."""
        return [rows_of_a_file(self.told.get("said", ""))]


@needs(MAY_BRING)
class DataHanded(HandedPage):
    """Look at what a list changes, and enter it on the second press."""

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Begin to enter it; whoever comes second is led to the same page."""
        form = self.form()
        if not form.is_valid():
            return self.render_to_response(self.get_context_data(form=form))
        again = bool(form.cleaned_data.get("again"))
        if self.told.get("same") and not again and self.told["stage"] == desk.READY:
            form.add_error("again", "Tick this to enter it once more, or leave it be.")
            return self.render_to_response(self.get_context_data(form=form))
        if self.told["stage"] == desk.READY and self.kept.claim():
            self.kept.note(stage=desk.ENTERING, done=0, of=0, deed="")
            working.begin(self.kept, working.enter, self.flist, request.user, again)
        return redirect("data_handed", token=self.kept.token)


@needs(MAY_BRING)
class DataProgress(HandedPage):
    """How far the work on a file is, for the panel that asks every second."""

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Show how far it is; once it is over, have the page read again."""
        if not request.htmx:  # type: ignore[attr-defined]
            return redirect("data_handed", token=self.kept.token)
        if self.told["stage"] not in desk.AT_WORK:
            return HttpResponseClientRefresh()
        context = {"told": self.told, "token": self.kept.token}
        return render(request, "orders/data/_progress.html", context)

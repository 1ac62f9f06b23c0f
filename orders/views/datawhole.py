"""The whole studio as one file: taken out, and brought in to an empty one."""

from __future__ import annotations

import tempfile
from typing import Any

from django.conf import settings
from django.http import FileResponse, HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views import View

from fibres.models import Fibre
from orders import whole
from orders.dataforms import WholeForm
from studio.errors import StudioError
from studio.exports import file_name
from studio.files import wholein
from studio.files.whole import write_studio
from studio.pages import FormPage
from studio.roles import needs


@needs("studio.change")
class DataWhole(FormPage):
    """Take the studio out, or bring one in."""

    template_name = "orders/data/whole.html"
    form_class = WholeForm
    heading = "The whole studio"
    lede = "Every table in one file, without passwords and keys."
    back = ("Data", "data")
    button = "Bring it in"

    def act(self, form: Any, key: Any) -> str:
        """Bring a studio in, all of it or nothing."""
        self.found = whole.bring_in(form.cleaned_data["file"], by=self.request.user)
        return reverse("data_whole")

    def said(self, result: Any) -> str:
        """Say what came, and who needs a password."""
        names = ", ".join(self.found.without_password)
        return f"{self.found.studio} is here: {self.found.count} rows." + (
            f" Without a password so far: {names}. Set them under People." if names else ""
        )

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Say whether one can come in."""
        try:
            wholein.refuse_unless_empty((Fibre,))
            in_use = ""
        except StudioError as refusal:
            in_use = str(refusal)
        return super().get_context_data(in_use=in_use, **kwargs)


@needs("studio.change")
class DataWholeOut(View):
    """Hand the studio out; asked for by a form, so that no other site can ask for it."""

    def get(self, request: HttpRequest) -> HttpResponseBase:
        """Lead to the page with the button."""
        return redirect("data_whole")

    def post(self, request: HttpRequest) -> HttpResponseBase:
        """Write it beside the database, then stream it; the file is gone with the answer."""
        file = tempfile.TemporaryFile(dir=settings.DATA_DIR)  # noqa: SIM115
        write_studio(file)
        file.seek(0)
        return FileResponse(
            file,
            as_attachment=True,
            filename=file_name("studio", timezone.localdate(), "zip"),
            content_type="application/zip",
        )

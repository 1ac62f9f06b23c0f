"""The first steps in full, and putting them away."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.db import OperationalError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.decorators import method_decorator
from django.views import View
from django.views.decorators.http import require_POST
from django.views.generic import TemplateView

from orders import firststeps
from studio import roles
from studio.pages import NOT_SAVED, HousePage
from studio.roles import needs


@needs("read")
class FirstSteps(HousePage, TemplateView):
    """The steps in their order, done or not; they stay here when Today does not show them."""

    template_name = "orders/first_steps.html"
    heading = "First steps"
    back = ("Today", "today")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the way and what its next step is."""
        way = firststeps.way_for(self.request.user)
        return super().get_context_data(
            way=way,
            next_step=way.next,
            lede=way.lede,
            may_put_away=way.is_open and roles.can(self.request.user, "studio.change"),
            **kwargs,
        )


@needs("studio.change")
@method_decorator(require_POST, name="dispatch")
class FirstStepsAway(View):
    """Put the first steps away."""

    def post(self, request: HttpRequest) -> HttpResponse:
        """Put them away for everybody and go on to Today."""
        try:
            firststeps.put_away(request.user)
        except OperationalError:
            messages.error(request, NOT_SAVED)
        else:
            messages.success(request, "The first steps are put away.")
        return redirect("today")

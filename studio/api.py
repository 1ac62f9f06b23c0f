"""The door for other programs: a token in place of a session, and answers in JSON."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.contrib.auth.models import AnonymousUser
from django.core.cache import cache
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.utils.decorators import method_decorator
from django.views import View
from django.views.decorators.csrf import csrf_exempt

from studio import tokens
from studio.errors import StudioError

START = "/api/"
# What says how to ask is there for whoever asks.
DESCRIPTION = "/api/openapi.json"
NO_TOKEN = (
    "Send a token with each request, in a line such as “Authorization: Bearer …”. Tokens are "
    "made in the studio, under Your own settings. Being signed in there does not count here."
)
WRONG_TOKEN = (
    "This token is not known here, or it was closed, or the account it stands for was. Make "
    "another in the studio, under Your own settings."
)
TOO_MANY = (
    "Too many tokens from this address were wrong. Put the token right and ask again; one that "
    "is right is let in at once."
)
NO_ROLE = "The account of this token has no role, so it may read nothing. The owner gives roles."
NOTHING_HERE = "There is nothing at this address. /api/ lists what there is."
UNREADABLE = "This request cannot be read. Look at its address and its headers."
BROKEN = "Something failed here, and nothing was changed. Ask again later, or tell the owner."
ONLY_READS = "Only GET and HEAD are answered here: other programs read, and change nothing."


class CannotAnswerError(StudioError):
    """What was asked is read and known, and still has no answer; the sentence says why."""


def is_api(request: HttpRequest) -> bool:
    """Tell whether a program asks, to be answered in JSON."""
    return request.path_info.startswith(START)


def answer(plain: Any, *, status: int = 200, headers: dict[str, str] | None = None) -> Any:
    """Return plain values as JSON, which nobody on the way is to keep."""
    kept = {"Cache-Control": "no-store", "Vary": "Authorization", **(headers or {})}
    return JsonResponse(
        plain, status=status, headers=kept, json_dumps_params={"ensure_ascii": False}
    )


def refusal(sentence: str, *, status: int, headers: dict[str, str] | None = None) -> Any:
    """Return why there is no answer, in plain words."""
    return answer({"error": sentence}, status=status, headers=headers)


class Door:
    """Let a program in by its token alone, as the person whose token it is."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Pass pages on as they are; ask programs for their token."""
        if not is_api(request):
            return self.get_response(request)
        request.user = AnonymousUser()
        if request.path_info == DESCRIPTION:
            return self.get_response(request)
        scheme, _, token = request.headers.get("Authorization", "").partition(" ")
        if scheme.casefold() != "bearer" or not token.strip():
            return refusal(NO_TOKEN, status=401, headers={"WWW-Authenticate": "Bearer"})
        row = tokens.found_by(token.strip())
        if row is None:
            return _wrong(request)
        tokens.note_use(row)
        request.user = row.user
        return self.get_response(request)


def _wrong(request: HttpRequest) -> HttpResponse:
    """Refuse a wrong token; who sends many is told to wait, and nobody else is.

    A token is too long to be guessed, so what is right is let in whatever else came from there:
    many programs may stand behind one address. The count is kept in memory, not in the database,
    so that each of several workers counts for itself.
    """
    wait = int(settings.AXES_COOLOFF_TIME.total_seconds())
    key = f"wrong-tokens:{request.META.get('REMOTE_ADDR', '')}"
    cache.add(key, 0, timeout=wait)
    try:
        count = cache.incr(key)
    except ValueError:
        # The wait ended between the two lines.
        count = 1
    if count > settings.AXES_FAILURE_LIMIT:
        return refusal(TOO_MANY, status=429, headers={"Retry-After": str(wait)})
    told = {"WWW-Authenticate": 'Bearer error="invalid_token"'}
    return refusal(WRONG_TOKEN, status=401, headers=told)


@method_decorator(csrf_exempt, name="dispatch")
class Reading(View):
    """What a program can read at one address; children return it as plain values."""

    http_method_names = ["get", "head"]
    # Names that may stand behind the question mark of the address.
    asks: tuple[str, ...] = ()

    def plain(self, **kwargs: Any) -> Any:
        """Return the answer as plain values."""
        raise NotImplementedError

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Answer, or say in one sentence why not."""
        try:
            self._refuse_unknown()
            return answer(self.plain(**kwargs))
        except Http404 as missing:
            return refusal(str(missing), status=404)
        except StudioError as fault:
            return refusal(str(fault), status=self.status_of(fault))

    def status_of(self, fault: StudioError) -> int:
        """Return the number of a refusal: what was asked cannot be read, or not be answered."""
        return 409 if isinstance(fault, CannotAnswerError) else 400

    def http_method_not_allowed(
        self, request: HttpRequest, *args: Any, **kwargs: Any
    ) -> HttpResponse:
        """Say that this is for reading."""
        return refusal(ONLY_READS, status=405, headers={"Allow": "GET, HEAD"})

    def _refuse_unknown(self) -> None:
        """Refuse what would not be heeded: a slip would read as an answer to another question."""
        for name, values in self.request.GET.lists():
            if name not in self.asks:
                known = f"It takes {' and '.join(self.asks)}." if self.asks else "It takes none."
                raise StudioError(f"“{name[:40]}” is not asked at this address. {known}")
            if len(values) > 1:
                raise StudioError(f"{name} is given {len(values)} times. Give it once.")

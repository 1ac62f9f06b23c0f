"""Settings that would leave a door open, found by ``manage.py check``.

What Django looks for itself under ``check --deploy`` (cookies, strict transport, redirect, key) is
left to it; here is what only the house knows.
"""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error, Tags, Warning
from django.core.checks import register as register_check

HERE = {"127.0.0.1", "localhost", "[::1]"}
# Without one of these a view is open to whoever asks, or a log-in to whoever guesses.
GUARDS = (
    "studio.answers.Answers",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "studio.middleware.LargestBody",
    "django.middleware.csrf.CsrfViewMiddleware",
    "studio.api.Door",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "studio.middleware.Gate",
    "axes.middleware.AxesMiddleware",
)
ONE_PERSON_AT_ONE_ADDRESS = [["username", "ip_address"]]
CLOSED = ("default-src", "base-uri", "frame-ancestors")
OWN_FILES = {"'self'", "'none'"}


def register() -> None:
    """Add these checks to the others: what stops the program always, the rest for a server."""
    register_check(debug_stays_here, Tags.security)
    register_check(hosts_are_named, Tags.security)
    register_check(guards_stand, Tags.security)
    for check in (tries_are_counted, sources_are_own, cookies_are_kept, passwords_are_weighed,
                  passwords_cross_no_network):  # fmt: skip
        register_check(check, Tags.security, deploy=True)


def _beyond() -> list[str]:
    return [host for host in settings.ALLOWED_HOSTS if host not in HERE]


def debug_stays_here(**kwargs: Any) -> list[CheckMessage]:
    """Find pages with traces and settings that other machines could ask for."""
    if not settings.DEBUG or not _beyond():
        return []
    return [
        Error(
            f"Traces of faults would be shown to whoever asks for {', '.join(_beyond())}.",
            hint="Unset HALFSTUFF_DEBUG, or HALFSTUFF_HOSTS while you look for a fault.",
            id="studio.E011",
        )
    ]


def hosts_are_named(**kwargs: Any) -> list[CheckMessage]:
    """Find names that stand for many: a page would be made for whatever host was forged."""
    return [
        Error(
            f"HALFSTUFF_HOSTS lets in more than it names: {host!r}.",
            hint="Name each host in full, such as studio.example.",
            id="studio.E012",
        )
        for host in settings.ALLOWED_HOSTS
        if host.startswith((".", "*"))
    ]


def guards_stand(**kwargs: Any) -> list[CheckMessage]:
    """Find a guard that was taken out of the way of requests."""
    return [
        Error(
            f"Requests do not pass {guard} any more.",
            hint="Put it back into MIDDLEWARE, where studio/settings.py has it.",
            id="studio.E013",
        )
        for guard in GUARDS
        if guard not in settings.MIDDLEWARE
    ]


def tries_are_counted(**kwargs: Any) -> list[CheckMessage]:
    """Find a log-in that can be guessed at, or that one stranger can shut for everybody."""
    backends = settings.AUTHENTICATION_BACKENDS
    counts = settings.AXES_ENABLED and backends[:1] == ["axes.backends.AxesStandaloneBackend"]
    one = settings.AXES_LOCKOUT_PARAMETERS == ONE_PERSON_AT_ONE_ADDRESS
    if counts and one and settings.AXES_FAILURE_LIMIT and settings.AXES_COOLOFF_TIME:
        return []
    return [
        Error(
            "Wrong passwords are not counted for one name at one address with a wait that ends.",
            hint="Put the AXES_ settings back as studio/settings.py has them.",
            id="studio.E014",
        )
    ]


def sources_are_own(**kwargs: Any) -> list[CheckMessage]:
    """Find a policy that lets pages load or run what is not of this site."""
    told = settings.CONTENT_SECURITY_POLICY["DIRECTIVES"]
    faults = [name for name in CLOSED if name not in told]
    faults += [name for name, sources in told.items() if not set(sources) <= OWN_FILES]
    return [
        Error(
            f"The content security policy is open at {name}.",
            hint="Pages need files of this site alone: 'self' or 'none'.",
            id="studio.E015",
        )
        for name in faults
    ]


def cookies_are_kept(**kwargs: Any) -> list[CheckMessage]:
    """Find a session cookie that scripts or other sites could use."""
    is_kept = settings.SESSION_COOKIE_HTTPONLY and settings.SESSION_COOKIE_SAMESITE in {
        "Lax",
        "Strict",
    }
    if is_kept:
        return []
    return [
        Error(
            "The cookie of a session could be read by scripts or sent along by other sites.",
            hint="Keep SESSION_COOKIE_HTTPONLY on, and SESSION_COOKIE_SAMESITE at Lax.",
            id="studio.E016",
        )
    ]


def passwords_are_weighed(**kwargs: Any) -> list[CheckMessage]:
    """Find accounts that could be opened with a short or common password."""
    there = {one["NAME"].rpartition(".")[2] for one in settings.AUTH_PASSWORD_VALIDATORS}
    return [
        Error(
            f"New passwords are not weighed by {name}.",
            hint="Put it back into AUTH_PASSWORD_VALIDATORS.",
            id="studio.E017",
        )
        for name in ("MinimumLengthValidator", "CommonPasswordValidator")
        if name not in there
    ]


def passwords_cross_no_network(**kwargs: Any) -> list[CheckMessage]:
    """Say that others on the network could read along."""
    if settings.HTTPS or not _beyond():
        return []
    return [
        Warning(
            f"Passwords for {', '.join(_beyond())} cross the network unciphered.",
            hint="Put an HTTPS server in front and set HALFSTUFF_HTTPS=1.",
            id="studio.W011",
        )
    ]

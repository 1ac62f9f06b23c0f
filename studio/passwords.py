"""What is asked of a new password, in the words of the pages, and what a new one ends.

No word shows what was typed.
"""

from __future__ import annotations

from typing import Any

from django.contrib.auth import password_validation as usual
from django.core.exceptions import ValidationError

from studio import tokens

# Django calls it in one word.
USER_NAME = {"username": "user name", "email address": "e-mail address"}


class MinimumLengthValidator(usual.MinimumLengthValidator):
    """Ask for a few characters at least."""

    def get_error_message(self) -> str:
        """Say how many."""
        return f"This password is too short. Give {self.min_length} characters or more."


class CommonPasswordValidator(usual.CommonPasswordValidator):
    """Refuse what stands on the lists that strangers try first."""

    def get_error_message(self) -> str:
        """Say what serves instead."""
        return (
            "This password is too common: strangers try it first. Give another, such as three or "
            "four words that do not belong together."
        )


class UserAttributeSimilarityValidator(usual.UserAttributeSimilarityValidator):
    """Refuse what follows from whose account it is."""

    def validate(self, password: str, user: Any = None) -> None:
        """Name what it is too much like, as the pages call it."""
        try:
            super().validate(password, user)
        except ValidationError as fault:
            like = (fault.params or {}).get("verbose_name", "user name")
            raise ValidationError(
                f"This password is too much like the {USER_NAME.get(like, like)}. Give one that "
                "nobody would guess from it.",
                code=fault.code,
            ) from None


class ClosesTokens:
    """Close the tokens of whoever gets a new password, whichever way it came.

    Django tells of it after an account is saved, and not where a password is only hashed anew.
    """

    def validate(self, password: str, user: Any = None) -> None:
        """Ask nothing."""

    def password_changed(self, password: str, user: Any = None) -> None:
        """Close what is open still; pages have closed it, and said so in their entry, before."""
        if user is not None:
            tokens.close_after_new_password(user)

    def get_help_text(self) -> str:
        """Ask nothing."""
        return ""

"""Signing in to the workbench."""

from __future__ import annotations

from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.models import AbstractBaseUser
from django.contrib.auth.views import LoginView
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.utils.translation import gettext as _


class StaffOnlyForm(AuthenticationForm):
    """Name and password of somebody who works here."""

    use_required_attribute = False

    def __init__(self, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        self.label_suffix = ""

    def confirm_login_allowed(self, user: AbstractBaseUser) -> None:
        super().confirm_login_allowed(user)  # type: ignore[arg-type]
        if not getattr(user, "is_staff", False):
            raise ValidationError(_("This name may not use the workbench."), code="not_staff")


class SignIn(LoginView):
    """The one door to the workbench."""

    template_name = "bookings/staff/sign_in.html"
    form_class = StaffOnlyForm

    def form_invalid(self, form: AuthenticationForm) -> HttpResponse:
        """Refused: say so with the status of a refused form."""
        response = super().form_invalid(form)
        response.status_code = 422
        return response

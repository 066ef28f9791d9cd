"""Signing in and out, and the password."""

from __future__ import annotations

from urllib.parse import urlencode

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import password_validation
from django.contrib.auth import views as auth_views
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import PermissionDenied
from django.http import HttpResponseRedirect
from django.urls import reverse, reverse_lazy
from django.utils.decorators import method_decorator
from django.views import View

from .forms import PasswordForm, SignInForm
from .models import UserSettings

TOO_MANY = 429
READ_AND_SENT = ("get", "head", "options", "post")


class HeldAnswer:
    """A form that is held is answered as such, with the time to wait where programs look for it."""

    def form_invalid(self, form):
        answer = super().form_invalid(form)
        if form.held_s:
            answer.status_code = TOO_MANY
            answer["Retry-After"] = str(form.held_s)
        return answer


class SignIn(HeldAnswer, auth_views.LoginView):
    http_method_names = READ_AND_SENT
    form_class = SignInForm
    template_name = "diestore/sign_in.html"
    redirect_authenticated_user = True

    def get_context_data(self, **kwargs):
        return super().get_context_data(demo=settings.DEMO, **kwargs)

    def form_valid(self, form):
        answer = super().form_valid(form)
        if UserSettings.objects.filter(user=form.get_user(), shared_device=True).exists():
            self.request.session.set_expiry(settings.TABLET_SESSION_AGE)
        return answer


class SignOut(auth_views.LogoutView):
    pass


@method_decorator(login_not_required, name="dispatch")
class AdministrationSignIn(View):
    """The administration has no sign-in of its own that could be guessed at past the one above."""

    def get(self, request, **kwargs):
        if request.user.is_authenticated:
            raise PermissionDenied("Not staff.")
        there = request.GET.get("next") or reverse("admin:index")
        return HttpResponseRedirect(f"{reverse('diestore:sign_in')}?{urlencode({'next': there})}")


class ChangePassword(HeldAnswer, auth_views.PasswordChangeView):
    http_method_names = READ_AND_SENT
    form_class = PasswordForm
    template_name = "diestore/password.html"
    success_url = reverse_lazy("diestore:settings")

    def dispatch(self, request, *args, **kwargs):
        if UserSettings.objects.filter(user=request.user, shared_device=True).exists():
            raise PermissionDenied("A shared tablet's password is set in the administration.")
        return super().dispatch(request, *args, **kwargs)

    def get_context_data(self, **kwargs):
        return super().get_context_data(rules=password_validation.password_validators_help_texts(), **kwargs)

    def form_valid(self, form):
        messages.success(self.request, "Your password is changed. Where else you were signed in, you are no more.")
        return super().form_valid(form)

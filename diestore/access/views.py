"""Signing in and out, the password, who stands at a shared tablet, and the people with their PINs."""

from __future__ import annotations

from urllib.parse import urlencode

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import password_validation
from django.contrib.auth import views as auth_views
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.mixins import PermissionRequiredMixin
from django.contrib.sessions.exceptions import SessionInterrupted
from django.core.exceptions import PermissionDenied, RequestDataTooBig, TooManyFieldsSent, TooManyFilesSent
from django.http import HttpResponse, HttpResponseRedirect, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.template.loader import render_to_string
from django.urls import reverse, reverse_lazy
from django.utils import timezone
from django.utils.decorators import method_decorator
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views import View

from diestore.register import actions as register

from . import actions, first_start, known_browser, plants, queries, roles, tablet
from .forms import PasswordForm, PersonForm, PinForm, SignInForm, WhoForm
from .language import INTERFACE
from .models import Person

TOO_MANY = 429
BY_PEOPLE = "on the page of people"  # the reason kept with a name that is changed there
NOT_REMEMBERED_SENT = (
    gettext_lazy("Send the same form again"),
    gettext_lazy(
        "It may be saved already, and the answer got lost. Go back and send the same form again: it is never "
        "saved twice. If you are asked to sign in, do that first."
    ),
)
NOT_REMEMBERED = (
    gettext_lazy("The database does not answer"),
    gettext_lazy("Nothing was half saved. Wait a little and load the page again."),
)
READ_AND_SENT = ("get", "head", "options", "post")


def bad_request(request, exception):
    """What could not be read, or was too much; the page says what to do, the log what it was."""
    if isinstance(exception, SessionInterrupted):
        return _not_remembered(request)
    too_much = isinstance(exception, RequestDataTooBig | TooManyFieldsSent | TooManyFilesSent)
    return render(request, "413.html" if too_much else "400.html", status=413 if too_much else 400)


def not_found(request, exception):
    """No such page. Django's own looks for a form's token first, and breaks on a body that it cannot read.
    A program that asks under the interface's address is answered as one."""
    if request.path.startswith(INTERFACE):
        return JsonResponse({"message": "There is nothing at this address.", "where": ""}, status=404)
    return render(request, "404.html", status=404)


def _not_remembered(request) -> HttpResponse:
    """All was done, then the session could not be written: the database went away, or the sign-in was ended meanwhile.

    What was sent may be saved. Without the database, so nothing of the usual page's frame.
    """
    heading, sentence = NOT_REMEMBERED_SENT if request.method == "POST" else NOT_REMEMBERED
    number = getattr(request, "number", "")
    page = render_to_string("503.html", {"heading": heading, "sentence": sentence, "number": number})
    return HttpResponse(page, status=503, headers={"Retry-After": "10"})


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
    template_name = "diestore/access/sign_in.html"
    redirect_authenticated_user = True

    def get(self, request, *args, **kwargs):
        if not request.user.is_authenticated and first_start.nobody_yet():
            return redirect("diestore:first_start")
        return super().get(request, *args, **kwargs)

    def get_context_data(self, **kwargs):
        return super().get_context_data(demo=settings.DEMO, **kwargs)

    def form_valid(self, form):
        answer = super().form_valid(form)
        if queries.is_shared_device(form.get_user()):
            self.request.session.set_expiry(settings.TABLET_SESSION_AGE)
        known_browser.remember(self.request, answer, form.get_user().get_username())
        return answer


class SignOut(auth_views.LogoutView):
    pass


@method_decorator(login_not_required, name="dispatch")
class AdministrationSignIn(View):
    """The administration has no sign-in of its own that could be guessed at past the one above."""

    def get(self, request, **kwargs):
        if request.user.is_authenticated:
            raise PermissionDenied(_("Not staff."))
        there = request.GET.get("next") or reverse("admin:index")
        return HttpResponseRedirect(f"{reverse('diestore:sign_in')}?{urlencode({'next': there})}")


class ChangePassword(HeldAnswer, auth_views.PasswordChangeView):
    http_method_names = READ_AND_SENT
    form_class = PasswordForm
    template_name = "diestore/access/password.html"
    success_url = reverse_lazy("diestore:settings")

    def dispatch(self, request, *args, **kwargs):
        if queries.is_shared_device(request.user):
            raise PermissionDenied(_("A shared tablet's password is set in the administration."))
        return super().dispatch(request, *args, **kwargs)

    def get_context_data(self, **kwargs):
        return super().get_context_data(rules=password_validation.password_validators_help_texts(), **kwargs)

    def form_valid(self, form):
        messages.success(self.request, _("Your password is changed. You are signed out everywhere else."))
        return super().form_valid(form)


class Who(View):
    """Who stands at the shared tablet."""

    http_method_names = READ_AND_SENT

    def dispatch(self, request, *args, **kwargs):
        self.tablet = tablet.tablet_of(request)
        if self.tablet is None and request.method in ("GET", "HEAD", "POST"):
            return redirect("diestore:settings")  # a person is signed in, and has no need of this page
        return super().dispatch(request, *args, **kwargs)

    def get(self, request):
        return self._show(request, self._form())

    def post(self, request):
        if "nobody" in request.POST:
            self.tablet.nobody()
            messages.success(request, _("Nobody is picked on this tablet now."))
            return redirect("diestore:who")
        form = self._form(request.POST)
        if not form.is_valid():
            return self._show(request, form, status=TOO_MANY if form.held_s else 422)
        return HttpResponseRedirect(self._next(request))

    def _form(self, data=None) -> WhoForm:
        return WhoForm(data, tablet=self.tablet, names=queries.people_with_pin(self.request.user))

    def _next(self, request) -> str:
        there = request.POST.get("next") or request.GET.get("next", "")
        own = url_has_allowed_host_and_scheme(there, {request.get_host()}, require_https=request.is_secure())
        return there if own else reverse("diestore:dies")

    def _show(self, request, form, status: int = 200):
        there = request.POST.get("next") or request.GET.get("next", "")
        answer = render(request, "diestore/access/who.html", {"form": form, "next": there}, status=status)
        if form.held_s:
            answer["Retry-After"] = str(form.held_s)
        return answer


class ForPeople(PermissionRequiredMixin, View):
    permission_required = roles.MANAGE_PEOPLE
    raise_exception = True


class People(ForPeople):
    """Everybody who is named on entries, and the shared tablets."""

    def get(self, request):
        return self._show(request, PersonForm(user=request.user))

    def post(self, request):
        if "again" in request.POST:
            opened = actions.let_try_again(by=request.user, held=request.POST["again"])
            messages.success(
                request,
                _("{opened} may be tried again.").format(opened=opened) if opened else _("That is no longer held."),
            )
            return redirect("diestore:people")
        form = PersonForm(request.POST, user=request.user)
        if not form.is_valid():
            return self._show(request, form, status=422)
        person = form.save(commit=False)
        register.enter(by=request.user, row=person)
        messages.success(
            request, _("{person} is in the list. A PIN is needed only for shared tablets.").format(person=person)
        )
        return redirect("diestore:person", pk=person.pk)

    def _show(self, request, form, status: int = 200):
        shown = {
            "people": queries.people_for_list(request.user),
            "tablets": queries.tablets(request.user),
            "held": queries.held(request.user),
            "form": form,
        }
        return render(request, "diestore/access/people.html", shown, status=status)


class OnePerson(ForPeople):
    """A name, whether it is offered, and its PIN. Each of the three buttons does one thing."""

    def get(self, request, pk: int):
        person = self._person(request, pk)
        return self._show(request, person, PersonForm(instance=person, user=request.user), PinForm())

    def _person(self, request, pk: int) -> Person:
        return get_object_or_404(plants.within(Person.objects.all(), request.user), pk=pk)

    def post(self, request, pk: int):
        person = self._person(request, pk)
        if "remove" in request.POST:
            actions.remove_pin(by=request.user, person=person)
            messages.success(
                request, _("{person} has no PIN now and is not offered on shared tablets.").format(person=person)
            )
            return redirect("diestore:person", pk=person.pk)
        if "pin" in request.POST:
            form = PinForm(request.POST)
            if not form.is_valid():
                return self._show(request, person, PersonForm(instance=person, user=request.user), form, status=422)
            actions.set_pin(by=request.user, person=person, pin=form.cleaned_data["pin"])
            messages.success(request, _("{person} has a new PIN.").format(person=person))
            return redirect("diestore:people")
        form = PersonForm(request.POST, instance=person, user=request.user)
        if not form.is_valid():
            return self._show(request, Person.objects.get(pk=pk), form, PinForm(), status=422)
        if form.changed_data:
            values = {name: form.cleaned_data[name] for name in form.changed_data}
            stored = Person.objects.get(pk=pk)
            register.amend(by=request.user, row=stored, values=values, at=timezone.now(), reason=BY_PEOPLE)
        messages.success(request, _("Kept."))
        return redirect("diestore:people")

    def _show(self, request, person, form, pin_form, status: int = 200):
        shown = {"person": person, "form": form, "pin_form": pin_form}
        return render(request, "diestore/access/person.html", shown, status=status)

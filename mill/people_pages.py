"""The pages of people: whose book it is, who may do what, and everybody's own password."""

from typing import Any

from django import forms
from django.conf import settings
from django.contrib import messages
from django.contrib.auth import SESSION_KEY, get_user_model, login, update_session_auth_hash
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.forms import PasswordChangeForm
from django.contrib.auth.password_validation import validate_password
from django.contrib.auth.validators import UnicodeUsernameValidator
from django.contrib.auth.views import LoginView, LogoutView
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import translation
from django.utils.decorators import method_decorator
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, gettext_noop
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from mill import language, people, roles
from mill.desk import SITS_AS, is_at_the_machine, room, sits_at_an_open_book
from mill.edits import Edit
from mill.limits import OLD_PASSWORD, PASSWORDS, TooMuch, guesses_of, limited, too_much_page
from mill.listing import Column, listing
from mill.models import Mill, Person
from mill.refusal import Refusal

MODEL_BACKEND = "django.contrib.auth.backends.ModelBackend"


class TwiceForm(forms.Form):
    """A password, written twice. `may_wait` lets it stand empty: who has none can't sign in yet."""

    may_wait = False
    password = forms.CharField(
        label=gettext_lazy("Password"),
        max_length=128,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        strip=False,
        help_text=gettext_lazy("Twelve signs or more; a few words in a row are good."),
    )
    again = forms.CharField(
        label=gettext_lazy("The same again"),
        max_length=128,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        strip=False,
    )

    def __init__(self, *args: Any, person: Any = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.person = person
        if self.may_wait:
            self.fields["password"].required = self.fields["again"].required = False
            self.fields["password"].help_text = _(
                "Twelve signs or more; a few words in a row are good."
                " Left empty, the person can't sign in until you give one."
            )

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        password = said.get("password", "")
        if password != said.get("again", "") and not {"password", "again"} & set(self.errors):
            self.add_error("again", _("The two passwords are not the same."))
        elif password:
            person = self.person or get_user_model()(
                username=said.get("sign_in") or "", first_name=said.get("name") or ""
            )
            try:
                validate_password(password, person)
            except ValidationError as wrong:
                self.add_error("password", wrong)
        return said


class NamedForm(forms.Form):
    name = forms.CharField(label=gettext_lazy("Name"), max_length=150, help_text=gettext_lazy("As the mill says it."))
    sign_in = forms.CharField(
        label=gettext_lazy("Name to sign in by"),
        max_length=150,
        validators=[UnicodeUsernameValidator()],
        widget=forms.TextInput(attrs={"autocomplete": "username", "autocapitalize": "none", "spellcheck": "false"}),
    )


class FirstOwnerForm(TwiceForm, NamedForm):
    field_order = ("name", "sign_in", "password", "again", "lies_open")
    lies_open = forms.BooleanField(
        label=gettext_lazy("Leave the book open on this machine"),
        required=False,
        initial=True,
        help_text=gettext_lazy("Who sits here reads and writes without signing in. Anywhere else one signs in."),
    )


def _roles_with_their_work() -> list[tuple[str, str]]:
    """Each role with what it is for, in the language of the page."""
    return [(role, f"{_(role)}: {_(what)}") for role, what in roles.ROLES.items()]


class RolesField(forms.MultipleChoiceField):
    def __init__(self) -> None:
        super().__init__(
            label=gettext_lazy("Roles"),
            required=False,
            choices=_roles_with_their_work,
            widget=forms.CheckboxSelectMultiple,
            help_text=gettext_lazy("One or several. Without any, a person signs in and sees nothing."),
        )


class PersonNewForm(TwiceForm, NamedForm):
    may_wait = True
    field_order = ("name", "sign_in", "held", "password", "again")
    held = RolesField()


class PersonForm(forms.Form):
    name = forms.CharField(max_length=150)
    held = RolesField()
    is_active = forms.BooleanField(
        label=gettext_lazy("Works with the book"),
        required=False,
        help_text=gettext_lazy("Somebody laid aside keeps a name in what was done."),
    )
    told_of = frozenset({"held", "is_active"})


@method_decorator(login_not_required, name="dispatch")
class SignIn(LoginView):
    """Where one signs in; at its machine, a book that is nobody's yet asks instead whose it is."""

    template_name = "mill/sign_in.html"

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if is_at_the_machine(request) and not people.owners().exists():
            return redirect("first_owner")
        return super().dispatch(request, *args, **kwargs)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(is_nobodys=not people.owners().exists(), **kwargs)


class LiesOpenForm(forms.Form):
    lies_open = forms.BooleanField(label=gettext_lazy("The book lies open on its own machine"), required=False)


@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
@login_not_required
@room("mill")
def first_owner(request: HttpRequest) -> HttpResponse:
    """Whose book it is: asked once, of whoever sits at the machine while the book is nobody's."""
    if people.owners().exists():
        return redirect("today")
    if not is_at_the_machine(request):
        raise PermissionDenied(gettext_noop("The first owner is made at the machine that keeps the book."))
    form = FirstOwnerForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        try:
            owner = people.first_owner(
                name=said["name"], sign_in=said["sign_in"], password=said["password"], lies_open=said["lies_open"]
            )
        except Refusal as refusal:
            form.add_error(None, refusal.message)
        else:
            login(request, owner, backend=MODEL_BACKEND)
            messages.success(request, _("The book is yours, %(name)s.") % {"name": said["name"]})
            return redirect("today")
    return render(request, "mill/first_owner.html", {"title": _("Whose book is this?"), "form": form})


@require_GET
@room("mill")
def people_list(request: HttpRequest) -> HttpResponse:
    columns = [
        Column(gettext_lazy("Name"), lambda p: p.get_full_name() or p.username, "first_name", link=_address),
        Column(gettext_lazy("Signs in as"), lambda p: p.username, "username"),
        Column(
            gettext_lazy("Roles"),
            lambda p: ", ".join(_(role) for role in roles.ROLES if role in roles.roles_of(p)),
        ),
        Column(gettext_lazy("Password"), lambda p: _("yes") if p.has_usable_password() else _("not yet")),
        Column(gettext_lazy("Works here"), lambda p: _("yes") if p.is_active else _("no"), "is_active"),
    ]
    return listing(
        request,
        get_user_model().objects.prefetch_related("groups").order_by("first_name", "username"),
        columns=columns,
        template="mill/people.html",
        name="people",
        title=_("People"),
        extra={"lies_open": LiesOpenForm(initial={"lies_open": Mill.the_one().lies_open})},
    )


def _address(person: Any) -> str:
    return reverse("person", args=[person.pk])


@require_POST
@room("mill")
def lies_open(request: HttpRequest) -> HttpResponse:
    form = LiesOpenForm(request.POST)
    form.is_valid()
    said = form.cleaned_data["lies_open"]
    try:
        people.lie_open(lies_open=said, by=request.user)
    except Refusal as refusal:
        messages.error(request, refusal.message)
    else:
        lies, closed = (
            _("The book lies open on its own machine."),
            _("The book is closed; everybody signs in, at its own machine too."),
        )
        messages.success(request, lies if said else closed)
    return redirect("people")


@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
@room("mill")
def person_new(request: HttpRequest) -> HttpResponse:
    form = PersonNewForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        try:
            people.take_in(
                name=said["name"],
                sign_in=said["sign_in"],
                password=said["password"],
                held=said["held"],
                by=request.user,
            )
        except Refusal as refusal:
            form.add_error(refusal.field, refusal.message)
        else:
            messages.success(request, _("%(name)s is taken in.") % {"name": said["name"]})
            return redirect("people")
    return render(request, "mill/person.html", {"title": _("Somebody new"), "form": form})


@require_http_methods(["GET", "POST"])
@room("mill")
def person(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(get_user_model(), pk=pk)
    stands = people.standing(found)
    edit = Edit(
        request, stands if stands.pk else None, lambda data, told: PersonForm(data, initial=_begins(told or stands))
    )
    if edit.is_valid() and edit.is_written(
        lambda form, seen: people.change(found, **form.cleaned_data, by=request.user, seen=seen)
    ):
        messages.success(request, _("%(name)s is written down.") % {"name": edit.form.cleaned_data["name"]})
        return redirect("people")
    title = found.get_full_name() or found.username
    return render(request, "mill/person.html", {"title": title, "edit": edit, "form": edit.form, "found": found})


def _begins(told: Person) -> dict[str, Any]:
    """The form's fields, of a person as the account tells of them."""
    held = [role for role in told.roles.split(", ") if role]
    return {"name": told.name, "held": held, "is_active": told.works_here}


@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
@room("mill")
@limited(PASSWORDS)
def person_password(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(get_user_model(), pk=pk)
    form = TwiceForm(request.POST or None, person=found)
    name = found.get_full_name() or found.username
    if request.method == "POST" and form.is_valid():
        people.set_password(found, password=form.cleaned_data["password"], by=request.user)
        if found == request.user and SESSION_KEY in request.session:
            update_session_auth_hash(request, found)
        messages.success(request, _("%(name)s has a new password, and is signed out everywhere else.") % {"name": name})
        return redirect("person", pk=pk)
    title = _("A password for %(name)s") % {"name": name}
    return render(request, "mill/person.html", {"title": title, "form": form})


@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
@room("mill")
@limited(PASSWORDS)
def own_password(request: HttpRequest) -> HttpResponse:
    """One's own: the old one first, where there is one. Guesses of it are counted as those at the door are."""
    user: Any = request.user
    form: Any
    guesses = guesses_of(OLD_PASSWORD, request)
    if request.method == "POST":
        try:
            guesses.listen()
        except TooMuch as too_much:
            return too_much_page(request, too_much)
    if user.has_usable_password():
        form = PasswordChangeForm(user, request.POST or None)
    else:
        form = TwiceForm(request.POST or None, person=user)
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        people.set_password(user, password=said.get("new_password1") or said["password"], by=user)
        if SESSION_KEY in request.session:
            update_session_auth_hash(request, user)
        messages.success(request, _("Your password is a new one; elsewhere you are signed out."))
        return redirect("today")
    if form.has_error("old_password", "password_incorrect"):
        guesses.wrong()
    return render(request, "mill/person.html", {"title": _("Your password"), "form": form})


@require_http_methods(["GET", "POST"])
@login_not_required
@room("mill")
def own_language(request: HttpRequest) -> HttpResponse:
    """In which language the book speaks: to a person who is signed in, and to this browser at the door."""
    chosen = request.POST.get("language", "")
    if request.method == "POST" and chosen in language.CODES:
        if request.user.is_authenticated:
            people.speak(request.user, language=chosen, by=request.user)
        back = request.POST.get("next", "")
        is_ours = url_has_allowed_host_and_scheme(back, {request.get_host()}, require_https=request.is_secure())
        answer = redirect(back if is_ours else reverse("own_language"))
        language.remember(answer, chosen)
        translation.activate(chosen)
        messages.success(request, _("The book speaks English to you."))
        return answer
    return render(request, "mill/own_language.html", {"title": _("Your language"), "languages": settings.LANGUAGES})


@require_GET
@room("mill")
def roles_page(request: HttpRequest) -> HttpResponse:
    """What each role may do, as the program asks it."""
    parts = [
        {
            "what": part.what,
            "cells": [roles.can(part, role) for role in roles.ROLES],
        }
        for part in roles.PARTS
    ]
    return render(
        request,
        "mill/roles.html",
        {
            "title": _("What each role may do"),
            "roles": roles.ROLES,
            "parts": parts,
        },
    )


@require_POST
@room("mill")
def sit_as(request: HttpRequest) -> HttpResponse:
    """Look at an open book as one of its roles; nothing but fewer buttons comes of it."""
    role = request.POST.get("role", "")
    if role in roles.ROLES and sits_at_an_open_book(request):
        request.session[SITS_AS] = role
    else:
        request.session.pop(SITS_AS, None)
    return redirect("today")


urlpatterns = [
    path("sign-in/", SignIn.as_view(), name="sign_in"),
    path("sign-out/", LogoutView.as_view(), name="sign_out"),
    path("whose-book/", first_owner, name="first_owner"),
    path("mill/people/", people_list, name="people"),
    path("mill/people/new/", person_new, name="person_new"),
    path("mill/people/<int:pk>/", person, name="person"),
    path("mill/people/<int:pk>/password/", person_password, name="person_password"),
    path("mill/people/open/", lies_open, name="lies_open"),
    path("mill/roles/", roles_page, name="roles"),
    path("mill/sit-as/", sit_as, name="sit_as"),
    path("password/", own_password, name="own_password"),
    path("language/", own_language, name="own_language"),
]

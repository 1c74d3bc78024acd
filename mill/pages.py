"""Pages of the whole book, which no app owns: the account of changes, programs' tokens, and the keys."""

from typing import Any

import django_filters
from django import forms
from django.contrib import messages
from django.contrib.auth import get_user_model
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import include, path
from django.utils.html import format_html_join
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from mill import api, changes, roles, tokens
from mill.desk import KEYS_COOKIE, ROOM_KEYS, ROOMS, room
from mill.fields import DayInput
from mill.listing import Column, listing
from mill.models import ApiToken, Change
from mill.refusal import Refusal
from mill.templatetags.mill import moment


class ChangeFilter(django_filters.FilterSet):
    kind = django_filters.ChoiceFilter(
        label=gettext_lazy("Of"), choices=changes.kinds, empty_label=gettext_lazy("anything")
    )
    by = django_filters.ModelChoiceFilter(
        label=gettext_lazy("By"), queryset=get_user_model().objects.all(), empty_label=gettext_lazy("anybody")
    )
    from_day = django_filters.DateFilter(
        label=gettext_lazy("From"), field_name="at", lookup_expr="date__gte", widget=DayInput()
    )
    to_day = django_filters.DateFilter(
        label=gettext_lazy("To"), field_name="at", lookup_expr="date__lte", widget=DayInput()
    )

    class Meta:
        model = Change
        fields = ["kind", "by"]


def _who(change: Change) -> str:
    return change.by.get_full_name() or change.by.get_username() if change.by else ""


def _said(change: Change) -> str:
    if change.what != Change.CHANGED:
        return _(change.get_what_display())
    altered = (
        _("%(what)s: %(before)s to %(after)s") % {"what": one.label, "before": one.before, "after": one.after}
        for one in change.altered
    )
    return "; ".join(altered) or _("written again as it was")


def _shown(change: Change) -> Any:
    if not change.altered:
        return _said(change)
    rows = ((one.label, one.before, one.after) for one in change.altered)
    return format_html_join("", "<div>{}: <del>{}</del> <ins>{}</ins></div>", rows)


COLUMNS = [
    Column(gettext_lazy("When"), lambda change: change.at, "pk", shown=lambda change: moment(change.at)),
    Column(gettext_lazy("Who"), _who, shown=lambda change: _who(change) or _("nobody named")),
    Column(gettext_lazy("Of"), lambda change: changes.kind_said(change.kind), "kind"),
    Column(
        gettext_lazy("Record"),
        lambda change: change.record,
        link=lambda change: changes.page_of(change.kind, change.row_pk),
    ),
    Column(gettext_lazy("Change"), _said, shown=_shown),
    Column(gettext_lazy("Why"), lambda change: change.why, shown=lambda change: changes.why_said(change.why)),
]


@room("mill")
@require_GET
def account(request: HttpRequest) -> HttpResponse:
    """Every change of the book, the latest first."""
    return _listed(request, Change.objects.all(), title=_("Changes"))


@room("mill")
@require_GET
def account_of(request: HttpRequest, kind: str, pk: int) -> HttpResponse:
    """What became of one record, the latest first."""
    if kind not in changes.kept() or pk > 2**63 - 1:
        raise Http404
    own = Change.objects.filter(kind=kind, row_pk=pk)
    last = changes.told(own.order_by("-pk")).first()
    if last is None or kind in changes.kept_from(roles.roles_of(request.user)):
        raise Http404
    title = _("Changes of %(kind)s %(record)s") % {"kind": changes.kind_said(kind), "record": last.record}
    return _listed(request, changes.of(kind, pk), title=title)


def _listed(request: HttpRequest, rows: QuerySet[Change], *, title: str) -> HttpResponse:
    hidden = changes.kept_from(roles.roles_of(request.user))
    rows = changes.told(rows.exclude(kind__in=hidden).order_by("-pk"))
    return listing(
        request,
        rows,
        columns=COLUMNS,
        filterset=ChangeFilter,
        template="mill/changes.html",
        name="changes",
        title=title,
    )


class TokenForm(forms.ModelForm):
    class Meta:
        model = ApiToken
        fields = ["name", "may_write", "ends_on"]
        widgets = {"ends_on": DayInput()}
        labels = {"may_write": gettext_lazy("It may write as well as read")}

    roles = forms.MultipleChoiceField(
        label=gettext_lazy("Narrowed to"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text=gettext_lazy("Without any it does all that you may, now and later."),
    )
    field_order = ("name", "may_write", "roles", "ends_on")

    def __init__(self, *args: Any, maker: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["roles"].choices = [(role, role) for role in tokens.may_be_given(maker)]  # type: ignore[attr-defined]


@room("mill")
def tokens_page(request: HttpRequest) -> HttpResponse:
    """One's own tokens, and everybody's to who runs the book. A new one's secret is shown in the answer, once."""
    form = TokenForm(request.POST or None, maker=request.user)
    secret, made = "", None
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        try:
            made, secret = tokens.make_token(
                name=said["name"],
                may_write=said["may_write"],
                ends_on=said["ends_on"],
                held=said["roles"],
                by=request.user,
            )
            form = TokenForm(maker=request.user)
        except Refusal as refusal:
            form.add_error(refusal.field, refusal.message)
    rows = [
        (token, ", ".join(_(role) for role in roles.ROLES if role in token.named_roles))
        for token in tokens.seen_by(request.user).select_related("user")
    ]
    context = {"title": _("Tokens"), "form": form, "secret": secret, "made": made, "tokens": rows}
    answer = render(request, "mill/tokens.html", context)
    answer["Cache-Control"] = "no-store"
    return answer


@room("mill")
@require_POST
def token_withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    token = get_object_or_404(tokens.seen_by(request.user), pk=pk)
    tokens.withdraw_token(token, by=request.user)
    messages.success(request, _("The token %(name)s is withdrawn: it opens nothing any more.") % {"name": token.name})
    return redirect("tokens")


def _keys() -> list[dict[str, Any]]:
    return [
        {"press": ["/"], "does": _("Goes to the box that finds things")},
        *({"press": ["g", ROOM_KEYS[name]], "does": _("Goes to %(room)s") % {"room": label}} for name, label in ROOMS),
        {"press": ["n"], "does": _("Begins a new order")},
        {"press": ["j"], "does": _("Goes to the next row of a list; Enter opens it")},
        {"press": ["k"], "does": _("Goes to the row before")},
        {"press": ["Esc"], "does": _("Shuts what was found while typing")},
        {"press": ["?"], "does": _("Shows this page")},
    ]


@require_http_methods(["GET", "POST"])
def keys_page(request: HttpRequest) -> HttpResponse:
    """The keys of the desk, and a way to turn them off: kept by this browser for a year."""
    if request.method == "POST":
        answer = redirect("keys")
        said = "off" if request.POST.get("keys") == "off" else "on"
        answer.set_cookie(KEYS_COOKIE, said, max_age=365 * 24 * 3600, samesite="Lax", httponly=True)
        on, off = _("The keys are on in this browser."), _("The keys are off in this browser.")
        messages.success(request, off if said == "off" else on)
        return answer
    return render(request, "mill/keys.html", {"title": _("Keys"), "keys": _keys()})


urlpatterns = [
    path("keys/", keys_page, name="keys"),
    path("mill/tokens/", tokens_page, name="tokens"),
    path("mill/tokens/<int:pk>/withdraw/", token_withdraw, name="token_withdraw"),
    path("mill/changes/", account, name="changes"),
    path("mill/changes/<str:kind>/<int:pk>/", account_of, name="changes_of"),
    path("api/", include(api.urlpatterns)),
]

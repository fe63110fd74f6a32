"""Log-in, one's own account and tokens; people and organisation for the administrator."""

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.contrib.auth.decorators import login_required
from django.contrib.auth.views import LoginView, LogoutView
from django.db.models import Q
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.decorators import method_decorator
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.people import forms, services
from fleet.people.access import needs
from fleet.people.models import Person, Token
from fleet.trail import reader
from fleet.trail.models import Change
from fleet.web import export, paging
from fleet.web.refusals import Refused


@method_decorator(sensitive_post_parameters("password"), name="dispatch")
@method_decorator(never_cache, name="dispatch")
class LogIn(LoginView):
    template_name = "people/log_in.html"
    authentication_form = forms.LogInForm
    redirect_authenticated_user = True

    def form_invalid(self, form):
        return self.render_to_response(self.get_context_data(form=form), status=422)


class LogOut(LogoutView):
    http_method_names = ["post", "options"]


def _try(form, verb, **arguments):
    """Call the service; its refusal goes on the form. Returns (done, result)."""
    try:
        return True, verb(**arguments)
    except Refused as refusal:
        form.add_error(refusal.field if refusal.field in form.fields else None, str(refusal))
        return False, None


@never_cache
@login_required
@require_http_methods(["GET", "POST"])
def own(request):
    form = forms.OwnForm(request.POST or None, instance=request.user)
    if form.is_valid():
        done, _person = _try(form, services.change_own, person=request.user, **form.cleaned_data)
        if done:
            messages.success(request, _("Kept."))
            return redirect("people:own")
    context = {"form": form, "tokens": Token.objects.of(request.user).valid().order_by("-id")}
    return render(request, "people/own.html", context, status=422 if form.errors else 200)


@sensitive_post_parameters()
@never_cache
@login_required
@require_http_methods(["GET", "POST"])
def own_password(request):
    form = forms.OwnPasswordForm(request.POST or None)
    if form.is_valid():
        words = {name: form.cleaned_data[name] for name in ("old", "new")}
        done, _none = _try(form, services.change_own_password, person=request.user, **words)
        if done:
            update_session_auth_hash(request, request.user)
            messages.success(request, _("Your password is changed. Other devices have to log in again."))
            return redirect("people:own")
    return render(request, "people/own_password.html", {"form": form}, status=422 if form.errors else 200)


@never_cache
@login_required
@require_http_methods(["GET", "POST"])
def add_token(request):
    form = forms.TokenForm(request.POST or None)
    if form.is_valid():
        done, made = _try(form, services.make_token, person=request.user, **form.cleaned_data)
        if done:
            token, key = made
            return render(request, "people/token_made.html", {"token": token, "key": key})
    return render(request, "people/token.html", {"form": form}, status=422 if form.errors else 200)


@login_required
@require_http_methods(["GET", "POST"])
def revoke_token(request, token_id):
    token = get_object_or_404(Token.objects.of(request.user).valid(), pk=token_id)
    if request.method == "POST":
        services.revoke_token(by=request.user, token=token)
        messages.success(request, _("Revoked. Programs that use it are shut out."))
        return redirect("people:own")
    return render(
        request,
        "web/confirm.html",
        {
            "question": _("Revoke the token “%(name)s”?") % {"name": token.name},
            "consequences": [_("Programs that use it are shut out at once."), _("It cannot be brought back.")],
            "yes": _("Revoke it"),
            "danger": True,
            "back": reverse("people:own"),
        },
    )


PEOPLE_COLUMNS = [
    export.Column(_lazy("Log-in name"), "username"),
    export.Column(_lazy("First name"), "first_name"),
    export.Column(_lazy("Last name"), "last_name"),
    export.Column(_lazy("Role"), "role"),
    export.Column(_lazy("Telephone"), "phone"),
    export.Column(_lazy("E-mail"), "email"),
    export.Column(_lazy("Language"), "language"),
    export.Column(_lazy("Last here"), "last_login"),
    export.Column(_lazy("The account is open"), "is_active"),
]


@needs("people")
@require_safe
def people(request):
    form = forms.FindPersonForm(request.GET)
    found = Person.objects.visible_to(request.user)
    if form.is_valid():
        words = form.cleaned_data["q"].strip()
        if words:
            found = found.filter(
                Q(first_name__icontains=words) | Q(last_name__icontains=words) | Q(username__icontains=words)
            )
        if form.cleaned_data["role"]:
            found = found.filter(role=form.cleaned_data["role"])
    if export.asked(request):
        return export.answer(request, "people", PEOPLE_COLUMNS, found.order_by("first_name", "last_name", "id"))
    page = paging.page(request, found, ["first_name", "last_name"])
    return render(request, "people/list.html", {"page": page, "filter_form": form})


@never_cache
@needs("people")
@require_http_methods(["GET", "POST"])
def add_person(request):
    form = forms.PersonForm(request.POST or None)
    if form.is_valid():
        done, made = _try(
            form, services.add_person, by=request.user, organisation=request.user.organisation, **form.cleaned_data
        )
        if done:
            person, password = made
            return render(request, "people/password_made.html", {"person": person, "password": password})
    return render(request, "people/add.html", {"form": form}, status=422 if form.errors else 200)


def _colleague(request, person_id):
    return get_object_or_404(Person.objects.visible_to(request.user), pk=person_id)


@needs("people")
@require_http_methods(["GET", "POST"])
def person(request, person_id):
    someone = _colleague(request, person_id)
    start = {name: getattr(someone, name) for name in forms.ChangePersonForm.base_fields}
    form = forms.ChangePersonForm(request.POST or None, initial=start)
    if form.is_valid():
        done, _person = _try(form, services.change_person, by=request.user, person=someone, **form.cleaned_data)
        if done:
            messages.success(request, _("Kept."))
            return redirect("people:list")
    context = {"someone": someone, "form": form, "tokens": someone.tokens.valid().order_by("-id")}
    return render(request, "people/person.html", context, status=422 if form.errors else 200)


@never_cache
@needs("people")
@require_http_methods(["GET", "POST"])
def new_password(request, person_id):
    someone = _colleague(request, person_id)
    if request.method == "POST":
        password = services.give_new_password(by=request.user, person=someone)
        return render(request, "people/password_made.html", {"person": someone, "password": password})
    return render(
        request,
        "web/confirm.html",
        {
            "question": _("Give %(name)s a new password?") % {"name": someone},
            "consequences": [
                _("The old one no longer opens the account, and open sessions end."),
                _("The new one is shown once: read it out or write it down for them."),
            ],
            "yes": _("Give a new password"),
            "back": reverse("people:person", args=[someone.pk]),
        },
    )


@needs("people")
@require_POST
def revoke_colleagues_token(request, person_id, token_id):
    token = get_object_or_404(Token.objects.of(_colleague(request, person_id)).valid(), pk=token_id)
    services.revoke_token(by=request.user, token=token)
    messages.success(request, _("Revoked. Programs that use it are shut out."))
    return redirect("people:person", person_id)


@needs("people")
@require_http_methods(["GET", "POST"])
def organisation(request):
    ours = request.user.organisation
    form = forms.OrganisationForm(request.POST or None, instance=ours)
    if form.is_valid():
        done, _ours = _try(form, services.change_organisation, by=request.user, organisation=ours, **form.cleaned_data)
        if done:
            messages.success(request, _("Kept."))
            return redirect("people:organisation")
    return render(request, "people/organisation.html", {"form": form, "ours": ours}, status=422 if form.errors else 200)


CHANGE_COLUMNS = [
    export.Column(_lazy("When"), "at"),
    export.Column(_lazy("Who"), "who"),
    export.Column(_lazy("Where from"), "via"),
    export.Column(_lazy("What"), "what"),
    export.Column(_lazy("Number"), "row_id"),
    export.Column(_lazy("Change"), "word"),
    export.Column(_lazy("Field"), "name"),
    export.Column(_lazy("Before"), "was"),
    export.Column(_lazy("After"), "now"),
]


@needs("trail")
@require_safe
def changes(request):
    """All that this organisation's people changed, the newest first."""
    found = Change.objects.by_people_of(request.user.organisation_id).select_related("person")
    if export.asked(request):
        return export.answer(request, "changes", CHANGE_COLUMNS, reader.lines(found.order_by("-id")))
    page = paging.page(request, found, ["-id"])
    return render(request, "people/changes.html", {"page": page})

"""The administrator's pages: procedures and inspection rules."""

import copy

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.people.access import may, needs
from fleet.visits import forms, services
from fleet.visits.forms.trying import attempt
from fleet.visits.models import InspectionRule, Procedure, Visit
from fleet.visits.procedures import CAUTIONS
from fleet.visits.procedures.reading import cautions_in_words, in_words
from fleet.web import export

RULE_COLUMNS = [
    export.Column(gettext_lazy("Rule"), "name"),
    export.Column(gettext_lazy("After"), "amount"),
    export.Column(gettext_lazy("Counts"), "get_basis_display"),
    export.Column(gettext_lazy("On"), "active"),
]
STEP_COLUMNS = [  # a row a step, so that a procedure can be read and checked on paper
    export.Column(gettext_lazy("Procedure"), "procedure"),
    export.Column(gettext_lazy("Version"), "version"),
    export.Column(gettext_lazy("Step"), "number"),
    export.Column(gettext_lazy("What to do"), "title"),
    export.Column(gettext_lazy("How"), "text"),
    export.Column(gettext_lazy("Cautions"), "cautions"),
]


@needs("read_fleet")
@require_safe
def procedure_list(request):
    services.set_up(request.user.organisation)
    order = list(Visit.Kind.values)
    in_use = Procedure.objects.filter(organisation=request.user.organisation, in_use=True)
    if export.asked(request):
        rows = (row for p in sorted(in_use, key=lambda p: order.index(p.kind)) for row in _steps(p))
        return export.answer(request, "procedures", STEP_COLUMNS, rows)
    context = {
        "procedures": [(p, _(p.title), len(p.steps)) for p in sorted(in_use, key=lambda p: order.index(p.kind))],
        "may_change": may(request.user, "procedures"),
    }  # fmt: skip
    return render(request, "visits/procedures.html", context)


def _steps(procedure):
    words = cautions_in_words()
    for number, step in enumerate(in_words(procedure.steps), 1):
        cautions = "; ".join(str(words[code]["title"]) for code in step.get("cautions", []) if code in words)
        yield {
            "procedure": _(procedure.title), "version": procedure.version, "number": number, "title": step["title"],
            "text": step["text"], "cautions": cautions,
        }  # fmt: skip


@needs("read_fleet")
@require_safe
def procedure_page(request, procedure_id):
    procedure = get_object_or_404(Procedure, organisation=request.user.organisation, pk=procedure_id)
    versions = Procedure.objects.filter(organisation=request.user.organisation, kind=procedure.kind)
    words = cautions_in_words()
    steps = in_words(procedure.steps)
    for step in steps:
        step["caution_words"] = [(c, words[c]["title"]) for c in step.get("cautions", []) if c in words]
    marks = sorted({c for s in steps for c in s.get("cautions", [])}, key=list(CAUTIONS).index)
    context = {
        "procedure": procedure, "title": _(procedure.title), "steps": steps, "versions": versions,
        "cautions": [(c, words[c]) for c in marks], "may_change": may(request.user, "procedures"),
    }  # fmt: skip
    return render(request, "visits/procedure.html", context)


@needs("procedures")
@require_http_methods(["GET", "POST"])
def change_procedure(request, procedure_id):
    procedure = get_object_or_404(Procedure, organisation=request.user.organisation, pk=procedure_id)
    form = forms.ProcedureForm(request.POST or None, initial={"title": procedure.title})
    steps = _steps_from(request.POST, procedure.steps) if request.method == "POST" else procedure.steps
    if form.is_valid():
        whole = form.cleaned_data["whole"]
        done, changed = attempt(
            form, services.change_procedure, procedure=procedure, title=form.cleaned_data["title"],
            steps=whole if whole is not None else steps, by=request.user,
        )  # fmt: skip
        if done:
            messages.success(request, _("Version %(n)d is in use from now on.") % {"n": changed.version})
            return redirect("visits:procedure", changed.pk)
    context = {
        "procedure": procedure, "form": form, "all_cautions": cautions_in_words().items(),
        "steps": [(i, s) for i, s in enumerate(steps)],
    }  # fmt: skip
    return render(request, "visits/change_procedure.html", context, status=422 if form.errors else 200)


def _steps_from(post, steps):
    """The steps as changed on the page: texts, order, cautions, which are needed, which go, and one new step."""
    found = []
    for i, old in enumerate(steps):
        if post.get(f"s{i}-gone"):
            continue
        step = copy.deepcopy(old)
        step["title"] = post.get(f"s{i}-title", step["title"]).strip()
        step["text"] = post.get(f"s{i}-text", step.get("text", "")).strip()
        step["cautions"] = [c for c in CAUTIONS if c in post.getlist(f"s{i}-cautions")]
        step["needed"] = bool(post.get(f"s{i}-needed"))
        try:
            place = float(post.get(f"s{i}-place", i + 1))
        except ValueError:
            place = i + 1
        found.append((place, i, step))
    title = post.get("new-title", "").strip()
    if title:
        code = (slugify(title) or "step").replace("-", "_")[:30]
        taken = {s["code"] for _p, _i, s in found}
        while code in taken:
            code += "_x"
        new = {
            "code": code, "title": title, "text": post.get("new-text", "").strip(), "needed": True,
            "cautions": [c for c in CAUTIONS if c in post.getlist("new-cautions")],
            "captures": [{"code": "done", "kind": "yes_no", "label": "Done", "required": True},
                         {"code": "words", "kind": "note", "label": "In words", "required": False}],
            "rules": [],
        }  # fmt: skip
        try:
            place = float(post.get("new-place") or len(steps) + 1)
        except ValueError:
            place = len(steps) + 1
        found.append((place, len(steps), new))
    return [step for _place, _i, step in sorted(found, key=lambda row: row[:2])]


@needs("procedures")
@require_POST
def bring_back(request, procedure_id):
    procedure = get_object_or_404(Procedure, organisation=request.user.organisation, pk=procedure_id)
    services.bring_back(procedure=procedure, by=request.user)
    messages.success(request, _("Version %(n)d is in use again.") % {"n": procedure.version})
    return redirect("visits:procedure", procedure.pk)


@needs("read_fleet")
@require_safe
def rule_list(request):
    services.set_up(request.user.organisation)
    rules = InspectionRule.objects.filter(organisation=request.user.organisation)
    if export.asked(request):
        return export.answer(request, "inspection-rules", RULE_COLUMNS, rules)
    return render(request, "visits/rules.html", {"rules": rules, "may_change": may(request.user, "procedures")})


@needs("procedures")
@require_http_methods(["GET", "POST"])
def change_rule(request, rule_id=None):
    rule = get_object_or_404(InspectionRule, organisation=request.user.organisation, pk=rule_id) if rule_id else None
    form = forms.RuleForm(request.POST or None, instance=rule)
    if form.is_valid() and attempt(form, services.change_rule, rule=rule, by=request.user, **form.cleaned_data)[0]:
        messages.success(request, _("The rule is kept."))
        return redirect("visits:rules")
    return render(request, "visits/rule.html", {"form": form, "rule": rule}, status=422 if form.errors else 200)

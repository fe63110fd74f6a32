"""Both sides of what came home to a visit that changed meanwhile: a person takes over or leaves out, piece by piece."""

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.dateparse import parse_date
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_http_methods, require_safe

from fleet.people.access import needs
from fleet.visits import codes, services
from fleet.visits.models import FieldPiece, Visit
from fleet.visits.procedures.reading import in_words
from fleet.web.refusals import Refused

NAMES = {
    "failure_mode": (gettext_lazy("How it shows"), codes.FAILURE_MODES), "item": (gettext_lazy("Where"), codes.ITEMS),
    "mechanism": (gettext_lazy("What happened inside"), codes.MECHANISMS), "cause": (gettext_lazy("Why"), codes.CAUSES),
    "detection": (gettext_lazy("How it was found"), codes.DETECTIONS),
    "action": (gettext_lazy("What was done"), codes.ACTIONS),
}  # fmt: skip


@needs("assign")
@require_http_methods(["GET", "POST"])
def settle(request, key):
    visits = Visit.objects.visible_to(request.user).select_related("site", "technician", "procedure", "installation")
    visit = get_object_or_404(visits, key=key)
    sides = services.sides(visit)
    if request.method == "POST" and "move" in request.POST:
        return _settle_move(request, visit)
    if request.method == "POST":
        take, leave = _chosen(request.POST, sides)
        try:
            rows = services.settle(visit=visit, take=take, leave=leave, by=request.user)
        except Refused as refusal:
            messages.error(request, str(refusal))
        else:
            _say(request, rows)
            if len(rows) == len(sides):
                return redirect("visits:visit", key)
        return redirect("visits:settle_pieces", key)
    steps = {step["code"]: step for step in in_words(visit.procedure.steps if visit.procedure else [])}
    rows = [_row(visit, side, steps.get(side.piece.payload.get("step")), request.user) for side in sides]
    groups = {}
    for row in rows:
        groups.setdefault(row["piece"].person, []).append(row)
    moves = visit.state in {Visit.State.PROPOSED, Visit.State.ASSIGNED, Visit.State.CANCELLED}
    moved = visit.pieces.moved_meanwhile().select_related("person").first()
    packed_for = parse_date(str(moved.payload.get("day") or "")[:10]) if moved else None
    context = {
        "visit": visit, "groups": list(groups.items()), "moves": moves, "moved": moved, "packed_for": packed_for,
    }  # fmt: skip
    return render(request, "visits/field/settle.html", context)


def _settle_move(request, visit):
    try:
        new = services.settle_move(visit=visit, by=request.user, again=request.POST["move"] == "again")
    except Refused as refusal:
        messages.error(request, str(refusal))
        return redirect("visits:settle_pieces", visit.key)
    messages.success(request, _("The new visit is planned.") if new else _("Settled: this visit was it."))
    return redirect("visits:visit", new.key if new else visit.key)


@needs("assign")
@require_safe
def piece_picture(request, key):
    """A photo that waits to be settled."""
    piece = get_object_or_404(FieldPiece.objects.visible_to(request.user), key=key, kind=FieldPiece.Kind.PHOTO)
    data = services.picture_of(piece)
    if data is None:
        raise Http404
    return HttpResponse(data, content_type="image/jpeg", headers={"Cache-Control": "private, max-age=600"})


def _chosen(sent, sides):
    """(keys to take, keys to leave): by a button for all of a person, or as chosen one by one."""
    for deed in ("take", "leave"):
        if person := sent.get(f"{deed}_all"):
            all_of = [side.piece.key for side in sides if str(side.piece.person_id) == person]
            return (all_of, []) if deed == "take" else ([], all_of)
    chosen = {name.removeprefix("piece-"): value for name, value in sent.items() if name.startswith("piece-")}
    return [k for k, v in chosen.items() if v == "take"], [k for k, v in chosen.items() if v == "leave"]


def _say(request, rows):
    taken = [row for row in rows if row.state != FieldPiece.State.LEFT_OUT]
    for row in taken:
        if row.state == FieldPiece.State.REFUSED:
            messages.warning(request, f"{row.get_kind_display()}: {row.sentence}")
    left = len(rows) - len(taken)
    if n := sum(row.state == FieldPiece.State.TAKEN for row in taken):
        messages.success(request, ngettext("%(n)d part is taken over.", "%(n)d parts are taken over.", n) % {"n": n})
    if left:
        said = ngettext("%(n)d part is left out.", "%(n)d parts are left out.", left)
        messages.success(request, said % {"n": left})


def _row(visit, side, step, person):
    """A piece as the page shows it: its lines, each with what stands in its place and whether the two differ."""
    piece, other = side.piece, side.other
    here = set(visit.photos.values_list("key", flat=True)) if side.own_photos else set()
    if step:
        mine = services.readable(step, piece.payload.get("values"), person)
        theirs = services.readable(step, other.values if other else {}, person)
        lines = [
            (label, mine.get(code), theirs.get(code), other is not None and mine.get(code) != theirs.get(code))
            for code, label in services.lines_of(step, mine, theirs)
        ]  # fmt: skip
    else:
        lines = [(*line, bool(line[2]) and line[1] != line[2]) for line in _plain(visit, piece)]
    return {
        "piece": piece, "other": other, "step": step, "lines": lines,
        "own_photos": [(key, key in here) for key in side.own_photos], "other_photos": side.other_photos,
        "skipped": piece.payload.get("skipped_why", ""),
    }  # fmt: skip


def _plain(visit, piece):
    """(name, value, what stands on the visit) of a piece that is no step."""
    payload = piece.payload
    if piece.kind == FieldPiece.Kind.FINDING:
        for name, (label, words) in NAMES.items():
            if payload.get(name):
                yield label, str(words.get(payload[name], payload[name])), None
        if payload.get("words"):
            yield _("In words"), payload["words"], None
    elif piece.kind == FieldPiece.Kind.PART:
        part = visit.organisation.part_types.filter(code=str(payload.get("part"))).first()
        yield _("Part"), str(part.name if part else payload.get("part")), None
        serials = (("quantity", _("How many")), ("serial_out", _("Serial out")), ("serial_in", _("Serial in")))
        for name, label in serials:
            if payload.get(name):
                yield label, payload[name], None
    elif piece.kind == FieldPiece.Kind.LEAVE:
        yield _("Kilometres"), payload.get("km"), visit.km
        yield _("Caretaker's words"), payload.get("caretaker_words") or None, visit.caretaker_words or None
        yield _("Not done, and why"), payload.get("not_done") or None, visit.not_done or None

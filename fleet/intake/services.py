"""The verbs of tables: receive a file, match its columns, look it through, keep it; the same in one go for commands."""

import csv
import hashlib
import io
import tempfile
from itertools import islice
from pathlib import Path

from django.conf import settings
from django.core.files import File
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from fleet.intake import columns as heads_of
from fleet.intake import files, tables
from fleet.intake.days import DAY_FIRST, MONTH_FIRST
from fleet.intake.errors import WrongFile
from fleet.intake.given import GivenRows
from fleet.intake.models import Fault, SavedMapping, Upload
from fleet.intake.run import ALL, GOOD, LOOK, bring_in
from fleet.jobs import services as jobs
from fleet.web.refusals import Refused

AT_ONCE_BYTES = 200_000  # smaller files are looked through while the page waits


def _require(person, table):
    if table is None:
        raise Refused("no_such_table", _("There is no such table."))
    if person is not None and not tables.allowed(person, table):
        raise Refused("not_allowed", _("Your role does not allow this. Ask a coordinator or an administrator."))


def likely_heads(table):
    """The plain words by which the row of heads is known."""
    return {heads_of.plain(w) for c in table.columns for w in (c.name, c.title, *c.aliases)}


def _hash_of(heads):
    return hashlib.sha256("\n".join(heads_of.plain(h) for h in heads).encode()).hexdigest()


def receive(*, table, file, by):
    """Take in a file (a Django upload) for a table; it is looked at, not read yet. Returns the Upload."""
    _require(by, table)
    if file.size > settings.UPLOAD_MAX_BYTES:
        most = settings.UPLOAD_MAX_BYTES // (1024 * 1024)
        raise WrongFile("too_big", _("This file is bigger than %(most)s MB. Split it, or bring it in by the command "
                                     "import_table.") % {"most": most})  # fmt: skip
    upload = Upload(organisation_id=by.organisation_id, by=by, table=table.name, name=str(file.name)[-200:],
                    size=file.size)  # fmt: skip
    digest = hashlib.sha256()
    for block in file.chunks():
        digest.update(block)
    upload.sha256 = digest.hexdigest()
    file.seek(0)
    upload.file.save(file.name, file, save=False)
    try:
        source = files.open_table(upload.file.path, upload.name, likely_heads(table))
    except WrongFile:
        upload.file.delete(save=False)
        raise
    upload.heads = source.heads
    before = Upload.objects.filter(
        organisation_id=by.organisation_id, table=table.name, sha256=upload.sha256, state=Upload.State.KEPT
    ).order_by("-kept_at").first()  # fmt: skip
    if before:
        source.notes.append(_("The same file was kept on %(day)s; rows that have not changed stay as they are.")
                            % {"day": f"{before.kept_at:%Y-%m-%d}"})  # fmt: skip
    upload.result = {"notes": source.notes, "samples": samples(source)}
    saved = SavedMapping.objects.filter(
        organisation_id=by.organisation_id, table=table.name, heads_hash=_hash_of(source.heads)
    ).first()
    upload.mapping = saved.mapping if saved else {}
    upload.save()
    return upload


def samples(source):
    """For each column of the file its first few cells that say something, to know it by when it is matched."""
    found = [[] for _head in source.heads]
    with source.rows() as rows:
        for _line, cells in islice(rows, 200):
            for shown, cell in zip(found, cells, strict=False):
                text = str(int(cell) if isinstance(cell, float) and cell.is_integer() else cell).strip()[:40]
                if text and len(shown) < 3 and text not in shown:
                    shown.append(text)
    return found


def set_day_orders(*, upload, orders, by):
    """The user's word on columns whose days could be read two ways: {head: "dmy" or "mdy"}."""
    asked = {question["head"] for question in upload.result.get("questions") or []}
    wanted = {head: order for head, order in orders.items() if head in asked and order in {DAY_FIRST, MONTH_FIRST}}
    if not wanted:
        raise Refused("which_first", _("Say whether the day or the month comes first."))
    known = upload.mapping.get("date_orders") or {}
    return set_mapping(upload=upload, mapping=upload.mapping | {"date_orders": known | wanted}, by=by)


def set_words(*, upload, meanings, by):
    """The user's word on what cells of columns of choices mean: {(head, cell): one of the choices}."""
    asked = {(one["head"], cell): {value for value, _title in one["choices"]}
             for one in upload.result.get("words") or [] for cell in one["cells"]}  # fmt: skip
    wanted = {key: value for key, value in meanings.items() if value in asked.get(key, ())}
    if not wanted:
        raise Refused("which_word", _("Say what at least one of these words means."))
    table = tables.find(upload.table)
    uses = heads_of.match(upload.heads, table.columns, upload.mapping.get("columns"))
    chosen = dict(upload.mapping.get("columns") or {})
    for index, use in uses.items():
        head = upload.heads[index]
        said = {cell: value for (of, cell), value in wanted.items() if of == head}
        if said:
            chosen[head] = {"to": use.column, "unit": use.unit, "values": use.values | said}
    return set_mapping(upload=upload, mapping=upload.mapping | {"columns": chosen}, by=by)


def set_mapping(*, upload, mapping, by):
    """How this file's columns are to be read; remembered for the next file with the same heads."""
    table = tables.find(upload.table)
    _require(by, table)
    if upload.state == Upload.State.KEPT:
        raise Refused("kept_already", _("This file has been kept already. Send it again to read it differently."))
    wanted = [u.column for u in heads_of.match(upload.heads, table.columns, mapping.get("columns")).values()]
    for name in wanted:
        if wanted.count(name) > 1:
            raise Refused("matched_twice", _("Two columns of the file are matched with “%(title)s”. Leave one out.")
                          % {"title": table.column(name).title})  # fmt: skip
    upload.mapping = mapping
    upload.state = Upload.State.ARRIVED
    upload.save(update_fields=["mapping", "state"])
    SavedMapping.objects.update_or_create(
        organisation_id=upload.organisation_id, table=upload.table, heads_hash=_hash_of(upload.heads),
        defaults={"mapping": {name: said for name, said in mapping.items() if name != "replace"}},  # said each time
    )  # fmt: skip
    return upload


def ask(*, upload, word, by, address=""):
    """Look a file through (word "look") or keep it ("all", "good"): at once where it is small, else as long work.

    Returns the Upload; its `job` is set where the work goes on behind.
    """
    table = tables.find(upload.table)
    _require(by, table)
    if word not in {LOOK, ALL, GOOD}:
        raise Refused("no_such_word", _("Say whether to look, to keep all, or to keep the good rows."))
    if upload.state == Upload.State.KEPT:
        raise Refused("kept_already", _("This file has been kept already."))
    if word != LOOK and upload.state != Upload.State.LOOKED:
        raise Refused("look_first", _("Look the file through first; then keep it."))
    if upload.size <= AT_ONCE_BYTES:
        carry_out(upload=upload, word=word, by=by)
        return upload
    title = (_("Looking through %(name)s") if word == LOOK else _("Keeping %(name)s")) % {"name": upload.name}
    upload.job = jobs.start(
        kind="intake.read", title=title, arguments={"upload_id": str(upload.pk), "word": word}, by=by, address=address
    )
    upload.save(update_fields=["job"])
    return upload


def carry_out(*, upload, word, by, progress=None):
    """Read the file as asked and write down what came of it. Safe to run twice: rows kept once stay the same."""
    table = tables.find(upload.table)
    organisation = upload.organisation
    with tempfile.TemporaryDirectory() as folder:
        rejects = Path(folder) / "rejects.csv"
        try:
            source = files.open_table(upload.file.path, upload.name, likely_heads(table))
            outcome = bring_in(
                table=table, source=source, mapping=upload.mapping, organisation=organisation, by=by, word=word,
                rejects=rejects, progress=progress,
            )  # fmt: skip
        except Refused as refusal:
            upload.state, upload.trouble = Upload.State.FAILED, str(refusal)
            upload.save(update_fields=["state", "trouble"])
            raise
        _write_down(upload, outcome, rejects)
    return outcome


@transaction.atomic
def _write_down(upload, outcome, rejects):
    upload.faults.all().delete()
    Fault.objects.bulk_create(
        [Fault(upload=upload, line=f.line, column=f.column, found=f.found.replace("\x00", ""), sentence=f.sentence,
               warning=f.warning) for f in outcome.faults],
        batch_size=5000,
    )  # fmt: skip
    upload.result = outcome.counts | {
        "notes": outcome.notes, "questions": outcome.questions, "words": outcome.words,
        "samples": upload.result.get("samples", []),
    }  # fmt: skip
    upload.state = Upload.State.KEPT if outcome.kept else Upload.State.LOOKED
    upload.trouble = ""
    upload.kept_at = timezone.now() if outcome.kept else None
    if upload.rejects:
        upload.rejects.delete(save=False)
    if outcome.rejected:
        with rejects.open("rb") as handle:
            upload.rejects.save("rejects.csv", File(handle), save=False)
    upload.save()


def bring_in_file(*, table, path, mapping=None, organisation, by=None, word=LOOK, rejects=None, progress=None):
    """The whole way for commands: the file at `path` into `table` (a name), by a mapping. Returns an Outcome."""
    found = tables.find(table)
    if found is None:
        raise Refused("no_such_table", _("There is no table %(name)s. There are: %(known)s.") % {
            "name": table, "known": ", ".join(t.name for t in tables.all_tables())})  # fmt: skip
    _require(by, found)
    source = files.open_table(path, Path(path).name, likely_heads(found))
    return bring_in(
        table=found, source=source, mapping=mapping, organisation=organisation, by=by, word=word, rejects=rejects,
        progress=progress,
    )  # fmt: skip


def bring_in_rows(*, table, heads, rows, organisation, by=None, word=LOOK, mapping=None):
    """The same for programs: `rows` as (number, cells) in order of `heads`. Returns an Outcome."""
    found = tables.find(table)
    _require(by, found)
    return bring_in(
        table=found, source=GivenRows(heads, rows), mapping=mapping, organisation=organisation, by=by, word=word
    )


# -- templates to download -------------------------------------------------------------------------------------------


def template_csv(table):
    """Heads, an example that is not read (it begins with #), and above them notes on each column."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow([f"# {table.title}. " + _("Rows that begin with # are not read.")])
    for column in table.columns:
        writer.writerow([f"# {column.name}: {_what(column)}"])
    writer.writerow([column.name for column in table.columns])
    writer.writerow(_example_row(table))
    return out.getvalue().encode("utf-8-sig")


def template_xlsx(table):
    """A sheet to fill in, and a sheet of notes."""
    import xlsxwriter

    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False})
    strong, soft = book.add_format({"bold": True, "bottom": 1}), book.add_format({"italic": True, "font_color": "#666"})
    wrap = book.add_format({"text_wrap": True, "valign": "top"})
    sheet, notes = book.add_worksheet(table.name[:31]), book.add_worksheet(_("Notes")[:31])
    for index, (column, example) in enumerate(zip(table.columns, _example_row(table), strict=True)):
        sheet.write_string(0, index, column.name, strong)
        sheet.write_string(1, index, example, soft)
        sheet.set_column(index, index, max(12, len(column.name) + 2))
        for place, words in enumerate([column.name, str(column.title), _what(column)]):
            notes.write_string(index + 2, place, words, wrap)
    sheet.freeze_panes(1, 1)
    notes.set_column(0, 1, 28)
    notes.set_column(2, 2, 80)
    notes.write_string(0, 0, _("Rows that begin with # are not read."), strong)
    book.close()
    return out.getvalue()


def _example_row(table):
    cells = [str(column.shown_example) for column in table.columns]
    return ["# " + cells[0], *cells[1:]] if cells else cells


def _what(column):
    parts = [str(column.title)]
    if column.wanted_unit:
        parts.append(_("in %(unit)s") % {"unit": column.wanted_unit})
    parts.append(_("needed") if column.required else _("may be empty"))
    choices = getattr(column.read, "choices", None)
    if choices:
        parts.append(_("one of: %(choices)s") % {"choices": ", ".join(choices)})
    if column.shown_example:
        parts.append(_("for example %(example)s") % {"example": column.shown_example})
    if column.note:
        parts.append(str(column.note))
    return "; ".join(parts)

"""Forms of the way in: which table and file; which column of the file is which."""

import re

from django import forms
from django.utils.translation import gettext_lazy as _

from fleet.intake import columns, numbers


class UploadForm(forms.Form):
    table = forms.ChoiceField(label=_("What the file holds"))
    file = forms.FileField(label=_("File"), help_text=_("CSV or XLSX, up to 250 MB."))

    def __init__(self, *args, tables=(), **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["table"].choices = [(t.name, t.title) for t in tables]
        self.fields["file"].widget.attrs["accept"] = ".csv,.txt,.tsv,.xlsx,.xlsm"


class MatchForm(forms.Form):
    """One choice for each column of the file, and how its days and decimals are written."""

    date_order = forms.ChoiceField(
        label=_("Days like 3/4/2025 are written"),
        required=False,
        choices=[("", _("find out from each column, or ask")), ("dmy", _("day first")), ("mdy", _("month first"))],
    )
    decimals = forms.ChoiceField(
        label=_("Decimals are written"),
        required=False,
        choices=[
            ("", _("find out from the file")), ("point", _("with a point: 12.5")), ("comma", _("with a comma: 12,5")),
        ],  # fmt: skip
    )

    def __init__(self, *args, upload, table, **kwargs):
        self.upload, self.table = upload, table
        mapping = upload.mapping
        comma = mapping.get("decimal_comma")
        kwargs.setdefault("initial", {
            "date_order": mapping.get("date_order") or "",
            "decimals": {True: "comma", False: "point"}.get(comma, ""),
        })  # fmt: skip
        super().__init__(*args, **kwargs)
        if table.replaces:
            self.fields["replace"] = forms.BooleanField(
                label=table.replaces, required=False, initial=bool(mapping.get("replace"))
            )
        self.uses = columns.match(upload.heads, table.columns, mapping.get("columns"))
        choices = [("", _("leave it out"))] + [
            (c.name, f"{c.title} ({c.wanted_unit})" if c.wanted_unit else c.title) for c in table.columns
        ]
        self.rows, known = [], {c.name: c for c in table.columns}
        for index, head in enumerate(upload.heads):
            if not head:
                continue
            use = self.uses.get(index)
            pick = forms.ChoiceField(label=head, required=False, choices=choices, initial=use.column if use else "")
            unit = forms.ChoiceField(
                label=_("unit of %(head)s") % {"head": head}, required=False, initial=use.unit if use else "",
                choices=[("", _("as named"))] + [(u, u) for u in self._units(known.get(use.column) if use else None)],
            )  # fmt: skip
            self.fields[f"use_{index}"], self.fields[f"unit_{index}"] = pick, unit
            sure = use is not None and use.sure
            self.rows.append((head, f"use_{index}", f"unit_{index}", bool(use and not use.sure), sure, index))

        made = mapping.get("set") or {}
        used = {use.column for use in self.uses.values()}
        self.made = [c for c in table.columns if c.name not in used]
        for column in self.made:
            self.fields[f"made_{column.name}"] = forms.CharField(
                label=column.title, required=False, initial=made.get(column.name, ""), max_length=200,
                help_text=_("One word for every row, or columns of your file in braces: %(example)s")
                % {"example": " ".join(f"{{{head}}}" for head in upload.heads[:2])},
            )  # fmt: skip

    def made_fields(self):
        """What each row is given in columns that no column of the file says: the needed ones, and all others."""
        needed = [self[f"made_{column.name}"] for column in self.made if column.required]
        return needed, [self[f"made_{column.name}"] for column in self.made if not column.required]

    def _units(self, column):
        """Units to choose from: those that measure what the column holds; all that the table knows where none does."""
        columns = [column] if column is not None and column.wanted_unit else self.table.columns
        kinds = {numbers.FACTORS[u][0] for c in columns if (u := numbers.unit_of(c.wanted_unit or ""))}
        return sorted(name for name, (kind, _size) in numbers.FACTORS.items() if kind in kinds)

    def matching(self):
        """(those to decide, those known by name), each as (head, cells, choice, unit, whether it is a guess)."""
        samples = self.upload.result.get("samples") or []
        shown = ([], [])
        for head, use, unit, guessed, sure, index in self.rows:
            cells = samples[index] if index < len(samples) else []
            trouble = self[use].errors or self[unit].errors
            shown[bool(sure and not trouble)].append((head, cells, self[use], self[unit], guessed))
        return shown

    def missing(self):
        """Needed columns that nothing is matched with yet."""
        used = {use.column for use in self.uses.values()} | set(self.upload.mapping.get("set") or {})
        return [c for c in self.table.columns if c.required and c.name not in used]

    def clean(self):
        data = super().clean()
        known = {c.name: c for c in self.table.columns}
        for column in self.made:
            words = data.get(f"made_{column.name}") or ""
            for head in re.findall(r"\{([^{}]*)\}", words):
                if head not in self.upload.heads:
                    self.add_error(f"made_{column.name}", _("The file has no column “%(head)s”. It has: %(heads)s.") % {
                        "head": head, "heads": ", ".join(h for h in self.upload.heads if h)})  # fmt: skip
        for _head, use, unit, *_rest in self.rows:
            name, given = data.get(use), data.get(unit)
            if name and given and numbers.factor(given, known[name].wanted_unit) is None:
                self.add_error(unit, _("%(unit)s does not measure what “%(title)s” holds.") % {
                    "unit": given, "title": known[name].title})  # fmt: skip
        return data

    def mapping(self):
        """The mapping that this form says, with what the saved one says beyond the form (fixed values, choices)."""
        data = self.cleaned_data
        before = {columns.plain(k): v for k, v in (self.upload.mapping.get("columns") or {}).items()}
        chosen = {}
        for head, use, unit, *_rest in self.rows:
            old = before.get(columns.plain(head))
            chosen[head] = {"to": data[use], "unit": data[unit]} if data[use] else ""
            if data[use] and isinstance(old, dict) and old.get("values") and old.get("to") == data[use]:
                chosen[head]["values"] = old["values"]
        kept = {k: v for k, v in self.upload.mapping.items() if k in {"only", "zone", "date_orders"}}
        made = dict(self.upload.mapping.get("set") or {})
        for column in self.made:
            made[column.name] = data[f"made_{column.name}"]
        if made := {name: words for name, words in made.items() if words}:
            kept["set"] = made
        if data.get("replace"):
            kept["replace"] = True
        comma = {"comma": True, "point": False}.get(data["decimals"])
        return kept | {"columns": chosen, "date_order": data["date_order"] or None, "decimal_comma": comma}

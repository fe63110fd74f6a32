"""Files that hold a table: CSV of any common kind, and workbooks. What a file is, its content says, not its name."""

import codecs
import csv
import io
import zipfile
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from django.utils.translation import gettext as _

from fleet.intake.columns import plain
from fleet.intake.errors import WrongFile

MOST_UNPACKED_BYTES = 500_000_000  # a workbook is held whole while it is read, in about as much memory again
MOST_COLUMNS = 500
MOST_CELL = 50_000
MOST_LINE = 1_000_000
CSV_HEAD_ROWS = 12  # a title or notes may stand above the heads
DELIMITERS = ",;\t|"
SIGNS = [  # first bytes of what is no table
    (b"\x89PNG", "picture"), (b"\xff\xd8\xff", "picture"), (b"GIF8", "picture"), (b"%PDF", "pdf"),
    (b"\xd0\xcf\x11\xe0", "old"), (b"\x1f\x8b", "packed"), (b"7z\xbc\xaf", "packed"), (b"Rar!", "packed"),
    (b"\x7fELF", "program"), (b"MZ\x90", "program"), (b"SQLite format", "program"),
]  # fmt: skip


@dataclass
class Source:
    """An opened table: its heads, and what was found out about the file."""

    path: str
    kind: str  # "csv" or "workbook"
    heads: list
    head_line: int
    size: int
    notes: list = field(default_factory=list)
    encoding: str = "utf-8"
    delimiter: str = ","
    sheet: int = 0
    lines: int = 0  # of the whole file, once its rows are being read: what progress is shown against

    @contextmanager
    def rows(self):
        """Rows below the heads as (line, cells); a cell is a string, or what the workbook holds."""
        if self.kind == "csv":
            self.lines = self.lines or _lines_of(self.path)
            with Path(self.path).open(encoding=self.encoding, newline="") as handle:
                yield _csv_rows(handle, self)
        else:
            yield _sheet_rows(self)


def open_table(path, name, likely_heads=()):
    """The table in a file. `likely_heads` are plain words that head it, to find the row of heads below a title.

    Raises WrongFile with a sentence where there is none.
    """
    size = Path(path).stat().st_size
    if not size:
        raise WrongFile("empty_file", _("This file is empty."))
    with Path(path).open("rb") as handle:
        start = handle.read(8192)
    for sign, what in SIGNS:
        if start.startswith(sign):
            raise WrongFile("not_a_table", _no_table(what))
    named = Path(name).suffix.lower()
    if start.startswith(b"PK\x03\x04"):
        source = _open_workbook(path, size, likely_heads)
        if named not in {".xlsx", ".xlsm"}:
            source.notes.append(
                _("The name ends in %(end)s, but the file is a workbook; it is read as one.") % {"end": named or "–"}
            )
        return source
    source = _open_csv(path, size, start, likely_heads)
    if named in {".xlsx", ".xls", ".xlsm", ".ods"}:
        source.notes.append(
            _("The name ends in %(end)s, but the file is plain text; it is read as CSV.") % {"end": named}
        )
    return source


def _no_table(what):
    return {
        "picture": _("This file is a picture, not a table. Send the table as CSV or XLSX."),
        "pdf": _("This file is a PDF, not a table. Send the table as CSV or XLSX."),
        "old": _("This is a workbook of the old kind, or one locked with a password. Save it as .xlsx without a "
                 "password, or as CSV."),
        "packed": _("This file is packed. Unpack it and send the table itself."),
        "program": _("This file is no table. Send the table as CSV or XLSX."),
    }[what]  # fmt: skip


# -- CSV -------------------------------------------------------------------------------------------------------------


def _open_csv(path, size, start, likely_heads):
    notes = []
    encoding = _encoding(path, start, notes)
    with Path(path).open(encoding=encoding, newline="") as handle:
        beginning = handle.read(200_000)
    if "\x00" in beginning:
        raise WrongFile("not_a_table", _("This file is no table. Send the table as CSV or XLSX."))
    lowered = beginning[:2000].lstrip().lower()
    if lowered.startswith(("<!doctype", "<html", "<?xml")):
        raise WrongFile("not_a_table", _("This file is a web page, not a table. Send the table as CSV or XLSX."))
    if lowered.startswith(("{", "[{")):
        raise WrongFile("not_a_table", _("This file is JSON, not a table. Send the table as CSV or XLSX."))
    delimiter = _delimiter(beginning)
    source = Source(path, "csv", [], 0, size, notes, encoding, delimiter)
    with Path(path).open(encoding=encoding, newline="") as handle:
        first = []
        for line, cells in _csv_rows(handle, source):
            first.append((line, cells))
            if len(first) >= CSV_HEAD_ROWS:
                break
    _take_heads(source, first, likely_heads)
    return source


def _lines_of(path):
    with Path(path).open("rb") as handle:
        return sum(block.count(b"\n") for block in iter(lambda: handle.read(1 << 20), b"")) + 1


def _encoding(path, start, notes):
    if start.startswith(codecs.BOM_UTF8):
        return "utf-8-sig"
    if start.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        with Path(path).open("rb") as handle:
            while block := handle.read(1 << 20):
                decoder.decode(block)
            decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        notes.append(_("The file is not in UTF-8; its letters are read as Western European. Look at the names."))
        return "cp1252" if _decodes(path, "cp1252") else "latin-1"
    return "utf-8"


def _decodes(path, encoding):
    try:
        with Path(path).open(encoding=encoding) as handle:
            while handle.read(1 << 20):
                pass
    except UnicodeDecodeError:
        return False
    return True


def _delimiter(text):
    """The sign that splits the first lines into the most columns, most evenly."""
    lines = [line for line in text.splitlines()[:40] if line.strip() and not line.startswith("#")][:25]
    best, best_score = ",", 0.0
    for sign in DELIMITERS:
        try:
            widths = [len(row) for row in csv.reader(io.StringIO("\n".join(lines)), delimiter=sign) if row]
        except csv.Error:
            continue
        if not widths:
            continue
        usual = max(set(widths), key=widths.count)
        score = (usual - 1) * widths.count(usual) / len(widths)
        if score > best_score:
            best, best_score = sign, score
    return best


def _lines(handle):
    """Lines of the file; none is read whole that is longer than any row of a table can be."""
    for number, text in enumerate(iter(lambda: handle.readline(MOST_LINE), ""), 1):
        if len(text) >= MOST_LINE:
            raise WrongFile("broken_csv", _("Line %(line)s is too long to be a row of a table. Save the table as CSV "
                                            "again, one row a line.") % {"line": number})  # fmt: skip
        yield text


def _csv_rows(handle, source):
    csv.field_size_limit(MOST_CELL)
    reader = csv.reader(_lines(handle), delimiter=source.delimiter)
    line = 1
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise WrongFile(
                "broken_csv",
                _("From line %(line)s on this file cannot be read as a table (%(why)s). Often a quotation mark is left "
                  "open there.") % {"line": line, "why": error},
            ) from error  # fmt: skip
        at, line = line, reader.line_num + 1
        if line > at + 2000:
            raise WrongFile(
                "broken_csv", _("A quotation mark is left open in line %(line)s. Close it there.") % {"line": at}
            )
        if at <= source.head_line or not cells or cells[0].startswith("#"):
            continue
        if any(cells) and any(cell.strip() for cell in cells):
            yield at, cells


# -- workbooks -------------------------------------------------------------------------------------------------------


def _open_workbook(path, size, likely_heads):
    try:
        with zipfile.ZipFile(path) as pack:
            names = pack.namelist()
            unpacked = sum(part.file_size for part in pack.infolist())
    except zipfile.BadZipFile as error:
        raise WrongFile("broken_workbook", _("This workbook is damaged. Save it again and send it.")) from error
    if not any(name.startswith("xl/") for name in names):
        raise WrongFile("not_a_table", _("This is a packed file, not a workbook. Send the table as CSV or XLSX."))
    if unpacked > MOST_UNPACKED_BYTES:
        raise WrongFile("too_big", _("This workbook is too big once unpacked. Save the table as CSV and send that."))
    book = _book(path)
    source = Source(path, "workbook", [], 0, size)
    best = None
    for index in range(len(book.sheet_names)):
        first = []
        for line, cells in _rows_of(_sheet(book, index)):
            first.append((line, cells))
            if len(first) >= CSV_HEAD_ROWS:
                break
        score = max((_score(cells, likely_heads) for _line, cells in first), default=-1)
        if best is None or score > best[0]:
            best = (score, index, first)
    if best is None or not best[2]:
        raise WrongFile("empty_file", _("There is nothing in this workbook."))
    source.sheet = best[1]
    _take_heads(source, best[2], likely_heads)
    if len(book.sheet_names) > 1:
        source.notes.append(_("Read from the sheet “%(name)s”.") % {"name": book.sheet_names[source.sheet]})
    return source


def _book(path):
    from python_calamine import CalamineWorkbook

    try:
        return CalamineWorkbook.from_path(str(path))
    except Exception as error:  # the reader raises several kinds, some of them panics
        raise WrongFile("broken_workbook", _("This workbook cannot be read. Save it again, or as CSV.")) from error


def _sheet(book, index):
    try:
        return book.get_sheet_by_index(index)
    except Exception as error:
        raise WrongFile("broken_workbook", _("This workbook cannot be read. Save it again, or as CSV.")) from error


def _rows_of(sheet):
    # Rows above the first filled one are left out by the reader; lines are counted as the user sees them.
    start = sheet.start[0] if sheet.start else 0
    for offset, cells in enumerate(sheet.iter_rows()):
        if cells and not (isinstance(cells[0], str) and cells[0].startswith("#")) and any(c != "" for c in cells):
            yield start + offset + 1, cells


def _sheet_rows(source):
    sheet = _sheet(_book(source.path), source.sheet)
    source.lines = (sheet.start[0] if sheet.start else 0) + sheet.height
    for line, cells in _rows_of(sheet):
        if line > source.head_line:
            yield line, cells


# -- heads -----------------------------------------------------------------------------------------------------------


def _score(cells, likely_heads):
    words = [plain(cell) for cell in cells if isinstance(cell, str) and cell.strip()]
    return sum(3 for word in words if word in likely_heads) + 0.01 * len(words)


def _take_heads(source, first, likely_heads):
    if not first:
        raise WrongFile("empty_file", _("There is no row in this file. The first row names the columns."))
    score = [_score(cells, likely_heads) for _line, cells in first]
    # Where no row looks like heads, the first one is taken and the user matches by hand.
    chosen = score.index(max(score)) if max(score) >= 3 else 0
    source.head_line, cells = first[chosen]
    if len(cells) > MOST_COLUMNS:
        raise WrongFile("too_wide", _("This file has more than %(most)s columns.") % {"most": MOST_COLUMNS})
    heads = [str(cell).strip().lstrip("\ufeff") for cell in cells]
    while heads and not heads[-1]:
        heads.pop()
    source.heads = heads

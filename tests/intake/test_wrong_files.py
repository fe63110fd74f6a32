"""Files that are not what they should be: each is refused with a plain sentence, and nothing of it is kept."""

import io

import pytest
import xlsxwriter
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from fleet.intake import services, tables
from fleet.intake.run import ALL, LOOK
from fleet.registry.models import Pipe
from fleet.web.refusals import Refused

GOOD = "name,outside_mm,wall_mm\nPE 32,32,3.0\n"


@pytest.fixture
def bring(organisation, tmp_path):
    def brought(content, name="pipes.csv", word=ALL):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return services.bring_in_file(table="pipes", path=path, organisation=organisation, word=word)

    return brought


def _picture():
    out = io.BytesIO()
    Image.new("RGB", (40, 40), "teal").save(out, "PNG")
    return out.getvalue()


def _workbook():
    out = io.BytesIO()
    book = xlsxwriter.Workbook(out)
    sheet = book.add_worksheet()
    sheet.write_row(0, 0, ["name", "outside_mm", "wall_mm"])
    sheet.write_row(1, 0, ["PE 40", 40, 3.7])
    book.close()
    return out.getvalue()


@pytest.mark.parametrize(
    ("content", "name"),
    [(_picture(), "pipes.csv"), (_picture(), "pipes.xlsx"), (b"", "pipes.csv"), (b"PK\x03\x04broken", "pipes.xlsx"),
     (b"\x00\x01\x02\x03" * 200, "pipes.csv")],
    ids=["picture named csv", "picture named xlsx", "nothing", "broken workbook", "bytes"],
)  # fmt: skip
def test_what_is_no_table_is_refused_and_nothing_is_kept(content, name, bring):
    with pytest.raises(Refused) as refusal:
        bring(content, name)
    assert str(refusal.value).endswith(".")  # a sentence
    assert not Pipe.objects.exists()


def test_a_workbook_named_csv_is_read_as_what_it_is(bring):
    assert bring(_workbook(), "pipes.csv").new == 1


def test_looking_keeps_nothing_and_the_same_file_twice_changes_nothing(bring):
    assert not bring(GOOD, word=LOOK).kept and not Pipe.objects.exists()
    assert bring(GOOD).new == 1
    again = bring(GOOD)
    assert (again.new, again.changed, again.same) == (0, 0, 1)


def test_a_file_beyond_the_limit_is_refused_before_it_is_read(nadia, settings):
    settings.UPLOAD_MAX_BYTES = 10
    with pytest.raises(Refused) as refusal:
        services.receive(table=tables.find("pipes"), file=SimpleUploadedFile("p.csv", GOOD.encode()), by=nadia)
    assert refusal.value.code == "too_big"

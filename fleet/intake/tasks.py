"""Tables read behind the pages."""

from fleet.intake import services
from fleet.intake.models import Upload
from fleet.jobs.work import long_task


@long_task("intake.read")
def read(work, upload_id, word):
    """Look a file through or keep it. A second run keeps the same rows once more, which changes nothing."""
    upload = Upload.objects.select_related("organisation").get(pk=upload_id)
    outcome = services.carry_out(upload=upload, word=word, by=work.job.asked_by, progress=work.progress)
    return outcome.counts

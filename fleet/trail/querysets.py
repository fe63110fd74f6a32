"""The trail asked in words."""

from django.db.models import QuerySet


class ChangeQuerySet(QuerySet):
    def of(self, row):
        """All changes of one row, the newest first."""
        return self.of_row(row._meta.db_table, row.pk)

    def of_row(self, table, row_id):
        return self.filter(table=table, row_id=str(row_id)).order_by("-id")

    def of_rows(self, rows):
        """Changes of several rows of one model."""
        rows = list(rows)
        if not rows:
            return self.none()
        return self.filter(table=rows[0]._meta.db_table, row_id__in=[str(r.pk) for r in rows]).order_by("-id")

    def by_people_of(self, organisation_id):
        """Made by people of this organisation; the house's own changes (tasks, commands) belong to nobody."""
        return self.filter(person__organisation=organisation_id)

    def since(self, moment):
        return self.filter(at__gte=moment)

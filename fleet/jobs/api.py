"""Long work by the API: one's own list and each piece."""

from rest_framework import generics, serializers

from fleet.jobs.models import Job


class JobSerializer(serializers.ModelSerializer):
    class Meta:
        model = Job
        fields = [
            "id", "kind", "title", "state", "done", "total", "step", "result", "trouble", "asked_at", "ended_at",
        ]  # fmt: skip
        read_only_fields = fields


class Jobs(generics.ListAPIView):
    """Long work you asked for, newest first."""

    serializer_class = JobSerializer
    queryset = Job.objects.none()

    @property
    def paginator(self):
        if not hasattr(self, "_paginator"):
            self._paginator = self.pagination_class()
            self._paginator.ordering = ("-asked_at", "-id")
        return self._paginator

    def get_queryset(self):
        return Job.objects.visible_to(self.request.user)


class OneJob(generics.RetrieveAPIView):
    """One piece of long work, with its progress and its result."""

    serializer_class = JobSerializer
    queryset = Job.objects.none()

    def get_queryset(self):
        return Job.objects.visible_to(self.request.user)

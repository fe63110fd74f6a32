from django.urls import path

from fleet.jobs import api, views

urlpatterns = [
    path("", views.own_jobs, name="list"),
    path("<uuid:pk>/", views.job, name="job"),
    path("<uuid:pk>/stop/", views.stop, name="stop"),
]
api_urlpatterns = [
    path("jobs/", api.Jobs.as_view(), name="jobs"),
    path("jobs/<uuid:pk>/", api.OneJob.as_view(), name="job"),
]

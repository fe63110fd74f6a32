from django.urls import path

from fleet.intake import api, views

urlpatterns = [
    path("", views.start, name="start"),
    path("template/<slug:name>.<slug:kind>", views.template, name="template"),
    path("<uuid:pk>/match/", views.match, name="match"),
    path("<uuid:pk>/", views.upload, name="upload"),
    path("<uuid:pk>/keep/", views.keep, name="keep"),
    path("<uuid:pk>/days/", views.day_order, name="day_order"),
    path("<uuid:pk>/words/", views.words, name="words"),
    path("<uuid:pk>/rejects.csv", views.rejects, name="rejects"),
]
api_urlpatterns = [
    path("tables/", api.Tables.as_view(), name="tables"),
    path("uploads/", api.Uploads.as_view(), name="uploads"),
    path("uploads/<uuid:pk>/", api.OneUpload.as_view(), name="upload"),
    path("uploads/<uuid:pk>/faults/", api.Faults.as_view(), name="faults"),
]

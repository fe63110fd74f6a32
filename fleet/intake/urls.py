from django.urls import path

from fleet.intake import views

urlpatterns = [
    path("", views.start, name="start"),
    path("template/<slug:name>.<slug:kind>", views.template, name="template"),
    path("<uuid:pk>/match/", views.match, name="match"),
    path("<uuid:pk>/", views.upload, name="upload"),
    path("<uuid:pk>/keep/", views.keep, name="keep"),
    path("<uuid:pk>/rejects.csv", views.rejects, name="rejects"),
]

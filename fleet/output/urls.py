"""Addresses of the room of expected output."""

from django.urls import path

from fleet.output import api, views

urlpatterns = [
    path("shortfalls/", views.shortfalls, name="shortfalls"),
    path("shortfalls/<int:pk>/", views.shortfall, name="shortfall"),
    path("installations/<int:pk>/working/", views.working, name="working"),
    path("installations/<int:pk>/spot/", views.add_spot, name="add_spot"),
    path("installations/<int:pk>/spot/<int:test>/", views.spot, name="spot"),
    path("alarms/", views.alarms, name="alarms"),
    path("troubles/", views.troubles, name="troubles"),
]

api_urlpatterns = [
    path("shortfalls/", api.Shortfalls.as_view(), name="shortfalls"),
    path("shortfalls/<int:pk>/", api.OneShortfall.as_view(), name="shortfall"),
    path("installations/<int:pk>/days/", api.Days.as_view(), name="days"),
]

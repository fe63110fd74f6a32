"""Addresses of the readings' room."""

from django.urls import path

from fleet.readings import api, views

urlpatterns = [
    path("installations/<int:pk>/", views.of_installation, name="of"),
    path("installations/<int:pk>/meter/", views.add_meter, name="add_meter"),
    path("slips/", views.slips, name="slips"),
    path("slips/<int:pk>/settle/", views.settle, name="settle"),
]

api_urlpatterns = [
    path("spot-tests/", api.SpotTests.as_view(), name="spot_tests"),
    path("meter-readings/", api.MeterReadings.as_view(), name="meter_readings"),
    path("slips/", api.Slips.as_view(), name="slips"),
    path("readings/", api.Bring.as_view(), name="bring"),
]
